"""Options that several commands have, each declared once."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from sporecount.literature import TAPE_MM2

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


out_option = click.option("--out", required=True, type=FOLDER, help="Folder for the results.")
sheet_option = click.option(
    "--sheet", type=FILE, help="CSV with a row for each photo: scale, sample, arm."
)
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
as_shipped_option = click.option(
    "--as-shipped",
    is_flag=True,
    help="Leave out what was measured on your own microscope.",
)
jobs_option = click.option(
    "--jobs",
    type=click.IntRange(min=1),
    default=min(4, os.cpu_count() or 1),
    show_default=True,
    help="Photos to work on at once.",
)
afresh_option = click.option("--afresh", is_flag=True, help="Do again what is finished already.")
tape_options = options(
    click.option(
        "--tape-mm2",
        type=float,
        default=TAPE_MM2,
        show_default=True,
        help="Area of the whole tape, mm2.",
    ),
    click.option(
        "--taken-apart",
        is_flag=True,
        help="The photos do not overlap: I moved on by more each time.",
    ),
)
risk_options = options(
    click.option("--risk-release", type=float, help="Risk that a clear adult is infected, 0-0.5."),
    click.option("--risk-call", type=float, help="Risk that the load is lighter than said, 0-0.5."),
    click.option(
        "--release-up-to", "releasable_up_to", type=int, help="Heaviest class that is released."
    ),
    click.option("--heavy-from", type=int, help="Lightest class called heavily infected."),
    click.option("--least-fields", type=int, help="Photos to look at before anything is settled."),
)
log_option = click.option(
    "--log",
    "log_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Record the results in this rearing log.",
)
