"""The commands of sanitizer trials, their options and their help."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import examples_epilog
from sporecount.cli.options import (
    FILE,
    FOLDER,
    as_shipped_option,
    jobs_option,
    marked_option,
    scale_options,
    settings_option,
)

_NEW_FILE = click.Path(dir_okay=False, path_type=Path)
_SHARE = click.FloatRange(0, 1, min_open=True, max_open=True)

_NEW_EXAMPLES = (
    "sporecount trial new may.toml",
    'sporecount trial new may.toml --arm untreated --arm water --arm "soak: bleach, label 6, '
    '1+19, 5 min"',
    "sporecount trial new may.toml --slides 8 --smallest-effect 0.3 --key elsewhere/key.csv",
)
_DESIGN_EXAMPLES = (
    "sporecount trial design --base 0.1 --effect 0.3",
    "sporecount trial design --base 0.1 --effect 0.3 --icc 0.15 --spores 40 --arms 3",
)
_REPORT_EXAMPLES = (
    "sporecount trial report may.toml --um-per-px 0.65 --out results",
    "sporecount trial report may.toml --counts slides.csv --out results",
)


@click.group(epilog=examples_epilog(_NEW_EXAMPLES[0], *_REPORT_EXAMPLES))
def trial() -> None:
    """Plan a trial of sanitizers, and judge which of them break spores."""


@trial.command(name="new", epilog=examples_epilog(*_NEW_EXAMPLES))
@click.argument("file", type=_NEW_FILE)
@click.option("--name", help="What the trial is called; the file's name by default.")
@click.option("--question", default="", help="What it is to answer, in a sentence.")
@click.option(
    "--arm",
    multiple=True,
    metavar="ARM",
    help='Once for each arm: "NAME: agent, strength, label 6, 5 min, 15 W, 10 cm, ...".',
)
@click.option(
    "--slides",
    type=click.IntRange(min=1),
    default=6,
    show_default=True,
    help="Slides of each arm.",
)
@click.option(
    "--spores",
    type=click.IntRange(min=1),
    default=50,
    show_default=True,
    help="Spores to look at on each slide.",
)
@click.option(
    "--spores-per-photo",
    type=click.FloatRange(min=0, min_open=True),
    default=10.0,
    show_default=True,
    help="Spores that a photo of your slides usually shows.",
)
@click.option(
    "--photos-per-slide", type=click.IntRange(min=1), help="In place of --spores-per-photo."
)
@click.option(
    "--follow",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Fields of each slide to photograph before treatment as well, to follow their spores.",
)
@click.option(
    "--smallest-effect",
    type=_SHARE,
    default=0.2,
    show_default=True,
    help="Smallest difference of the broken share that matters to you.",
)
@click.option(
    "--base",
    type=_SHARE,
    default=0.1,
    show_default=True,
    help="Share that is broken without treatment, as you suppose.",
)
@click.option("--key", type=_NEW_FILE, help="File for the key of the slide codes.")
@click.option("--not-blind", is_flag=True, help="Write the arms into the sheet; make no key.")
@click.option("--seed", type=int, help="Deal the same codes and places again.")
@one_line_errors
def new(**options: Any) -> int:
    """Plan a trial: write FILE (TOML), the sheet of photos, and the key of slide codes.

    Slides are dealt random codes, so that nobody knows which arm they look at. The command
    says how many slides and spores it takes to see the effect asked for. It never writes
    over a file.
    """
    from sporecount.cli.trial_new_run import NewOptions, run_new

    return run_new(NewOptions(**options))


@trial.command(name="design", epilog=examples_epilog(*_DESIGN_EXAMPLES))
@click.option(
    "--base",
    type=_SHARE,
    default=0.1,
    show_default=True,
    help="Share of spores broken in the control.",
)
@click.option(
    "--effect",
    type=_SHARE,
    default=0.2,
    show_default=True,
    help="How much larger the share is in the arm.",
)
@click.option(
    "--icc",
    type=click.FloatRange(0, 1),
    multiple=True,
    default=(0.02, 0.1, 0.3),
    show_default=True,
    help="How much spores of one slide are alike, 0 to 1; may be given again.",
)
@click.option(
    "--spores",
    type=click.IntRange(min=1),
    multiple=True,
    default=(25, 50, 100),
    show_default=True,
    help="Spores looked at on each slide; may be given again.",
)
@click.option(
    "--power",
    type=_SHARE,
    default=0.8,
    show_default=True,
    help="Chance that the trial shows the effect.",
)
@click.option(
    "--alpha", type=_SHARE, default=0.05, show_default=True, help="Chance of a false alarm."
)
@click.option(
    "--arms", type=click.IntRange(min=1), default=1, show_default=True, help="Treated arms."
)
@one_line_errors
def design(
    base: float,
    effect: float,
    icc: tuple[float, ...],
    spores: tuple[int, ...],
    power: float,
    alpha: float,
    arms: int,
) -> int:
    """Say how many slides an arm are needed to see an effect."""
    from sporecount.cli.trial_new_run import run_design

    return run_design(base, effect, icc, spores, power, alpha, arms)


@trial.command(name="report", epilog=examples_epilog(*_REPORT_EXAMPLES))
@click.argument("file", metavar="TRIAL.toml", type=_NEW_FILE)
@click.option("--out", required=True, type=FOLDER, help="Folder for the results.")
@click.option("--counts", type=FILE, help="CSV of slides counted by hand, in place of photos.")
@click.option(
    "--photos",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of the photos, if not the one that the trial file names.",
)
@click.option("--sheet", type=FILE, help="Sheet of photos, if not the trial file's.")
@click.option("--key", type=FILE, help="Key of the slide codes, if not the trial file's.")
@scale_options
@click.option(
    "--taken-apart",
    is_flag=True,
    help="The photos of a slide do not overlap: I moved on by more each time.",
)
@settings_option
@as_shipped_option
@marked_option
@jobs_option
@click.option("--afresh", is_flag=True, help="Count again what is finished already.")
@one_line_errors
def report(**options: Any) -> int:
    """Judge a trial from its photos and its sheet, or from counts alone.

    Everything is done again from the photos: counts, slides, verdicts. Several photos of a
    slide are one slide, and what they show twice counts once. Where the sheet says of photos
    that they show one field before and after, the same spores are followed. The results are
    arms.csv, slides.csv, followed.csv, photos.csv, trial_detections.csv, verdicts.txt and
    trial.html. A run that was stopped goes on when the same command is given again.
    """
    from sporecount.cli.trial_report_run import ReportOptions, run_report

    return run_report(ReportOptions(**options))
