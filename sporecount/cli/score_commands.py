"""`sporecount score`: its options and its help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog
from sporecount.cli.options import (
    afresh_option,
    as_shipped_option,
    jobs_option,
    log_option,
    marked_option,
    out_option,
    reviews_options,
    risk_options,
    scale_options,
    settings_option,
    sheet_option,
    tape_options,
)

_EXAMPLES = (
    "sporecount score A17 --um-per-px 0.65 --out results",
    "sporecount score season --um-per-px 0.65 --out results --log season.sqlite3",
    "sporecount score photos --sheet photos.csv --risk-release 0.01 --out results",
)


@click.command(epilog=codes_epilog(*_EXAMPLES))
@click.argument(
    "paths", nargs=-1, metavar="FOLDER...", type=click.Path(exists=True, path_type=Path)
)
@out_option
@sheet_option
@scale_options
@tape_options
@risk_options
@log_option
@settings_option
@reviews_options
@as_shipped_option
@marked_option
@jobs_option
@afresh_option
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
