"""The contact timer, on a clock that can be put in its place."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from sporecount.bath.errors import BathError

#: Seconds between two looks at the clock.
_STEP_S = 0.2


class Clock(Protocol):
    """What the timer needs of a clock."""

    def monotonic(self) -> float:
        """Return seconds that only ever go up."""

    def sleep(self, seconds: float) -> None:
        """Wait."""


class SystemClock:
    """The computer's clock, which a change of the time of day does not move."""

    def monotonic(self) -> float:
        """Return seconds that only ever go up."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)


@dataclass(frozen=True)
class Contact:
    """How long the eggs were in the bath.

    Attributes
    ----------
    planned_s, real_s : float
        Planned and real contact, s.
    stopped : bool
        It was broken off by hand before its end.
    """

    planned_s: float
    real_s: float
    stopped: bool


def run_contact(
    planned_s: float,
    show: Callable[[float], None],
    *,
    at_end: Callable[[], None] = lambda: None,
    clock: Clock | None = None,
) -> Contact:
    """Wait for the contact to end, showing the seconds left.

    Parameters
    ----------
    planned_s : float
        Planned contact, s, above 0.
    show : callable
        Called with the seconds left, at the start, at each step and at the end.
    at_end : callable, optional
        Called when the time is up: calls the person to rinse, and may wait until
        they did. The clock runs on meanwhile, as the contact does.
    clock : Clock, optional
        The computer's clock by default.

    Returns
    -------
    Contact
        Ctrl-C ends it too; it is no error, since the contact was real.

    Raises
    ------
    BathError
        If the time is not above 0.
    """
    if not 0 < planned_s < float("inf"):
        raise BathError(f"{planned_s:g} s", "a contact is above 0 s", "give seconds such as 60")
    clock = clock or SystemClock()
    start = clock.monotonic()
    try:
        while (left := planned_s - (clock.monotonic() - start)) > 0:
            show(left)
            clock.sleep(min(_STEP_S, left))
        show(0.0)
        at_end()
    except KeyboardInterrupt:
        real_s = clock.monotonic() - start
        return Contact(planned_s, real_s, stopped=real_s < planned_s)
    return Contact(planned_s, clock.monotonic() - start, stopped=False)
