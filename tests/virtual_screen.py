"""A screen for tests of the window, where there is none."""

from __future__ import annotations

import atexit
import ctypes
import ctypes.util
import os
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path


def give_screen() -> str:
    """Make sure that windows can be opened; return what draws them.

    On Linux without a screen a virtual one is started. Where the system lacks libraries of
    the usual way to draw on it, windows are drawn off the screen: all works but what the
    picture itself shows.
    """
    if not sys.platform.startswith("linux"):
        return "native"
    if not os.environ.get("DISPLAY"):
        os.environ["DISPLAY"] = _started()
    if "QT_QPA_PLATFORM" not in os.environ and not _can_draw():
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    return os.environ.get("QT_QPA_PLATFORM", "xcb")


def _started() -> str:
    """Start a virtual screen that ends with this process; return its name."""
    program = shutil.which("Xvfb")
    if program is None:
        raise RuntimeError("there is no screen: install xvfb (apt-get install xvfb)")
    reading, writing = os.pipe()
    screen = subprocess.Popen(
        [program, "-displayfd", str(writing), "-screen", "0", "1600x1000x24", "-nolisten", "tcp"],
        pass_fds=[writing],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    atexit.register(screen.kill)
    with os.fdopen(reading) as said:
        name = said.readline().strip()
    if not name:
        raise RuntimeError("the virtual screen did not start")
    return f":{name}"


def _can_draw() -> bool:
    """Tell whether the libraries are there that Qt draws on a screen with."""
    spec = find_spec("PyQt6")
    if spec is None or spec.origin is None:
        return True  # another binding: it says itself what it lacks
    plugin = Path(spec.origin).parent / "Qt6/plugins/platforms/libqxcb.so"
    try:
        ctypes.CDLL(str(plugin))
    except OSError:
        return False
    return True
