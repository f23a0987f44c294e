"""What one photo that was looked through in full teaches about the tool's own numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.detector import detect
from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.detect.size import of_possible_size
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT
from sporecount.field.field import Field
from sporecount.microscope import Adjustment
from sporecount.review.record import Review
from sporecount.review.reviewed import everything, is_closed
from sporecount.review.sample import MISSED, NOTHING, Judged, counted_pairs
from sporecount.review.second_look import all_finds
from sporecount.settings import DetectSettings


@dataclass(frozen=True, eq=False)
class Learned:
    """What one photo in full teaches.

    Attributes
    ----------
    judged : Judged
        What its review says of the tool as it comes.
    finds : DataFrame
        Places the tool looked at: ``spore``, ``damaged`` (chances), ``is_fragment``,
        ``fragment``, ``possible`` (of a spore's size) and ``truth``.
    missed : tuple of str
        States of real ones that no place met.
    """

    judged: Judged
    finds: pd.DataFrame
    missed: tuple[str, ...]

    def table(self, adjustment: Adjustment, settings: DetectSettings) -> NDArray[np.float64]:
        """Return what really is something and what it is called once adjusted."""
        return table_with(self.finds, self.missed, adjustment, settings)

    @property
    def is_blank(self) -> bool:
        """Whether there is no spore on it."""
        return not self.judged.table[:2].any()


def learned_from(review: Review, field: Field, settings: DetectSettings) -> Learned | None:
    """Return what a photo teaches; None unless it was looked through in full.

    Parameters
    ----------
    review : Review
        A person's.
    field : Field
        The photo's sample, with the scale of the review.
    settings : DetectSettings
        Those of the count.
    """
    if not is_closed(review.actions):
        return None
    rows = everything(review.counted.detections, review.actions)
    real = rows[rows["standing"]]
    finds = all_finds(field, settings, settings.heat_floor)
    pairs = match_centres(
        finds[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        real[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        WITHIN_UM / review.counted.um_per_px,
    )
    truth = np.full(len(finds), NOTHING, object)
    states = real["state"].to_numpy(object)
    truth[pairs.found] = states[pairs.true]
    kept = finds[["spore", "fragment", "damaged", "is_fragment"]].assign(
        truth=truth, possible=_of_possible_size(field, finds, settings)
    )
    missed = tuple(str(state) for state in states[pairs.true_left])
    judged = Judged(
        review.photo,
        review.sha256,
        review.who,
        review.counted.um_per_px,
        field.examined_mm2,
        True,
        np.zeros((4, 4)),
    )
    as_it_comes = table_with(kept, missed, Adjustment(), settings)
    return Learned(replace(judged, table=as_it_comes), kept, missed)


def table_with(
    finds: pd.DataFrame, missed: Sequence[str], adjustment: Adjustment, settings: DetectSettings
) -> NDArray[np.float64]:
    """Return what really is something on a photo, and what it is called once adjusted.

    Parameters
    ----------
    finds, missed
        As in `Learned`.
    adjustment : Adjustment
        Of the microscope.
    settings : DetectSettings
        Those of the count.

    Returns
    -------
    ndarray, shape (4, 4)
        As `sporecount.review.sample.table_of` gives it.
    """
    least_damaged = adjustment.settings(settings).least_damaged
    spore = adjustment.confidence(finds["spore"]) >= settings.least_confidence
    is_fragment = finds["is_fragment"].to_numpy(bool)
    damaged = finds["damaged"].to_numpy(float) >= least_damaged
    # Only whole ones are ruled out by their size.
    possible = finds["possible"].to_numpy(bool) | damaged
    piece = is_fragment & (finds["fragment"] >= settings.least_fragment_confidence).to_numpy()
    called = np.where(damaged, DAMAGED, INTACT).astype(object)
    called[is_fragment] = FRAGMENT
    kept = np.where(is_fragment, piece, spore & possible)
    called[~kept] = MISSED
    truth = finds["truth"].to_numpy(object)
    said = kept | (truth != NOTHING)
    return counted_pairs(
        [*truth[said].tolist(), *missed], [*called[said].tolist(), *([MISSED] * len(missed))]
    )


def _of_possible_size(
    field: Field, finds: pd.DataFrame, settings: DetectSettings
) -> NDArray[np.bool_]:
    """Return False for places that a count is sure enough of and leaves out for their size.

    Told by counting again: the review may be of a count that was adjusted.
    """
    sure = (finds["spore"] >= settings.least_confidence) & ~finds["is_fragment"]
    found = detect(field, settings)
    found = found[of_possible_size(found)]
    pairs = match_centres(
        finds[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        found[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        WITHIN_UM / field.calibration.um_per_px,
    )
    counted = np.zeros(len(finds), bool)
    counted[pairs.found] = True
    return np.asarray(~sure.to_numpy(bool) | counted, bool)
