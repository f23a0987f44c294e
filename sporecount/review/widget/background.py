"""Work that takes a while, in a thread beside the window's."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from qtpy.QtCore import QObject, Signal

#: Tells of a step that is done.
Step = Callable[[Any], None]


class Background(QObject):
    """One piece of work.

    Parameters
    ----------
    work : callable
        Does it; given what to call with each step.
    done : callable
        Called in the window's thread with what ``work`` returned.
    failed : callable
        Called in the window's thread with what went wrong.
    stepped : callable, optional
        Called in the window's thread with each step.
    """

    _stepped = Signal(object)
    _done = Signal(object)
    _failed = Signal(object)

    def __init__(
        self,
        work: Callable[[Step], Any],
        done: Callable[[Any], None],
        failed: Callable[[Exception], None],
        stepped: Step | None = None,
    ) -> None:
        super().__init__()
        self._work = work
        self._done.connect(done)
        self._failed.connect(failed)
        if stepped is not None:
            self._stepped.connect(stepped)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether it is not done yet."""
        return self._thread.is_alive()

    def wait(self, seconds: float | None = None) -> None:
        """Wait until it is done."""
        self._thread.join(seconds)

    def _run(self) -> None:
        try:
            result = self._work(self._stepped.emit)
        except Exception as error:  # said in the window
            self._tell(self._failed, error)
        else:
            self._tell(self._done, result)

    @staticmethod
    def _tell(signal: Any, value: Any) -> None:
        try:
            signal.emit(value)
        except RuntimeError:  # the window was closed meanwhile
            return


class Working:
    """What panels have in common that do one piece of work at a time."""

    _work: Background | None = None

    @property
    def is_running(self) -> bool:
        """Whether something is being worked out."""
        return self._work is not None and self._work.is_running

    def wait(self, seconds: float = 60) -> None:
        """Wait until nothing is under way."""
        if self._work is not None:
            self._work.wait(seconds)
