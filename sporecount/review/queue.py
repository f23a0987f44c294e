"""What to look at first in a review.

Pure and quick: to be asked after each action, whatever number of detections there is.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, SPORE_STATES
from sporecount.review.reviewed import PERSON, TOOL, Rows
from sporecount.review.second_look import SecondLook

Array = NDArray[np.float64]

#: Columns of a queue: id of the detection (``t1``) or of the place where one may have been
#: missed (``m1``), place in photo pixels, why to look there as a sentence, and the gain: by
#: how many spores the answer is expected to change.
QUEUE_COLUMNS: dict[str, str] = {
    "id": "str",
    "x_px": "float64",
    "y_px": "float64",
    "why": "str",
    "gain": "float64",
}

#: What a review is for: the number of spores, or (trials) how many of them are damaged.
COUNT, STATES = "count", "states"

#: A place that a person has put a spore within this distance of is done, um.
DONE_WITHIN_UM = 3.0

#: No chance is believed to be surer than this before a person has looked.
_SUREST = 1e-3


def order(
    rows: Rows,
    second: SecondLook,
    um_per_px: float,
    *,
    aim: str = COUNT,
    skipped: Container[str] = (),
    most: int = 200,
) -> pd.DataFrame:
    """Return what to look at, the most telling first.

    Parameters
    ----------
    rows : dict
        The review: ``Ledger.rows``.
    second : SecondLook
        What a second search says: of the same detections.
    um_per_px : float
        The photo's scale.
    aim : str
        ``COUNT`` or ``STATES``.
    skipped : container of str
        Ids to pass over, those of places where a person saw nothing (``m3``) too.
    most : int
        Length of the queue.

    Returns
    -------
    DataFrame
        Columns ``QUEUE_COLUMNS``. Empty where all was looked at.

    Examples
    --------
    >>> from sporecount.detect.table import empty_detections
    >>> from sporecount.review.second_look import no_second_look
    >>> order({}, no_second_look(empty_detections()), 0.5).empty
    True
    """
    spots = open_spots(rows, second, um_per_px, skipped)
    gain = spots.gains(aim)
    first = np.lexsort((spots.place, -gain))[:most]
    chosen: dict[str, Any] = {
        "id": [spots.names[at] for at in first],
        "x_px": spots.xy_px[first, 0],
        "y_px": spots.xy_px[first, 1],
        "why": [spots.why(int(at), aim) for at in first],
        "gain": gain[first],
    }
    return pd.DataFrame(chosen).astype(QUEUE_COLUMNS)


@dataclass(frozen=True, eq=False)
class Spots:
    """What nobody has judged yet: detections, then places where one may have been missed.

    Attributes
    ----------
    names : list of str
        Ids.
    xy_px : ndarray, shape (k, 2)
        Places.
    counted : ndarray, shape (k,), bool
        Whether it counts as a spore now.
    spore, damaged : ndarray, shape (k,)
        Chance to be a spore; chance to be damaged if it is one.
    called : list of str
        What the tool calls it; empty for a place where it found nothing.
    sure : int
        Spores that a person has judged.
    """

    names: list[str]
    xy_px: Array
    counted: NDArray[np.bool_]
    spore: Array
    damaged: Array
    called: list[str]
    sure: int

    @property
    def place(self) -> NDArray[np.int64]:
        """Rank among equals: the order in which they are."""
        return np.arange(len(self.names))

    def gains(self, aim: str) -> Array:
        """Return by how many spores a look at each is expected to change the answer."""
        number = np.where(self.counted, 1.0 - self.spore, self.spore)
        if aim != STATES:
            return number
        called_damaged = np.array([name == DAMAGED for name in self.called], bool)
        other = np.where(called_damaged, 1.0 - self.damaged, self.damaged)
        return number + np.where(self.counted, self.spore * other, 0.0)

    def why(self, at: int, aim: str) -> str:
        """Return why to look at one, as a sentence."""
        chance = percent(self.spore[at])
        if not self.called[at]:
            return f"Not counted, but it may be a spore that was missed ({chance})."
        if self.called[at] == FRAGMENT:
            return f"Called a fragment, but it may be a whole spore ({chance})."
        if aim == STATES:
            wrong = self.damaged[at] if self.called[at] != DAMAGED else 1.0 - self.damaged[at]
            if wrong > 1.0 - self.spore[at]:
                other = "intact" if self.called[at] == DAMAGED else "damaged"
                return f"Called {self.called[at]}, but it may be {other} ({percent(wrong)})."
        return f"Counted as a spore, and is one with a chance of {chance}."


def open_spots(
    rows: Rows, second: SecondLook, um_per_px: float, skipped: Container[str] = ()
) -> Spots:
    """Return what nobody has judged yet; parameters are those of `order`."""
    names: list[str] = []
    values: list[tuple[float, float, float, float]] = []
    called: list[str] = []
    sure = 0
    own: list[tuple[float, float]] = []
    known = zip(second.spore.tolist(), second.damaged.tolist())
    for row in rows.values():
        met = next(known, (np.nan, np.nan)) if row["source"] == TOOL else (np.nan, np.nan)
        if row["source"] == PERSON:
            own.append((row["x_px"], row["y_px"]))
        if not row["standing"]:
            continue
        is_spore = row["state"] in SPORE_STATES
        if row["looked_at"] or row["id"] in skipped:
            sure += is_spore
            continue
        names.append(row["id"])
        called.append(row["state"])
        values.append((row["x_px"], row["y_px"], _chance(row, is_spore, met[0]), met[1]))
    missed = _open_misses(second.misses, own, um_per_px, skipped)
    table = np.array(values, float).reshape(-1, 4)
    places = missed[["x_px", "y_px", "chance", "damaged"]].to_numpy(float)
    table = np.concatenate([table, places])
    table[:, 3] = np.where(np.isnan(table[:, 3]), 0.0, table[:, 3])
    is_counted = [state in SPORE_STATES for state in called] + [False] * len(places)
    return Spots(
        names + missed["id"].tolist(),
        table[:, :2],
        np.array(is_counted, bool),
        np.clip(table[:, 2], _SUREST, 1.0 - _SUREST),
        np.clip(table[:, 3], _SUREST, 1.0 - _SUREST),
        called + [""] * len(places),
        sure,
    )


def _chance(row: dict[str, Any], is_spore: bool, again: float) -> float:
    """Return a detection's chance to be a spore: as it was counted, or by the second look."""
    if is_spore:
        return float(row["confidence"])
    # A piece's confidence is that of being a piece; what it is else is rather litter.
    return float(again) if again == again else 0.5 * (1.0 - float(row["confidence"]))


