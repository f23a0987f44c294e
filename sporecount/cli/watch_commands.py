"""`sporecount watch`: its options and its help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog
from sporecount.cli.options import (
    FOLDER,
    as_shipped_option,
    log_option,
    marked_option,
    reviews_options,
    risk_options,
    scale_options,
    settings_option,
    tape_options,
)

_EXAMPLES = (
    "sporecount watch A17 --um-per-px 0.65",
    "sporecount watch A17 --calibration 10x --log season.sqlite3 --out A17-results",
    "sporecount watch A17 --um-per-px 0.65 --finish",
)


@click.command(epilog=codes_epilog(*_EXAMPLES))
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--out", type=FOLDER, help="Folder for the results; by default beside FOLDER.")
@click.option("--sample", help="Name of the sample; by default the folder's.")
@scale_options
@tape_options
@risk_options
@log_option
@settings_option
@reviews_options
@as_shipped_option
@marked_option
@click.option(
    "--settle",
    "settle_s",
    type=click.FloatRange(min=0),
    default=2.0,
    show_default=True,
    help="Seconds for which a file must stay the same before it is read.",
)
@click.option("--poll", is_flag=True, help="Look from time to time, whatever the system reports.")
@click.option("--finish", is_flag=True, help="Score what is there, then end.")
@one_line_errors
def watch(out: Path | None, folder: Path, **given: Any) -> int:
    """Score the photos of one tape as the camera drops them into FOLDER.

    The estimate stays on the screen, and it says when enough was seen for the risks
    chosen. It goes on until Ctrl-C. After each photo the results are on the disk, and the
    same command goes on from there.
    """
    from sporecount.cli.watch_run import WatchOptions, run_watch

    whole = folder.resolve()
    beside = whole.parent / f"{whole.name}-results"
    return run_watch(WatchOptions(out=out or beside, folder=folder, **given))
