"""The commands of the rearing log, their options and their help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog, examples_epilog
from sporecount.cli.options import FOLDER, options
from sporecount.literature import HEAVILY_INFECTED_FROM_CLASS

_YES_NO = click.Choice(["yes", "no"])

_LOG_EXAMPLES = (
    'sporecount log brood add "garden 3" --source egg --plant "Asclepias syriaca" --washed no',
    'sporecount log adult add A17 --brood "garden 3" --emerged 2026-07-14',
    'sporecount log decide A17 "kept, sample again" --who "R. Keeper"',
    "sporecount log tell",
)


_log_file = click.option(
    "--log",
    "log_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File of the log; your own by default, or the one that SPORECOUNT_LOG names.",
)
_who = click.option("--who", help="Who says so.")
_notes = click.option("--notes", help="Whatever else is worth knowing.")

_brood_fields = options(
    click.option("--kept-apart", type=_YES_NO, help="Kept apart from broods of another source?"),
    click.option("--place", help="Where it is kept: room, cage."),
    click.option("--collected", "collected_on", metavar="DATE", help="When, as 2026-07-01."),
    click.option("--bathed", type=_YES_NO, help="Were the eggs bathed?"),
    click.option("--plant", help="Species of the food plant."),
    click.option("--plant-place", help="Where the food plant grew."),
    click.option("--washed", "plant_washed", type=_YES_NO, help="Was the food plant washed?"),
    click.option("--eggs", type=int, help="Number of eggs."),
    click.option("--hatched", type=int, help="Number that hatched."),
    click.option("--pupated", type=int, help="Number that pupated."),
    click.option("--emerged", type=int, help="Number that emerged."),
    _notes,
)
_source_help = "Eggs, caterpillars found outside, or both together."
_adult_fields = options(
    click.option("--brood", help="Name of its brood."),
    click.option("--sex", type=click.Choice(["female", "male"]), help="Sex."),
    click.option("--emerged", "emerged_on", metavar="DATE", help="When, as 2026-07-14."),
    click.option("--wings", help="Condition of the wings, in words."),
    _notes,
)


@click.group(epilog=codes_epilog(*_LOG_EXAMPLES))
def log() -> None:
    """Keep a log of broods, adults and decisions, and see what it tells."""


@log.group(epilog=examples_epilog(_LOG_EXAMPLES[0]))
def brood() -> None:
    """Broods: animals that were collected and kept together."""


@brood.command(name="add", epilog=examples_epilog(_LOG_EXAMPLES[0]))
@click.argument("name")
@click.option(
    "--source",
    type=click.Choice(["egg", "caterpillar", "mixed"]),
    default="egg",
    show_default=True,
    help=_source_help,
)
@_brood_fields
@_log_file
@one_line_errors
def add_brood(**options: Any) -> int:
    """Add a brood."""
    from sporecount.cli.log_run import run_add

    return run_add("brood", options)


@brood.command(
    name="change",
    epilog=examples_epilog('sporecount log brood change "garden 3" --hatched 11 --pupated 9'),
)
@click.argument("called", metavar="BROOD")
@click.option("--name", help="A new name.")
@click.option("--source", type=click.Choice(["egg", "caterpillar", "mixed"]), help=_source_help)
@_brood_fields
@_who
@_log_file
@one_line_errors
def change_brood(**options: Any) -> int:
    """Change what is known of a brood; what was known before is kept as an edit."""
    from sporecount.cli.log_run import run_change

    return run_change("brood", options)


@log.group(epilog=examples_epilog(_LOG_EXAMPLES[1]))
def adult() -> None:
    """Adults that emerged."""


@adult.command(name="add", epilog=examples_epilog(_LOG_EXAMPLES[1]))
@click.argument("identity")
@_adult_fields
@_log_file
@one_line_errors
def add_adult(**options: Any) -> int:
    """Add an adult."""
    from sporecount.cli.log_run import run_add

    return run_add("adult", options)


@adult.command(
    name="change", epilog=examples_epilog('sporecount log adult change A17 --wings "crumpled"')
)
@click.argument("called", metavar="ADULT")
@click.option("--identity", help="A new name.")
@_adult_fields
@_who
@_log_file
@one_line_errors
def change_adult(**options: Any) -> int:
    """Change what is known of an adult; what was known before is kept as an edit."""
    from sporecount.cli.log_run import run_change

    return run_change("adult", options)


@log.group(epilog=examples_epilog('sporecount log sample change "tape 3" --adult A17'))
def sample() -> None:
    """Put right what is known of samples that were scored."""


@sample.command(
    name="change", epilog=examples_epilog('sporecount log sample change "tape 3" --adult A17')
)
@click.argument("called", metavar="SAMPLE")
@click.option("--name", help="A new name.")
@click.option("--adult", help="The adult that it is of.")
@click.option("--taken", "taken_on", metavar="DATE", help="When, as 2026-07-14.")
@_notes
@_who
@_log_file
@one_line_errors
def change_sample(**options: Any) -> int:
    """Say which adult a sample is of, and when it was taken."""
    from sporecount.cli.log_run import run_change

    return run_change("sample", options)


@log.command(epilog=examples_epilog(_LOG_EXAMPLES[2]))
@click.argument("sample")
@click.argument("words")
@click.option("--who", required=True, help="Who decided.")
@_log_file
@one_line_errors
def decide(**options: Any) -> int:
    """Keep what a person decided on a SAMPLE, in WORDS, beside what the tool said."""
    from sporecount.cli.log_run import run_decide

    return run_decide(**options)


@log.command(epilog=examples_epilog("sporecount log show"))
@_log_file
@one_line_errors
def show(**options: Any) -> int:
    """Show broods, adults, newest results and decisions."""
    from sporecount.cli.log_run import run_show

    return run_show(**options)


@log.command(epilog=examples_epilog("sporecount log tell", "sporecount log tell --heavy-from 3"))
@click.option(
    "--heavy-from",
    type=click.IntRange(min=1),
    default=HEAVILY_INFECTED_FROM_CLASS,
    show_default=True,
    help="Smallest load class that counts as heavily infected.",
)
@click.option(
    "--level",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.95,
    show_default=True,
    help="Confidence level of the limits.",
)
@_log_file
@one_line_errors
def tell(**options: Any) -> int:
    """Tell how many are infected, where groups differ, a trend, and what to look at first."""
    from sporecount.cli.log_run import run_tell

    return run_tell(**options)


@log.command(epilog=examples_epilog("sporecount log report season.html"))
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--title", default="", help="Name of the season; that of the log by default.")
@click.option(
    "--heavy-from",
    type=click.IntRange(1, 5),
    default=HEAVILY_INFECTED_FROM_CLASS,
    show_default=True,
    help="Smallest load class that counts as heavily infected.",
)
@_log_file
@one_line_errors
def report(**options: Any) -> int:
    """Write what the log tells as one HTML FILE, to read, print and show."""
    from sporecount.cli.log_run import run_report

    return run_report(**options)


@log.command(name="export", epilog=examples_epilog("sporecount log export my_log"))
@click.argument("folder", type=FOLDER)
@click.option("--replace", is_flag=True, help="Replace tables that are there already.")
@_log_file
@one_line_errors
def export_tables(**options: Any) -> int:
    """Write the log into a FOLDER, one CSV file for each table."""
    from sporecount.cli.log_run import run_export

    return run_export(**options)


@log.command(
    name="import",
    epilog=examples_epilog(
        "sporecount log import my_log", "sporecount log import my_log --take file"
    ),
)
@click.argument("folder", type=FOLDER)
@click.option(
    "--take",
    type=click.Choice(["log", "file"]),
    help="Whose version counts where both changed. By default the log's stays and it is said.",
)
@_who
@_log_file
@one_line_errors
def import_tables(**options: Any) -> int:
    """Bring in the tables of a FOLDER: nothing twice, and nothing overwritten unsaid."""
    from sporecount.cli.log_run import run_import

    return run_import(**options)
