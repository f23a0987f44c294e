"""The folder of results: one program at a time holds it, notes its run and clears up."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import click
from filelock import FileLock, Timeout

from sporecount.cli.edge import one_line
from sporecount.cli.parts import PARTS_FOLDER
from sporecount.errors import SporecountError
from sporecount.report.files import utf8, write_whole
from sporecount.report.names import MARKED_FOLDER
from sporecount.report.run_record import RUN_FILE, RunStart, now, run_record
from sporecount.settings import Settings

#: The file that is locked, within the folder of results. It stays there, unlocked.
LOCK_FILE = ".sporecount-lock"

#: Folders within the folder of results in which programs write.
_FOLDERS = (PARTS_FOLDER, MARKED_FOLDER, "layouts", "reports")

#: What :func:`sporecount.report.files.write_whole` writes before a file takes its name.
_HALF_WRITTEN = re.compile(r"\.[0-9a-f]{32}\.part")

#: No file takes so long to be written, s.
_LONGEST_WRITE_S = 10.0


class OutInUseError(SporecountError):
    """Another program writes into the same folder."""


@contextmanager
def held(out: Path) -> Iterator[None]:
    """Hold a folder of results until the end of a run.

    The system holds the lock for the program and lets go of it when that ends, killed or
    not, so none is ever left behind.

    Parameters
    ----------
    out : Path
        Folder of results; made where it is missing.

    Raises
    ------
    OutInUseError
        If another program holds it.
    """
    out.mkdir(parents=True, exist_ok=True)
    lock = FileLock(out / LOCK_FILE)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise OutInUseError(
            str(out),
            "another sporecount is at work in this folder of results",
            "wait until it has ended, or give another folder",
        ) from error
    except (NotImplementedError, OSError) as error:
        # Some network drives know no locks: better to work than not.
        click.echo(
            one_line(f"Note: {out} cannot be locked ({error}); start one run only"), err=True
        )
    try:
        clear_half_written(out, before=time.time() - _LONGEST_WRITE_S)
        yield
    finally:
        lock.release()


def begin_run(out: Path, options: Mapping[str, Any], settings: Settings, photos: int) -> RunStart:
    """Note the start of a run; from here on the folder is known to hold results, not photos."""
    start = RunStart(options, settings, photos, now())
    if not (out / RUN_FILE).exists():
        write_whole(out / RUN_FILE, utf8(run_record(start)))
    return start


def end_run(out: Path, start: RunStart, rows: Iterable[Mapping[str, Any]]) -> None:
    """Note the end of a run, and the scales and hashes of its photos (rows of photos.csv)."""
    write_whole(out / RUN_FILE, utf8(run_record(start, rows, now())))


def clear_half_written(out: Path, before: float) -> None:
    """Take away what was half written when a program was killed.

    Parameters
    ----------
    out : Path
        Folder of results.
    before : float
        Files that changed later are left alone, s since the epoch.
    """
    files = [out.glob(".*.part"), *((out / name).rglob(".*.part") for name in _FOLDERS)]
    for file in (file for some in files for file in some):
        with suppress(OSError):  # gone by itself, or not ours to take away
            if _HALF_WRITTEN.fullmatch(file.name) and file.stat().st_mtime < before:
                file.unlink()
