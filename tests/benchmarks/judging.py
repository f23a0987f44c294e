"""How a count is judged against the truth of a drawn picture.

A true spore must be found when it lies in the field, is not mostly covered and stands
out from its surroundings; spores that nobody could see are left out of the account, and
so is a detection on one of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.render.truth import to_be_found


def places(table: pd.DataFrame) -> np.ndarray:
    """Return the centres of a table's rows in photo pixels, shape (k, 2)."""
    return table[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2)


def to_find(truth: pd.DataFrame) -> np.ndarray:
    """Return which rows of a truth table a person would see: as its maker says, or as drawn."""
    return truth["seen"].to_numpy(bool) if "seen" in truth else to_be_found(truth)


@dataclass
class Tally:
    """Sums over photos; every figure of the tables comes from these."""

    photos: int = 0
    refused: int = 0
    found: int = 0
    missed: int = 0
    false: int = 0
    right_state: dict[str, list[int]] = field(
        default_factory=lambda: {"intact": [0, 0], "damaged": [0, 0]}
    )
    pieces: list[int] = field(default_factory=lambda: [0, 0, 0])
    crowded: list[int] = field(default_factory=lambda: [0, 0])
    length_errors: list[float] = field(default_factory=list)
    false_on_blank: list[int] = field(default_factory=list)
    right_class: int = 0
    held: list[tuple[int, int, int]] = field(default_factory=list)
    seconds: float = 0.0
    megapixels: float = 0.0

    @property
    def precision(self) -> float:
        """Share of detections that are spores."""
        return self.found / max(1, self.found + self.false)

    @property
    def recall(self) -> float:
        """Share of spores that are found."""
        return self.found / max(1, self.found + self.missed)

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        return 2 * self.found / max(1, 2 * self.found + self.missed + self.false)


def judge_centres(tally: Tally, found_xy: np.ndarray, truth: pd.DataFrame, um_per_px: float):
    """Add a photo's spores to the tally; return which true row each detection is (or -1)."""
    spores = truth["state"].isin(["intact", "damaged"]).to_numpy(bool)
    seen = to_find(truth)
    xy = places(truth)
    wanted = np.flatnonzero(spores & seen)
    spared = np.flatnonzero(spores & ~seen)
    within = WITHIN_UM / um_per_px
    first = match_centres(found_xy, xy[wanted], within)
    rest = match_centres(found_xy[first.found_left], xy[spared], within)
    tally.photos += 1
    tally.found += len(first.found)
    tally.missed += len(first.true_left)
    tally.false += len(rest.found_left)
    is_true = np.full(len(found_xy), -1)
    is_true[first.found] = wanted[first.true]
    if len(wanted) == 0:
        tally.false_on_blank.append(len(rest.found_left))
    return is_true, first, wanted


def judge_table(tally: Tally, table: pd.DataFrame, summary: dict, truth: pd.DataFrame, um_per_px):
    """Add a counted photo: centres, states, pieces, lengths, class and range."""
    from sporecount.counts.loadclass import load_class

    found = table[table["state"] != "fragment"]
    found_xy = places(found)
    is_true, first, wanted = judge_centres(tally, found_xy, truth, um_per_px)
    for row, true in zip(np.flatnonzero(is_true >= 0), is_true[is_true >= 0], strict=True):
        state = truth["state"].iloc[true]
        tally.right_state[state][0] += int(found["state"].iloc[row] == state)
        tally.right_state[state][1] += 1
        length = truth["length_um"].iloc[true]
        if state == "intact":
            tally.length_errors.append(abs(found["length_um"].iloc[row] / length - 1))
    _judge_crowded(tally, truth, wanted, set(wanted[first.true].tolist()), um_per_px)
    _judge_pieces(tally, table, truth, um_per_px)
    true_number = len(wanted)
    tally.right_class += int(load_class(true_number) == summary["load_class"])
    tally.held.append((true_number, summary["spores_low"], summary["spores_high"]))


def _judge_crowded(tally, truth, wanted, hit, um_per_px):
    """Spores whose nearest neighbour's centre is 4 to 5 um away."""
    from scipy.spatial import cKDTree

    if len(wanted) < 2:
        return
    xy = places(truth)[wanted] * um_per_px
    distance = cKDTree(xy).query(xy, k=2)[0][:, 1]
    for row, d in zip(wanted, distance, strict=True):
        if 4.0 <= d <= 5.0:
            tally.crowded[0] += int(int(row) in hit)
            tally.crowded[1] += 1


def _judge_pieces(tally, table, truth, um_per_px):
    pieces = table[table["state"] == "fragment"]
    xy = places(truth)
    true = (truth["state"] == "fragment").to_numpy(bool)
    seen = to_find(truth)
    wanted, spared = np.flatnonzero(true & seen), np.flatnonzero(true & ~seen)
    found_xy = places(pieces)
    first = match_centres(found_xy, xy[wanted], WITHIN_UM / um_per_px)
    rest = match_centres(found_xy[first.found_left], xy[spared], WITHIN_UM / um_per_px)
    tally.pieces[0] += len(first.found)
    tally.pieces[1] += len(first.true_left)
    tally.pieces[2] += len(rest.found_left)
