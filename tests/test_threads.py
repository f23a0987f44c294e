"""Sharing work among threads: same results in the same order, whatever their number."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from sporecount import threads


@pytest.fixture(params=[1, 2, 4])
def count(request: pytest.FixtureRequest) -> Iterator[int]:
    before = threads.threads()
    threads.set_threads(request.param)
    yield request.param
    threads.set_threads(before)


def test_the_number_is_set_for_all(count: int) -> None:
    assert threads.threads() == count


def test_results_keep_their_order(count: int) -> None:
    assert threads.on_threads(lambda n: n * n, range(50)) == [n * n for n in range(50)]
    assert threads.on_threads(abs, []) == []
    assert threads.side_by_side(lambda: "a", lambda: 2) == ("a", 2)


def test_shared_work_may_share_out_its_own(count: int) -> None:
    def row(n: int) -> list[int]:
        return threads.on_threads(lambda m: n * m, range(5))

    assert threads.on_threads(row, range(6)) == [[n * m for m in range(5)] for n in range(6)]
    pair = threads.side_by_side(lambda: row(1), lambda: row(2))
    assert pair == ([0, 1, 2, 3, 4], [0, 2, 4, 6, 8])


def test_no_more_threads_work_than_may(count: int) -> None:
    at_work, most, lock = 0, 0, threading.Lock()

    def work(_: int) -> None:
        nonlocal at_work, most
        with lock:
            at_work += 1
            most = max(most, at_work)
        threading.Event().wait(0.005)
        with lock:
            at_work -= 1

    threads.on_threads(work, range(12))
    assert 1 <= most <= count
    assert count == 1 or most > 1


@pytest.mark.parametrize("bad", [0, 1, 2])
def test_an_error_reaches_the_caller(count: int, bad: int) -> None:
    def work(n: int) -> int:
        if n == bad:
            raise ValueError("this one")
        return n

    with pytest.raises(ValueError, match="this one"):
        threads.on_threads(work, range(3))
    for pair in ((lambda: work(bad), lambda: 1), (lambda: 1, lambda: work(bad))):
        with pytest.raises(ValueError, match="this one"):
            threads.side_by_side(*pair)
    assert threads.on_threads(abs, range(3)) == [0, 1, 2]
