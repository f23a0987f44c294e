"""Reviewed results in place of the tool's own, wherever photos are counted."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from sporecount.counting import PhotoCount
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.counts.summary import COUNTED, IN_FULL, IN_PART, doubtful_of, figures
from sporecount.detect.table import COLUMNS
from sporecount.review.actions import Action, effective
from sporecount.review.carry import carried_over
from sporecount.review.errors import ReviewError
from sporecount.review.record import FOLDER, Review, find_reviews, read_review, same_detections
from sporecount.review.reviewed import everything, is_closed
from sporecount.settings import CountSettings


@dataclass(frozen=True)
class ReviewFolders:
    """Where reviews of photos are.

    Attributes
    ----------
    folder : Path or None
        The one folder of all; None where they lie beside the photos.
    """

    folder: Path | None = None

    def of(self, photo: Path) -> Path:
        """Return the folder of a photo's reviews.

        Examples
        --------
        >>> ReviewFolders().of(Path("tapes/a.jpg")).as_posix()
        'tapes/sporecount-reviews'
        """
        return self.folder if self.folder is not None else photo.parent / FOLDER


@dataclass(frozen=True, eq=False)
class Chosen:
    """The review that counts, of those of one photo.

    Attributes
    ----------
    review : Review or None
        None where nobody has said anything of the photo.
    notes, warnings : tuple of str
        What a person should know: other reviews; reviews that cannot be read.
    """

    review: Review | None = None
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def stamp(folder: Path, sha256: str) -> str:
    """Return a hash that changes with every action in a photo's reviews; empty without any."""
    whole = hashlib.sha256()
    paths = find_reviews(folder, sha256) if sha256 else []
    for path in paths:
        try:
            whole.update(path.name.encode() + b"\0" + path.read_bytes())
        except OSError:  # it is said when the review is read
            whole.update(path.name.encode() + b"\0?")
    return whole.hexdigest() if paths else ""


def find_chosen(folder: Path, sha256: str) -> Chosen:
    """Read a photo's reviews, and choose the one that counts.

    Reviews that cannot be read are left out with a warning: that is never silent, since the
    count is then the tool's or another person's.
    """
    reviews, warnings = [], []
    for path in find_reviews(folder, sha256):
        try:
            review = read_review(path)
        except ReviewError as error:
            warnings.append(f"the review {path.name} is left out: {error.wrong}")
            continue
        if review.sha256 == sha256:
            reviews.append(review)
    chosen = choose(reviews)
    return replace(chosen, warnings=(*warnings, *chosen.warnings))


def choose(reviews: Sequence[Review]) -> Chosen:
    """Choose the review that counts: the latest of those in full, else the latest.

    A review in which nothing holds, such as one that was only opened, is none.
    """
    said = [review for review in reviews if effective(review.actions)]
    if not said:
        return Chosen()
    ordered = sorted(said, key=lambda review: (is_closed(review.actions), _when(review.actions)))
    last, others = ordered[-1], ordered[:-1]
    notes = list(last.notes)
    if others:
        names = ", ".join(sorted({review.who or "somebody" for review in others}))
        full = is_closed(last.actions)
        why = "the latest in full" if full else "the latest, and none is in full"
        notes.append(f"also reviewed by {names}; that of {last.who or 'somebody'} counts: {why}")
    return Chosen(last, tuple(notes))


def reviewed_detections(review: Review, detections: pd.DataFrame, um_per_px: float) -> pd.DataFrame:
    """Return what stands of a count after a review, with the columns of detections.

    Parameters
    ----------
    review : Review
        A person's.
    detections : DataFrame
        What the tool finds now. Where it found something else when the photo was reviewed,
        what was said then is carried over, as when the photo is opened again.
    um_per_px : float
        The photo's scale.

    Returns
    -------
    DataFrame
        In the order of ``detections``, then the person's own. What a person judged has
        confidence 1; in a review in full everything has, since what was left as it was on a
        photo that was looked through was agreed with.
    """
    actions: Sequence[Action] = review.actions
    if not same_detections(review.counted.detections, detections):
        actions = carried_over(review.counted.detections, actions, detections, um_per_px)
    table = everything(detections, actions)
    table = table.loc[table["standing"], list(COLUMNS)].reset_index(drop=True)
    if is_closed(actions):
        table["confidence"] = 1.0
    return table


def rates_of(in_full: bool, own: DetectorRates | None = None) -> DetectorRates:
    """Return the rates of mistakes of a count that a person reviewed.

    In full, no mistake of the tool is left, and the range is the count itself. It does not
    tell of the person's own slips: the agreement of two people does. In part, the tool may
    have missed spores where nobody looked; those that the person added count as found, so
    that the upper limit is rather too high. ``own`` are the rates of the user's own
    microscope, where they are known.
    """
    from sporecount.load.estimate import CHECKED_BY_HAND

    return CHECKED_BY_HAND if in_full else own or load_rates()


def with_review(
    detections: pd.DataFrame,
    summary: dict[str, Any],
    chosen: Chosen,
    settings: CountSettings,
    own: DetectorRates | None = None,
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Put a reviewed result in place of the tool's.

    Parameters
    ----------
    detections, summary
        The tool's, of one photo; not changed.
    chosen : Chosen
        The review that counts.
    settings : CountSettings
        Level of the intervals, bounds of the classes.
    own : DetectorRates, optional
        Rates of mistakes of the user's own microscope.

    Returns
    -------
    detections, summary
        The reviewed ones; ``reviewed_by`` and ``review`` say so, ``notes`` what was changed.
        A photo that was refused stays refused: nobody can count on it.
    """
    row = dict(summary)
    row["warning"] = _joined(row["warning"], *chosen.warnings)
    review = chosen.review
    if review is None or row["status"] != COUNTED:
        return detections, row
    in_full = is_closed(review.actions)
    stands = reviewed_detections(review, detections, float(row["um_per_px"]))
    found = figures(
        stands,
        float(row["examined_mm2"]),
        settings,
        rates_of(in_full, own),
        doubtful_of(row),
    )
    who, extent = review.who or "somebody", IN_FULL if in_full else IN_PART
    was = f"reviewed by {who} {extent}; the tool had counted {row['spores']}"
    row.update(found, review=extent, reviewed_by=who)
    row["notes"] = _joined(row["notes"], was, *chosen.notes)
    return stands, row


def with_reviews(
    counted: PhotoCount,
    folder: Path,
    settings: CountSettings,
    own: DetectorRates | None = None,
) -> PhotoCount:
    """Return a photo's count as it stands after the review that is kept in a folder, if any."""
    chosen = find_chosen(folder, counted.summary["sha256"])
    detections, summary = with_review(counted.detections, counted.summary, chosen, settings, own)
    return PhotoCount(detections, summary, counted.field)


def _when(actions: Sequence[Action]) -> datetime:
    """Return when the last thing was done; long ago where that is not known."""
    for action in reversed(actions):
        try:
            at = datetime.fromisoformat(action.at)
        except ValueError:
            continue
        return at if at.tzinfo is not None else at.replace(tzinfo=UTC)
    return datetime.min.replace(tzinfo=UTC)


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)
