"""When to look into a folder again: at a change, and from time to time anyway."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path


def wakes(folder: Path, every_s: float, *, poll: bool = False) -> Iterator[None]:
    """Yield at once, at each change in a folder, and at the latest after a while.

    Where the system does not report changes (some network drives, no watches left), time
    alone tells.

    Parameters
    ----------
    folder : Path
        The folder, without its subfolders.
    every_s : float
        Longest time between two looks, s.
    poll : bool
        Go by time alone.

    Raises
    ------
    KeyboardInterrupt
        On Ctrl-C.
    """
    yield
    if not poll:
        try:
            from watchfiles import watch

            for _ in watch(
                folder,
                watch_filter=None,
                debounce=200,
                rust_timeout=max(50, round(1000 * every_s)),
                yield_on_timeout=True,
                recursive=False,
            ):
                yield
        except (ImportError, OSError, RuntimeError):
            pass  # from here on by time alone
    while True:
        time.sleep(every_s)
        yield
