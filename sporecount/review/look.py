"""Where to look next on a photo."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from sporecount.detect.table import SPORE_STATES
from sporecount.review.ledger import Ledger


@dataclass(frozen=True)
class Look:
    """One thing to look at.

    Attributes
    ----------
    name : str
        Id of the detection; empty for a place where one may have been missed.
    x_px, y_px : float
        Where, in photo pixels.
    why : str
        Why there, as a sentence.
    """

    name: str
    x_px: float
    y_px: float
    why: str


def least_certain(ledger: Ledger, skipped: Container[str] = ()) -> Look | None:
    """Return the detection that nobody has judged and of which the tool is least certain.

    Parameters
    ----------
    ledger : Ledger
        The review.
    skipped : container of str
        Ids to pass over.
    """
    open_rows = (
        row
        for row in ledger.rows.values()
        if row["standing"] and not row["looked_at"] and row["id"] not in skipped
    )
    row = min(open_rows, key=lambda one: abs(one["confidence"] - 0.5), default=None)
    if row is None:
        return None
    what = "a spore" if row["state"] in SPORE_STATES else "a fragment"
    why = f"The tool is {100 * row['confidence']:.0f} % sure that this is {what}."
    return Look(str(row["id"]), float(row["x_px"]), float(row["y_px"]), why)
