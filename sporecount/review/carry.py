"""Keep a review when the photo is counted again: what was said goes over to the new detections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial.distance import cdist

from sporecount.detect.table import COLUMNS
from sporecount.review.actions import ADD, CLOSE, CONFIRM, REJECT, STATE, Action
from sporecount.review.reviewed import PERSON, everything, is_closed

#: Two counts mean the same object when its centres lie so near, um: half a spore's width less
#: than the distance at which spores can be told apart.
SAME_OBJECT_UM = 2.5


def carried_over(
    before: pd.DataFrame,
    actions: Sequence[Action],
    after: pd.DataFrame,
    um_per_px: float,
) -> list[Action]:
    """Return the actions that say of the new detections what was said of the old ones.

    Parameters
    ----------
    before, after : DataFrame
        The tool's detections of the two counts, in the same photo's pixels.
    actions : sequence of Action
        What was done with the first.
    um_per_px : float
        The photo's scale.

    Returns
    -------
    list of Action
        For ``after``; undone actions are forgotten. What stood and is no longer found by the
        tool is added as the person's own.
    """
    old = everything(before, actions)
    said = old[old["looked_at"]].reset_index(drop=True)
    partner = _partners(said, after, SAME_OBJECT_UM / um_per_px)
    who, at = (actions[-1].who, actions[-1].at) if actions else ("", "")
    out: list[Action] = []
    added = 0
    for row, new in zip(said.to_dict("records"), partner.tolist(), strict=True):
        stands, target = bool(row["standing"]), (f"t{new + 1}",)
        if new >= 0 and not stands:
            out.append(Action(REJECT, target, who=who, at=at))
        elif new >= 0:
            same = after["state"].iat[new] == row["state"]
            kind, state = (CONFIRM, None) if same else (STATE, str(row["state"]))
            out.append(Action(kind, target, state=state, who=who, at=at))
        elif stands:
            added += 1
            note = "" if row["source"] == PERSON else "the tool had found it before"
            made = {name: row[name] for name in COLUMNS if name != "confidence"}
            made["id"] = f"p{added}"
            out.append(Action(ADD, made=(plain(made),), who=who, at=at, note=note))
    if is_closed(actions):
        out.append(Action(CLOSE, who=who, at=at))
    return out


def plain(row: Mapping[Any, Any]) -> dict[str, Any]:
    """Return a detection's row in what JSON can hold: no arrays, nothing that is no number."""
    out: dict[str, Any] = {}
    for name, value in row.items():
        if name == "outline_px":
            out[name] = np.round(np.asarray(value, float).reshape(-1, 2), 2).tolist()
        elif isinstance(value, float | np.floating):
            if np.isfinite(value):
                out[name] = float(value)
        else:
            out[name] = value
    return out


def _partners(said: pd.DataFrame, after: pd.DataFrame, reach_px: float) -> NDArray[np.int64]:
    """Return for each judged detection the new one that is the same object, or -1.

    Where several lie near, those that stand come first: a rejected double must not take
    the spore's place.
    """
    partner = np.full(len(said), -1, np.int64)
    free = np.ones(len(after), bool)
    for stands in (True, False):
        mine = np.flatnonzero(said["standing"].to_numpy(bool) == stands)
        theirs = np.flatnonzero(free)
        if not len(mine) or not len(theirs):
            continue
        apart = cdist(
            said[["x_px", "y_px"]].to_numpy(float)[mine],
            after[["x_px", "y_px"]].to_numpy(float)[theirs],
        )
        # Beyond the reach all partners are equally bad, so that none is preferred.
        first, second = linear_sum_assignment(np.minimum(apart, 2.0 * reach_px))
        near = apart[first, second] <= reach_px
        partner[mine[first[near]]] = theirs[second[near]]
        free[theirs[second[near]]] = False
    return partner
