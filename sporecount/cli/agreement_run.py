"""What `sporecount agreement` and `sporecount microscope` do."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import click

from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE
from sporecount.cli.settings_file import read_settings
from sporecount.microscope import Microscope
from sporecount.photo.folder import find_photos
from sporecount.report.files import utf8, write_whole
from sporecount.review.errors import ReviewError
from sporecount.review.own import (
    forget_microscope,
    go_back,
    keep_microscope,
    load_microscopes,
    microscopes_path,
)
from sporecount.review.record import Review
from sporecount.settings import Settings


def run_agreement(folders: Sequence[Path], counted: Path | None, table: Path | None) -> int:
    """Compare raters, print what it means, and write the table as asked."""
    from sporecount.review.raters import agreement, agreement_table, counts_by_people, with_tool

    counts = counts_by_people(_reviews(folders, tallies=True))
    if counted is not None:
        counts = with_tool(counts, _counted_rows(counted))
    found = agreement(counts)
    click.echo("\n\n".join(pair.as_text() for pair in found))
    if table is not None:
        text = agreement_table(found).to_csv(index=False, float_format="%.6g")
        write_whole(table, utf8(text))
        click.echo(one_line(f"Table: {table}"))
    return DONE


def run_measure(folders: Sequence[Path], name: str) -> int:
    """Say how good the tool is on a microscope, and keep its rates."""
    from sporecount.review.measure import measured

    if any(one.name == name and one.adjustment for one in load_microscopes()):
        raise ReviewError(
            f"microscope {name!r}",
            "it is adjusted, and its rates were measured with that",
            "adjust it again, or go back first (`sporecount microscope back`)",
        )
    found = measured(_reviews(folders), name)
    click.echo(found.quality.as_text())
    for note in found.notes:
        click.echo(one_line(f"Note: {note}."))
    if found.microscope.rates is None and found.microscope.misread is None:
        click.echo("Nothing is kept: the rates that come with the tool still count.")
        return DONE
    keep_microscope(found.microscope)
    _say_kept(found.microscope)
    return DONE


def run_adjust(folders: Sequence[Path], name: str, settings_file: Path | None) -> int:
    """Learn an adjustment, say what came of it, and keep it where it helps."""
    from sporecount.review.measure import adjusted, learned_photos

    settings = read_settings(settings_file) if settings_file else Settings()
    reviews = _reviews(folders)

    def done(photo: str) -> None:
        click.echo(one_line(f"looked at {photo}"), err=True)

    photos = learned_photos(reviews, find_photos(list(folders)), settings, done)
    if not photos:
        raise ReviewError(
            f"{len(reviews)} reviews",
            "none is of a whole photo that is there",
            "look through whole photos, close them, and keep them with their reviews",
        )
    found, one = adjusted(photos, name, settings)
    click.echo(found.as_text())
    if one is None:
        click.echo("Nothing is changed.")
        return DONE
    keep_microscope(one)
    _say_kept(one)
    click.echo(one_line(f'Go back with: sporecount microscope back --name "{name}"'))
    return DONE


def run_show() -> int:
    """Print what is known of each microscope on a line."""
    known = load_microscopes()
    for one in known:
        click.echo(one_line(_line(one)))
    if not known:
        click.echo("Nothing was measured on your own microscopes: what comes with the tool counts.")
    return DONE


def run_back(name: str) -> int:
    """Take an adjustment away."""
    plain = go_back(name)
    click.echo(one_line(f"The adjustment is gone. Now: {_line(plain)}"))
    return DONE


def run_forget(name: str) -> int:
    """Forget a microscope."""
    forget_microscope(name)
    click.echo(one_line(f"All that was measured on {name} is forgotten."))
    return DONE


def _reviews(folders: Sequence[Path], *, tallies: bool = False) -> list[Review]:
    from sporecount.review.measure import all_reviews

    reviews, warnings = all_reviews(folders, tallies=tallies)
    for warning in warnings:
        click.echo(one_line(f"Note: {warning}"), err=True)
    if not reviews:
        what = "no review and no blind count" if tallies else "no review"
        raise ReviewError(
            ", ".join(map(str, folders)), f"there is {what}", "make some with `sporecount review`"
        )
    return reviews


def _counted_rows(folder: Path) -> list[dict[str, str]]:
    from sporecount.cli.count_run import PHOTOS_FILE

    path = folder / PHOTOS_FILE
    try:
        with path.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ReviewError(
            str(path), "it cannot be read", "give a folder of results of `sporecount count`"
        ) from error


def _line(one: Microscope) -> str:
    low, high = one.um_per_px
    scale = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
    parts = [f"{one.name}, {scale} um per pixel, {one.date}:"]
    if one.rates is not None:
        parts.append(f"rates of mistakes from {one.rates.measured_on};")
    if one.misread is not None:
        parts.append("what is misread, for trials;")
    if one.adjustment is not None:
        parts.append("adjusted;")
    return " ".join(parts).rstrip(";:")


def _say_kept(one: Microscope) -> None:
    click.echo(one_line(f"Kept: {_line(one)} ({microscopes_path()})"))
    click.echo("count, score and trial report use it; --as-shipped leaves it out.")