def _open_misses(
    misses: pd.DataFrame, own: list[tuple[float, float]], um_per_px: float, skipped: Container[str]
) -> pd.DataFrame:
    """Return the places where nobody has put a spore, nor said that there is none."""
    if misses.empty:
        return misses
    left = np.array([name not in skipped for name in misses["id"]], bool)
    if own:
        from scipy.spatial import cKDTree

        apart, _ = cKDTree(np.array(own, float)).query(misses[["x_px", "y_px"]].to_numpy(float))
        left &= apart > DONE_WITHIN_UM / um_per_px
    return misses[left]


def next_photo(
    spots: Sequence[Spots],
    p_other: Sequence[float] | None = None,
    *,
    aim: str = COUNT,
    looks: int = 10,
) -> int | None:
    """Return the place of the photo where the next looks change the answer most.

    Parameters
    ----------
    spots : sequence of Spots
        What is open on each photo.
    p_other : sequence of float, optional
        For each photo, the chance that review changes the class of its tape
        (`sporecount.review.settlement.settled`): tapes near an edge of a class come first.
    aim : str
        ``COUNT`` or ``STATES``.
    looks : int
        How many looks at a photo are weighed.

    Returns
    -------
    int or None
        None where nothing is open.
    """
    gains = np.array([np.sort(one.gains(aim))[::-1][:looks].sum() for one in spots], float)
    if not len(gains) or gains.max() <= 0.0:
        return None
    stakes = np.ones(len(gains)) if p_other is None else np.asarray(p_other, float)
    # Where all classes are settled, what is left to gain is the count alone.
    worth = gains * stakes if (gains * stakes).max() > 0.0 else gains
    return int(np.argmax(worth))


def percent(chance: float) -> str:
    """Return a chance in words that never say 0 or 100 %.

    Examples
    --------
    >>> [percent(chance) for chance in (0.0, 0.046, 0.5, 0.9999)]
    ['below 1 %', '5 %', '50 %', 'above 99 %']
    """
    if chance < 0.01:
        return "below 1 %"
    return "above 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
