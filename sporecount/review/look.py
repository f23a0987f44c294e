"""Where to look next on a photo."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from sporecount.review.photo_review import PhotoReview
from sporecount.review.queue import order
from sporecount.review.sample import random_order

#: Ids of places where a spore may have been missed start with this.
_PLACE = "m"


@dataclass(frozen=True)
class Look:
    """One thing to look at.

    Attributes
    ----------
    name : str
        Id of the detection (``t1``), or of a place where one may have been missed (``m1``).
    x_px, y_px : float
        Where, in photo pixels.
    why : str
        Why there, as a sentence.
    """

    name: str
    x_px: float
    y_px: float
    why: str

    @property
    def is_place(self) -> bool:
        """Whether nothing was found there, but may have been missed."""
        return self.name.startswith(_PLACE)


def telling_look(review: PhotoReview, aim: str, skipped: Container[str] = ()) -> Look | None:
    """Return what to look at next so that it changes the answer most.

    Parameters
    ----------
    review : PhotoReview
        The photo.
    aim : str
        What for; see `sporecount.review.queue.order`.
    skipped : container of str
        Ids to pass over.

    Returns
    -------
    Look or None
        None where all was looked at.
    """
    rows = review.ledger.rows
    first = order(rows, review.second, review.um_per_px, aim=aim, skipped=skipped, most=1)
    if first.empty:
        return None
    row = first.iloc[0]
    return Look(str(row["id"]), float(row["x_px"]), float(row["y_px"]), str(row["why"]))


def fair_look(review: PhotoReview, skipped: Container[str] = ()) -> Look | None:
    """Return what to look at next in the order that the photo itself fixes.

    Figures of how good the tool is are fair only from those, or from whole photos.
    """
    rows = review.ledger.rows
    names = random_order(review.counted.detections, review.photo.sha256)
    for done, name in enumerate(names):
        row = rows[name]
        if not row["looked_at"] and name not in skipped:
            why = f"A fair sample: number {done + 1} of {len(names)} in a random order."
            return Look(name, float(row["x_px"]), float(row["y_px"]), why)
    return None
