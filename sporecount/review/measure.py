"""From folders of reviews to what is known of the microscope that the photos are of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sporecount.errors import SporecountError
from sporecount.microscope import Microscope
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.review.adjust import Refit, refit
from sporecount.review.errors import ReviewError
from sporecount.review.learned import Learned, learned_from
from sporecount.review.own import today
from sporecount.review.quality import (
    Quality,
    misread_from_judged,
    quality_of_reviews,
    rates_from,
)
from sporecount.review.record import FOLDER, Review, read_review
from sporecount.review.reviewed import is_closed
from sporecount.review.sample import Judged
from sporecount.review.tally import FOLDER as TALLIES_FOLDER
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

#: Scales of one microscope's photos differ by no more than this factor.
_ONE_SCALE = 1.3


@dataclass(frozen=True, eq=False)
class Measured:
    """What reviews say of a microscope.

    Attributes
    ----------
    quality : Quality
        How good the tool is there.
    microscope : Microscope
        Its rates and what is misread, as far as enough is known.
    notes : tuple of str
        What is not known yet, and why.
    """

    quality: Quality
    microscope: Microscope
    notes: tuple[str, ...]


def all_reviews(
    folders: Iterable[Path], *, tallies: bool = False
) -> tuple[list[Review], tuple[str, ...]]:
    """Read all reviews in and below folders, or all blind counts too.

    Returns
    -------
    reviews : list of Review
        In order of their files.
    warnings : tuple of str
        Those that cannot be read.
    """
    wanted = (FOLDER, TALLIES_FOLDER) if tallies else (FOLDER,)
    reviews, warnings = [], []
    for path in dict.fromkeys(_files(folders, wanted)):
        try:
            reviews.append(read_review(path))
        except ReviewError as error:
            warnings.append(f"{path.name} is left out: {error.wrong}")
    return reviews, tuple(warnings)


def measured(reviews: Sequence[Review], name: str, level: float = 0.95) -> Measured:
    """Say how good the tool is on a microscope, and take its rates from there.

    Parameters
    ----------
    reviews : sequence of Review
        Of photos of that microscope.
    name : str
        Its name.
    level : float
        Confidence level, between 0 and 1.

    Raises
    ------
    ReviewError
        If none of the reviews is a fair sample, or the photos are of several scales.
    """
    plain = [review for review in reviews if not review.counted.facts.get("adjusted")]
    if not plain:
        raise ReviewError(
            f"{len(reviews)} reviews",
            "all are of an adjusted count, which says nothing of the tool as it comes",
            "open the photos again, so that they are counted as the tool comes",
        )
    known = quality_of_reviews(plain, level)
    one, notes = _microscope(known.photos, name)
    left_out = len(reviews) - len(plain)
    if left_out:
        notes = (*notes, f"{left_out} reviews of an adjusted count are left out")
    return Measured(known, one, notes)


def adjusted(
    photos: Sequence[Learned], name: str, settings: Settings, level: float = 0.95
) -> tuple[Refit, Microscope | None]:
    """Learn an adjustment of a microscope from photos in full.

    Returns
    -------
    refit : Refit
        What came of it.
    microscope : Microscope or None
        With the adjustment, and the rates of mistakes that go with it; None where no
        adjustment is kept.
    """
    found = refit(photos, settings.detect, level)
    if found.adjustment is None:
        return found, None
    plain, _ = _microscope([photo.judged for photo in photos], name)
    changed, _ = _microscope(found.photos, name)
    return found, replace(changed, adjustment=found.adjustment, before=plain)


def learned_photos(
    reviews: Sequence[Review],
    files: Iterable[PhotoFile],
    settings: Settings,
    done: Callable[[str], None] = lambda name: None,
) -> list[Learned]:
    """Look again at the photos that were reviewed in full.

    Parameters
    ----------
    reviews : sequence of Review
        Of several of one photo, the last in full counts.
    files : iterable of PhotoFile
        Where the photos may be; they are known by their hashes.
    settings : Settings
        Those of the count.
    done : callable
        Called with the name of each photo once it was looked at.
    """
    from sporecount.field.make import make_field
    from sporecount.photo.read import read_photo

    closed = {review.sha256: review for review in reviews if is_closed(review.actions)}
    out = []
    for file in files:
        review = closed.get(file_sha256(file.path))
        if review is None:
            continue
        try:
            photo = read_photo(file.path, file.name)
            scale = Calibration(review.counted.um_per_px, "that of its review")
            field = make_field(photo, scale, settings.field)
        except SporecountError:  # it was readable when it was reviewed
            continue
        found = learned_from(review, field, settings.detect)
        if found is not None:
            out.append(found)
            del closed[review.sha256]
        done(file.name)
    return out


def _microscope(photos: Sequence[Judged], name: str) -> tuple[Microscope, tuple[str, ...]]:
    scales = [photo.um_per_px for photo in photos]
    low, high = min(scales), max(scales)
    if high > _ONE_SCALE * low:
        raise ReviewError(
            f"photos of {low:.3g} to {high:.3g} um per pixel",
            "they are not of one microscope and objective",
            "keep them in folders of their own, and give each its name",
        )
    rates, why_no_rates = rates_from(photos)
    misread, why_no_misread = misread_from_judged(photos)
    notes = tuple(filter(None, (why_no_rates, why_no_misread)))
    return Microscope(name, (low, high), today(), rates, misread), notes


def _files(folders: Iterable[Path], wanted: Sequence[str]) -> Iterator[Path]:
    for folder in folders:
        for path in sorted(folder.rglob("*.jsonl")):
            if path.parent.name in wanted or path.parent == folder:
                yield path
