"""The one place that says how many threads a photo's work may use, and shares work among them.

OpenCV, numpy and the networks let other threads run while they compute, so independent
steps are worth doing side by side; the results are the same on any number of threads.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import TypeVar

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")
_Other = TypeVar("_Other")

#: Threads a photo's work may use. The command line sets 1 when it counts several photos at once.
_threads = max(1, min(2, os.cpu_count() or 1))


def set_threads(count: int) -> None:
    """Set how many threads a photo's work may use, the caller's own included."""
    global _threads
    _threads = count


def threads() -> int:
    """Return how many threads a photo's work may use."""
    return _threads


@lru_cache(maxsize=1)
def _helpers(count: int) -> ThreadPoolExecutor:
    # Kept for the next photo: starting a thread takes longer than some of the work.
    return ThreadPoolExecutor(count)


def on_threads(work: Callable[[_Item], _Result], items: Iterable[_Item]) -> list[_Result]:
    """Do some work for each item, on as many threads as may be used.

    The caller works too, from the last item on, while helpers begin with the first: none
    ever waits for work that nobody has begun, so work may itself be shared out again.

    Examples
    --------
    >>> on_threads(lambda x: x * x, [1, 2, 3])
    [1, 4, 9]
    """
    items = list(items)
    if _threads == 1 or len(items) < 2:
        return [work(item) for item in items]
    promised = [_helpers(_threads - 1).submit(work, item) for item in items]
    own: dict[int, _Result] = {}
    try:
        for place in reversed(range(len(items))):
            if promised[place].cancel():
                own[place] = work(items[place])
    finally:
        for promise in promised:
            promise.cancel()
    return [own[n] if n in own else promise.result() for n, promise in enumerate(promised)]


def side_by_side(
    first: Callable[[], _Result], second: Callable[[], _Other]
) -> tuple[_Result, _Other]:
    """Do two things that do not depend on each other, on two threads where they may be used.

    Examples
    --------
    >>> side_by_side(lambda: "a", lambda: 1)
    ('a', 1)
    """
    if _threads == 1:
        return first(), second()
    promise = _helpers(_threads - 1).submit(first)
    try:
        other = second()
    finally:
        unbegun = promise.cancel()
    return first() if unbegun else promise.result(), other
