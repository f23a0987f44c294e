"""`sporecount score`: its options and its help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog
from sporecount.cli.options import (
    FILE,
    FOLDER,
    jobs_option,
    marked_option,
    options,
    reviews_options,
    scale_options,
    settings_option,
)
from sporecount.literature import TAPE_MM2

_EXAMPLES = (
    "sporecount score A17 --um-per-px 0.65 --out results",
    "sporecount score season --um-per-px 0.65 --out results --log season.sqlite3",
    "sporecount score photos --sheet photos.csv --risk-release 0.01 --out results",
)


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


@click.command(epilog=codes_epilog(*_EXAMPLES))
@click.argument(
    "paths", nargs=-1, metavar="FOLDER...", type=click.Path(exists=True, path_type=Path)
)
@click.option("--out", required=True, type=FOLDER, help="Folder for the results.")
@click.option("--sheet", type=FILE, help="CSV with a row for each photo: sample, scale.")
@scale_options
@tape_options
@risk_options
@log_option
@settings_option
@reviews_options
@marked_option
@jobs_option
@click.option("--afresh", is_flag=True, help="Do again what is finished already.")
@one_line_errors
def score(**given: Any) -> int:
    """Score the tapes of adults before they are released.

    Each FOLDER holds the photos of one tape, or a folder for each tape. With a sheet
    that has a column "sample", that says which photos are of one tape. Overlaps are
    counted once. The results are samples.csv, sample_detections.csv, photos.csv, the
    layouts, and the decisions in words. A run that was stopped goes on when the same
    command is given again.
    """
    from sporecount.cli.score_run import ScoreOptions, run_score

    return run_score(ScoreOptions(**given))
