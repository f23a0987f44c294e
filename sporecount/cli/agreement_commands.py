"""`sporecount agreement` and `sporecount microscope`: their options and their help."""

from __future__ import annotations

from pathlib import Path

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import examples_epilog
from sporecount.cli.options import FILE

_FOLDERS = click.argument(
    "folders",
    nargs=-1,
    required=True,
    metavar="FOLDER...",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
_NAME = click.option(
    "--name", default="my microscope", show_default=True, help="Which of your microscopes."
)


@click.command(
    epilog=examples_epilog(
        "sporecount agreement photos",
        "sporecount agreement photos --counted results --table agreement.csv",
    )
)
@_FOLDERS
@click.option(
    "--counted",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Results of `sporecount count --no-reviews` for the tool's counts.",
)
@click.option(
    "--table", type=click.Path(dir_okay=False, path_type=Path), help="CSV with a row for each pair."
)
@one_line_errors
def agreement(folders: tuple[Path, ...], counted: Path | None, table: Path | None) -> int:
    """Say how well people agree with each other and with the tool.

    FOLDER holds photos that people counted blind or reviewed in full. For each two raters:
    weighted kappa on load classes, limits of agreement and concordance of counts, and what
    they mean.
    """
    from sporecount.cli.agreement_run import run_agreement

    return run_agreement(folders, counted, table)


@click.group(
    epilog=examples_epilog(
        'sporecount microscope measure photos --name "10x"',
        'sporecount microscope adjust photos --name "10x"',
    )
)
def microscope() -> None:
    """Say how good the tool is on your own microscope, and adjust it to that."""


@microscope.command(epilog=examples_epilog('sporecount microscope measure photos --name "10x"'))
@_FOLDERS
@_NAME
@one_line_errors
def measure(folders: tuple[Path, ...], name: str) -> int:
    """Say how good the tool is there, and keep its rates.

    It goes by photos that were reviewed fairly: looked through in full, or random samples of
    their detections. What is kept is used by count, score and trial report for photos of
    that scale; they say so, and --as-shipped leaves it out.
    """
    from sporecount.cli.agreement_run import run_measure

    return run_measure(folders, name)


@microscope.command(epilog=examples_epilog('sporecount microscope adjust photos --name "10x"'))
@_FOLDERS
@_NAME
@click.option("--settings", "settings_file", type=FILE, help="TOML file of settings.")
@one_line_errors
def adjust(folders: tuple[Path, ...], name: str, settings_file: Path | None) -> int:
    """Adjust the tool a little, where that helps.

    It learns from photos that were reviewed in full. An adjustment is kept only where photos
    gain by what was learned from the others, and photos without spores show no more of them
    than before.
    """
    from sporecount.cli.agreement_run import run_adjust

    return run_adjust(folders, name, settings_file)


@microscope.command(epilog=examples_epilog("sporecount microscope show"))
@one_line_errors
def show() -> int:
    """List what is known of your microscopes."""
    from sporecount.cli.agreement_run import run_show

    return run_show()


@microscope.command(epilog=examples_epilog('sporecount microscope back --name "10x"'))
@_NAME
@one_line_errors
def back(name: str) -> int:
    """Take an adjustment away again."""
    from sporecount.cli.agreement_run import run_back

    return run_back(name)


@microscope.command(epilog=examples_epilog('sporecount microscope forget --name "10x"'))
@_NAME
@one_line_errors
def forget(name: str) -> int:
    """Forget all that was measured on a microscope."""
    from sporecount.cli.agreement_run import run_forget

    return run_forget(name)
