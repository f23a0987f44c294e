"""Progress on stderr: a bar on a terminal, plain lines anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from sporecount.cli.parts import PhotoResult
from sporecount.counts.summary import COUNTED


@contextmanager
def progress(photos: int) -> Iterator[Callable[[PhotoResult], None]]:
    """Show how many of the photos are done; call what it yields with each result.

    Parameters
    ----------
    photos : int
        Photos in all.
    """
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        with Progress(
            BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(), console=Console(stderr=True)
        ) as bar:
            task = bar.add_task("photos", total=photos)
            yield lambda _: bar.advance(task)
        return
    done = 0

    def line(result: PhotoResult) -> None:
        nonlocal done
        done += 1
        click.echo(f"{done}/{photos} {_line(result)}", err=True)

    yield line


def _line(result: PhotoResult) -> str:
    row = result.summary
    name = "".join(letter if letter.isprintable() else "?" for letter in row["photo"])
    if row["status"] == COUNTED:
        return f"{name}: {row['spores']} spore{'' if row['spores'] == 1 else 's'}"
    return f"{name}: {row['status']}"
