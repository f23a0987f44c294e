"""What `sporecount trial new` and `sporecount trial design` do: plan, deal, write, tell."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from shlex import quote

import click

from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE
from sporecount.report.files import utf8, write_whole
from sporecount.report.tables import csv_text
from sporecount.trial.arm_text import default_arms, parse_arm
from sporecount.trial.blind import KeyRow, deal, key_csv
from sporecount.trial.design.needed import USUAL_ICC, needed_words, slides_needed
from sporecount.trial.design.simulate import Supposed, smallest_shown
from sporecount.trial.places import photos_for, place_words, places
from sporecount.trial.plan import Trial
from sporecount.trial.plan_file import write_trial


@dataclass(frozen=True)
class NewOptions:
    """Options of `sporecount trial new`, as given."""

    file: Path
    name: str | None = None
    question: str = ""
    arm: tuple[str, ...] = ()
    slides: int = 6
    spores: int = 50
    spores_per_photo: float = 10.0
    photos_per_slide: int | None = None
    follow: int = 0
    smallest_effect: float = 0.2
    base: float = 0.1
    key: Path | None = None
    not_blind: bool = False
    seed: int | None = None


def run_new(options: NewOptions) -> int:
    """Plan a trial and write its files, none over another; return the exit code."""
    file = options.file if options.file.suffix else options.file.with_suffix(".toml")
    sheet = file.with_name(f"{file.stem}-photos.csv")
    key_file = options.key or file.with_name(f"{file.stem}-key.csv")
    folder = file.with_name(f"{file.stem}-photos")
    arms = tuple(map(parse_arm, options.arm)) or default_arms()
    photos = options.photos_per_slide or photos_for(options.spores, options.spores_per_photo)
    if options.follow > photos:
        raise click.BadParameter(
            f"{options.follow} fields to follow are more than the {photos} photos of each slide",
            param_hint="--follow",
        )
    key = deal([arm.name for arm in arms], options.slides, options.seed)
    trial = Trial(
        name=options.name or file.stem,
        arms=arms,
        date=date.today().isoformat(),
        question=options.question,
        smallest_effect=options.smallest_effect,
        slides_per_arm=options.slides,
        photos_per_slide=photos,
        spores_per_slide=options.spores,
        taken_apart=True,
        photos=folder.name,
        sheet=sheet.name,
        key="" if options.not_blind else _seen_from(file, key_file),
    )
    told = _told(trial, options.base)  # refuses what cannot be, before anything is written
    written = [file, sheet, *([] if options.not_blind else [key_file])]
    for path in written:
        if path.exists():
            raise click.BadParameter(
                f"{path} is there already, and is not written over; choose another name",
                param_hint="FILE" if path != options.key else "--key",
            )
    write_whole(sheet, utf8(_sheet(key, photos, options)))
    if not options.not_blind:
        write_whole(key_file, utf8(key_csv(key)))
    write_trial(file, trial)
    folder.mkdir(exist_ok=True)
    click.echo(told)
    if options.follow:
        fields = "field" if options.follow == 1 else f"{options.follow} fields"
        click.echo(
            f"The first {fields} of each slide, of the controls too, are also photographed before "
            "treatment: leave the tape on its glass, and find the same litter again."
        )
    _tell_files(file, sheet, folder, None if options.not_blind else key_file)
    return DONE


def run_design(
    base: float,
    effect: float,
    icc: Sequence[float],
    spores: Sequence[int],
    power: float,
    alpha: float,
    arms: int,
) -> int:
    """Print how many slides a trial needs; return the exit code."""
    table = slides_needed(base, effect, icc, spores, power, alpha, arms=arms)
    click.echo(needed_words(table, base, effect, power, alpha, arms))
    return DONE


def _seen_from(file: Path, other: Path) -> str:
    """Return a path as it is written into the trial file."""
    try:
        return other.resolve().relative_to(file.resolve().parent).as_posix()
    except ValueError:
        return other.resolve().as_posix()


def _sheet(key: Sequence[KeyRow], photos: int, options: NewOptions) -> str:
    """Return the sheet: each photo that is to be taken, where, and of which slide."""
    seed, blind = options.seed, not options.not_blind
    draw: random.Random = random.SystemRandom() if seed is None else random.Random(seed + 1)
    follows = ("field", "when") if options.follow else ()
    columns = ("photo", *(("slide",) if blind else ("arm", "slide")), *follows, "where")
    rows = []
    # By code: the order of the arms must not show. Open sheets follow the order of preparing.
    for one in sorted(key, key=lambda row: row.code) if blind else key:
        named = (one.code,) if blind else (one.arm, one.slide)
        for number, spot in enumerate(places(photos, draw), 1):
            for when in ("before", "after") if number <= options.follow else ("",):
                photo = "-".join(filter(None, (one.code, str(number), when))) + ".jpg"
                field = (str(number) if when else "", when) if options.follow else ()
                rows.append((photo, *named, *field, place_words(spot)))
    return csv_text(columns, rows)


def _told(trial: Trial, base: float) -> str:
    """Return the plan in plain words."""
    treated = max(1, len(trial.treated))
    lines = [
        f'Trial "{trial.name}": {len(trial.arms)} arms with {trial.slides_per_arm} slides each, '
        f"{len(trial.arms) * trial.slides_per_arm} slides in all.",
        *(
            f"  {arm.name}: {arm.in_words()}"
            + (" (the others are compared with it)" if arm == trial.control_arm else "")
            for arm in trial.arms
        ),
        f"{trial.photos_per_slide} photos of each slide, "
        f"{len(trial.arms) * trial.slides_per_arm * trial.photos_per_slide} in all, at the places "
        "that the sheet says: do not look for good ones.",
        f"A slide with fewer than {trial.spores_per_slide} spores on them gets further photos, at "
        "places chosen without looking.",
        "",
    ]
    table = slides_needed(
        base,
        trial.smallest_effect,
        spores_per_slide=trial.spores_per_slide,
        alpha=trial.alpha,
        arms=treated,
    )
    lines += [
        needed_words(table, base, trial.smallest_effect, 0.8, trial.alpha, treated),
        "",
        _shown(trial, base, treated),
    ]
    if trial.slides_per_arm < 3:
        lines.append(
            "WARNING: with 1 slide nothing can be tested, with 2 hardly anything. Plan 3 or more."
        )
    remarks = trial.remarks()
    lines += ["", *(f"- {remark}" for remark in remarks)] if remarks else []
    return "\n".join(lines)


def _shown(trial: Trial, base: float, treated: int) -> str:
    """Say what the planned slides can show."""
    found = []
    for icc, words in zip(USUAL_ICC, ("hardly alike", "alike", "very alike"), strict=True):
        supposed = Supposed(base, 0.0, icc, trial.spores_per_slide)
        alpha = trial.alpha / treated
        least = (
            smallest_shown(supposed, trial.slides_per_arm, alpha=alpha)
            if trial.slides_per_arm > 1
            else None
        )
        found.append("none at all" if least is None else f"{100 * least:.0f} of 100")
        found[-1] += f" if {words}"
    return (
        f"With {_slides(trial.slides_per_arm)} of {trial.spores_per_slide} spores in each arm, as "
        f"planned, the smallest difference that is shown\nso often is {', '.join(found)}."
    )


def _slides(number: int) -> str:
    return "1 slide" if number == 1 else f"{number} slides"


def _tell_files(file: Path, sheet: Path, folder: Path, key: Path | None) -> None:
    click.echo("\nWritten:")
    click.echo(one_line(f"{file}: the plan; fill in what is missing"))
    click.echo(one_line(f"{sheet}: the sheet for whoever takes the photos"))
    click.echo(one_line(f"{folder}: put the photos here"))
    if key is not None:
        click.echo(
            one_line(
                f"{key}: THE KEY, with the order in which to prepare the slides. Only whoever "
                "prepares them looks at it; put it away until all photos are taken and reviewed."
            )
        )
    click.echo(
        one_line(f"Then: sporecount trial report {quote(str(file))} --um-per-px ... --out results")
    )
