"""The contact timer on a clock that the test moves."""

from __future__ import annotations

import pytest

from sporecount.bath.errors import BathError
from sporecount.bath.timer import Contact, SystemClock, run_contact


class FakeClock:
    """Time passes only when somebody sleeps; Ctrl-C comes at a set time."""

    def __init__(self, interrupt_at: float = float("inf"), late_s: float = 0.0) -> None:
        self.time = 1000.0
        self.interrupt_at = 1000.0 + interrupt_at
        self.late_s = late_s

    def monotonic(self) -> float:
        return self.time

    def sleep(self, seconds: float) -> None:
        self.time += seconds + self.late_s
        if self.time >= self.interrupt_at:
            self.time = self.interrupt_at
            raise KeyboardInterrupt


def test_seconds_left_run_down_and_the_rinse_is_called_once_at_the_end() -> None:
    left: list[float] = []
    calls: list[int] = []
    contact = run_contact(
        60.0, left.append, at_end=lambda: calls.append(len(left)), clock=FakeClock()
    )
    assert (left[0], left[-1]) == (60.0, 0.0)
    assert left == sorted(left, reverse=True)
    assert max(a - b for a, b in zip(left, left[1:])) <= 0.25
    assert calls == [len(left)]
    assert contact == Contact(60.0, pytest.approx(60.0), stopped=False)


def test_a_computer_that_wakes_late_counts_the_time_that_passed() -> None:
    contact = run_contact(60.0, lambda left: None, clock=FakeClock(late_s=7.0))
    assert 60.0 < contact.real_s <= 67.2


def test_waiting_for_the_rinse_is_contact_too() -> None:
    clock = FakeClock()
    contact = run_contact(60.0, lambda left: None, at_end=lambda: clock.sleep(9.0), clock=clock)
    assert contact == Contact(60.0, pytest.approx(69.0), stopped=False)


def test_ctrl_c_says_how_long_the_contact_lasted() -> None:
    calls: list[str] = []
    contact = run_contact(
        60.0, lambda left: None, at_end=lambda: calls.append("rinse"), clock=FakeClock(41.5)
    )
    assert contact == Contact(60.0, pytest.approx(41.5), stopped=True)
    assert calls == []


def test_ctrl_c_while_waiting_for_the_rinse_is_not_too_early() -> None:
    clock = FakeClock(interrupt_at=64.0)
    contact = run_contact(60.0, lambda left: None, at_end=lambda: clock.sleep(9.0), clock=clock)
    assert contact == Contact(60.0, pytest.approx(64.0), stopped=False)


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("inf"), float("nan")])
def test_a_contact_needs_a_time(seconds: float) -> None:
    with pytest.raises(BathError, match="above 0 s"):
        run_contact(seconds, lambda left: None, clock=FakeClock())


def test_the_computer_s_clock_never_goes_back() -> None:
    clock = SystemClock()
    before = clock.monotonic()
    clock.sleep(0.001)
    assert clock.monotonic() > before
