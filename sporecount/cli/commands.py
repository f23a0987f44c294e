"""The commands, their options and their help; the work is imported when it is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount import __version__
from sporecount.cli.agreement_commands import agreement, microscope
from sporecount.cli.bath_commands import bath
from sporecount.cli.edge import OneLineGroup, one_line_errors
from sporecount.cli.epilog import codes_epilog, examples_epilog
from sporecount.cli.log_commands import log
from sporecount.cli.options import (
    FILE,
    afresh_option,
    as_shipped_option,
    jobs_option,
    marked_option,
    out_option,
    reviews_options,
    scale_options,
    settings_option,
    sheet_option,
)
from sporecount.cli.review_commands import review
from sporecount.cli.score_commands import score
from sporecount.cli.trial_commands import trial
from sporecount.cli.watch_commands import watch
from sporecount.literature import STAGE_MICROMETER_DIVISION_UM

_NEWFILE = click.Path(dir_okay=False, path_type=Path)

_MAIN_EXAMPLES = (
    "sporecount count photos --um-per-px 0.65 --out results",
    'sporecount calibrate micrometer.jpg --division-um 10 --save "10x"',
    'sporecount count photos --calibration "10x" --out results',
)
_COUNT_EXAMPLES = (
    "sporecount count photos --um-per-px 0.65 --out results",
    "sporecount count photos --sheet photos.csv --out results",
    "sporecount count phone --field-number 18 --objective 10 --out results",
    'sporecount count a.jpg b.tif --calibration "10x" --no-marked --out results',
)
_CALIBRATE_EXAMPLES = (
    "sporecount calibrate micrometer.jpg",
    'sporecount calibrate micrometer.jpg --division-um 10 --save "10x" --marked lines.jpg',
)
_CALIBRATIONS_EXAMPLES = ("sporecount calibrations",)


@click.group(
    cls=OneLineGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 88},
    epilog=codes_epilog(*_MAIN_EXAMPLES),
)
@click.version_option(__version__, message="%(prog)s %(version)s")
def main() -> None:
    """Count the spores of a butterfly parasite on photos of tape samples."""


@main.command(epilog=codes_epilog(*_COUNT_EXAMPLES))
@click.argument(
    "paths",
    nargs=-1,
    required=True,
    metavar="PATH...",
    type=click.Path(exists=True, path_type=Path),
)
@out_option
@sheet_option
@scale_options
@settings_option
@reviews_options
@as_shipped_option
@marked_option
@jobs_option
@afresh_option
@one_line_errors
def count(**options: Any) -> int:
    """Count the spores on photos.

    PATH is a photo or a folder of photos, with its subfolders. The results are
    detections.csv, photos.csv, run.json and marked copies of the photos. A run
    that was stopped goes on when the same command is given again.
    """
    from sporecount.cli.count_run import run_count
    from sporecount.cli.run_options import RunOptions

    return run_count(RunOptions(**options))


@main.command(epilog=codes_epilog(*_CALIBRATE_EXAMPLES))
@click.argument("photo", type=FILE)
@click.option(
    "--division-um",
    type=click.FloatRange(min=0, min_open=True),
    default=STAGE_MICROMETER_DIVISION_UM,
    show_default=True,
    help="Distance of neighbouring lines of the micrometer, um.",
)
@click.option("--save", "save_as", metavar="NAME", help="Save the scale under this name.")
@click.option("--replace", is_flag=True, help="Replace a saved scale of the same name.")
@click.option("--marked", type=_NEWFILE, help="Picture (JPEG) of the lines that were found.")
@one_line_errors
def calibrate(
    photo: Path, division_um: float, save_as: str | None, replace: bool, marked: Path | None
) -> int:
    """Find micrometres per pixel from a photo of a stage micrometer."""
    from sporecount.cli.calibrate_run import run_calibrate

    return run_calibrate(photo, division_um, save_as=save_as, replace=replace, marked=marked)


@main.command(epilog=examples_epilog(*_CALIBRATIONS_EXAMPLES))
@one_line_errors
def calibrations() -> int:
    """List the saved scales."""
    from sporecount.cli.calibrate_run import list_calibrations

    return list_calibrations()


main.add_command(score)
main.add_command(watch)
main.add_command(review)
main.add_command(agreement)
main.add_command(microscope)
main.add_command(log)
main.add_command(bath)
main.add_command(trial)
