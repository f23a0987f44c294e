"""`sporecount review`: its options and its help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog
from sporecount.cli.options import FILE, FOLDER, as_shipped_option, scale_options, settings_option

_EXAMPLES = (
    "sporecount review A17 --um-per-px 0.65",
    "sporecount review season --sheet photos.csv --blind --who Ann",
    "sporecount review --trial may.toml --um-per-px 0.65",
    "sporecount review photos --log season.sqlite3 --sample A17",
)


@click.command(epilog=codes_epilog(*_EXAMPLES))
@click.argument(
    "paths", nargs=-1, metavar="FOLDER...", type=click.Path(exists=True, path_type=Path)
)
@click.option("--sheet", type=FILE, help="CSV with a row for each photo: sample, scale.")
@click.option("--trial", "trial_file", type=FILE, help="The photos of this trial; always blind.")
@click.option("--key", type=FILE, help="With --trial: its key of codes, if kept elsewhere.")
@click.option("--log", "log_file", type=FILE, help="With --sample: the rearing log it is in.")
@click.option("--sample", help="With --log: only the photos of this sample's newest result.")
@scale_options
@click.option("--blind", is_flag=True, help="Hide names, shuffle, until all are looked through.")
@click.option("--seed", help="Another one gives another order of a blind review.")
@click.option("--who", help="Your name, kept with what you say.  [default: that of your account]")
@click.option(
    "--reviews", type=FOLDER, help="Keep reviews here.  [default: sporecount-reviews beside each]"
)
@as_shipped_option
@settings_option
@one_line_errors
def review(**given: Any) -> int:
    """Look through photos in a window, and correct what was counted.

    FOLDER is a photo or a folder of photos; without any, choose them in the window. All
    that you say is kept at once, and `count`, `score` and `trial report` use it. The window
    is an extra: python -m pip install "sporecount[review]".
    """
    from sporecount.cli.review_run import ReviewOptions, run_review

    return run_review(ReviewOptions(**given))
