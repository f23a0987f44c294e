"""Options that several commands have, each declared once."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

FOLDER = click.Path(file_okay=False, path_type=Path)
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


def options(*declared: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Return a decorator that adds options in the order in which they are named."""

    def add(command: Command) -> Command:
        for option in reversed(declared):
            command = option(command)
        return command

    return add


scale_options = options(
    click.option("--um-per-px", type=float, help="Scale of all photos, micrometres per pixel."),
    click.option("--calibration", help="Name of a scale saved by `sporecount calibrate --save`."),
    click.option("--field-number", type=float, help="Field number of the eyepiece, mm."),
    click.option("--objective", type=float, help="Magnification of the objective."),
)
settings_option = click.option(
    "--settings", "settings_file", type=FILE, help="TOML file of settings."
)
marked_option = click.option(
    "--no-marked", is_flag=True, help="Make no marked copies of the photos."
)
reviews_options = options(
    click.option(
        "--reviews",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        help="Folder of reviews by hand.  [default: sporecount-reviews beside each photo]",
    ),
    click.option("--no-reviews", is_flag=True, help="The tool's own counts, whatever people said."),
)
jobs_option = click.option(
    "--jobs",
    type=click.IntRange(min=1),
    default=min(4, os.cpu_count() or 1),
    show_default=True,
    help="Photos to work on at once.",
)
