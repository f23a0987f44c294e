"""Which spore after treatment is which before, and what became of each."""

from __future__ import annotations

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.matching import match_centres
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, SPORE_STATES
from sporecount.settings import FollowSettings
from sporecount.tape.evidence import examined_at
from sporecount.tape.pose import Pose
from sporecount.tape.view import View

Array = NDArray[np.float64]

GONE = "gone"
#: Why a spore could not be matched: outside what both photos show; a neighbour's partner might
#: be its own; something lies in its place that the detector does not call a spore.
OUTSIDE, CROWDED, UNCLEAR = "outside", "crowded", "unclear"

#: What can become of a spore that was intact before; and why it may not be known.
FATES = (INTACT, DAMAGED, FRAGMENT, GONE)
UNMATCHED = (OUTSIDE, CROWDED, UNCLEAR)

#: Columns of the table of followed spores: those of before, then what was new after.
SPORE_COLUMNS: dict[str, str] = {
    "state_before": "str",
    "fate": "str",
    "x_um": "float64",
    "y_um": "float64",
    "after_x_um": "float64",
    "after_y_um": "float64",
    "away_um": "float64",
    "pieces": "int64",
}

#: Fate of a spore that was not there before.
NEW = "new"

#: Nearer to the edge of what a photo shows, a spore may be cut, um.
EDGE_UM = 10.0

#: Disc that is looked at where nothing was found, um: most of a spore.
_DISC_UM, _STEP_UM = 6.0, 1.0

#: A spore is gone where less than this share of its own pattern is left, unless what is left has
#: its form and stands out from the noise (multiples of it), or more lies there than before
#: (measured on 350 spores without partner: 90 % of those gone, no intact one).
_LEFT_OF_IT, _ITS_FORM, _STANDS_OUT, _MORE = 0.3, 0.6, 2.0, 1.2

#: Cost of a pair beyond reach: more than any set of pairs within it.
_FAR = 1e6


def follow(
    before: View, after: View, pose: Pose, settings: FollowSettings | None = None
) -> pd.DataFrame:
    """Give each spore of a field its fate.

    Spores before and after are paired one to one, most pairs within ``same_place_um`` first,
    then least total distance. A spore without partner is in pieces where new pieces lie
    within ``pieces_within_um`` (each piece belongs to the nearest such place), gone where its
    place is empty, and otherwise not matched.

    Parameters
    ----------
    before, after : View
        Two photos of one field, with their finds.
    pose : Pose
        Of the second in the first one's frame.
    settings : FollowSettings, optional
        Distances.

    Returns
    -------
    DataFrame
        Columns :data:`SPORE_COLUMNS`: a row for each spore found before, then one with the fate
        ``"new"`` for each found only after, in what both show. Places are in um in the photo
        before, and in the one after, where the spore is or would be; ``away_um`` is between
        these, nan where there is no partner.
    """
    settings = settings or FollowSettings()
    old, old_pieces = _finds(before)
    new, new_pieces = _finds(after)
    at_old = _xy(old)
    at_new, at_pieces = pose.outwards(_xy(new)), pose.outwards(_xy(new_pieces))
    shared = examined_at(after, pose.inwards(at_old), EDGE_UM)
    pairs = match_centres(at_old, at_new, settings.same_place_um)
    own, partner = pairs.found, pairs.true
    fate = np.full(len(old), GONE, object)
    fate[~shared] = OUTSIDE
    states = new["state"].to_numpy(object)
    fate[own] = states[partner]
    left = np.setdiff1d(np.flatnonzero(fate == GONE), own)
    pieces = _pieces_of(at_old, left, at_pieces, _xy(old_pieces), settings)
    fate[pieces > 0] = FRAGMENT
    left = left[pieces[left] == 0]
    near_taken = _near(at_old[left], at_new[partner], settings.same_place_um)
    fate[left[near_taken]] = CROWDED
    left = left[~near_taken]
    fate[left[~_is_gone(before, after, pose, at_old[left])]] = UNCLEAR

    after_xy = pose.inwards(at_old)  # where it would be
    after_xy[own] = _xy(new)[partner]
    away = np.full(len(old), np.nan)
    away[own] = np.hypot(*(at_old[own] - at_new[partner]).T)
    rows = pd.DataFrame(
        {
            "state_before": old["state"].to_numpy(object), "fate": fate,
            "x_um": at_old[:, 0], "y_um": at_old[:, 1],
            "after_x_um": after_xy[:, 0], "after_y_um": after_xy[:, 1],
            "away_um": away, "pieces": pieces,
        }
    )  # fmt: skip
    fresh = np.setdiff1d(np.arange(len(new)), partner)
    fresh = fresh[examined_at(before, at_new[fresh], EDGE_UM)]
    added = pd.DataFrame(
        {
            "state_before": "", "fate": NEW,
            "x_um": at_new[fresh, 0], "y_um": at_new[fresh, 1],
            "after_x_um": _xy(new)[fresh, 0], "after_y_um": _xy(new)[fresh, 1],
            "away_um": np.nan, "pieces": 0,
        }
    )  # fmt: skip
    tables = [one for one in (rows, added) if len(one)]
    table = pd.concat(tables, ignore_index=True) if tables else rows
    return table.loc[:, list(SPORE_COLUMNS)].astype(SPORE_COLUMNS)


def _finds(view: View) -> tuple[pd.DataFrame, pd.DataFrame]:
    states = view.detections["state"]
    spores, pieces = states.isin(SPORE_STATES), states == FRAGMENT
    return view.detections[spores], view.detections[pieces]


def _xy(finds: pd.DataFrame) -> Array:
    return finds[["x_um", "y_um"]].to_numpy(float).reshape(-1, 2)


def _near(points: Array, others: Array, within: float) -> NDArray[np.bool_]:
    if not len(points) or not len(others):
        return np.zeros(len(points), bool)
    return np.asarray(cKDTree(others).query(points)[0]) <= within


def _pieces_of(
    at_old: Array,
    left: NDArray[np.intp],
    pieces: Array,
    pieces_before: Array,
    settings: FollowSettings,
) -> NDArray[np.int64]:
    """Return how many new pieces lie where each spore without partner was."""
    count = np.zeros(len(at_old), np.int64)
    there_before = match_centres(pieces, pieces_before, settings.same_place_um).found
    fresh = np.delete(pieces, there_before, axis=0)
    if len(left) and len(fresh):
        away, nearest = map(np.asarray, cKDTree(at_old[left]).query(fresh))
        np.add.at(count, left[nearest[away <= settings.pieces_within_um]], 1)
    return count


def _is_gone(before: View, after: View, pose: Pose, places: Array) -> NDArray[np.bool_]:
    """Return where nothing is left of a spore, by what the photos show and not by finds."""
    steps = np.arange(-_DISC_UM, _DISC_UM + 0.5 * _STEP_UM, _STEP_UM)
    x, y = (part.ravel() for part in np.meshgrid(steps, steps))
    inside = np.hypot(x, y) <= _DISC_UM
    points = places[:, None] + np.column_stack([x[inside], y[inside]])[None]
    was = _sampled(before, points)
    now = _sampled(after, pose.inwards(points.reshape(-1, 2)).reshape(points.shape))
    power, rest = (was**2).mean(axis=1), (now**2).mean(axis=1)
    left = (was * now).mean(axis=1) / np.maximum(power, 1e-9)
    a, b = was - was.mean(axis=1, keepdims=True), now - now.mean(axis=1, keepdims=True)
    alike = (a * b).sum(axis=1) / np.sqrt(np.maximum((a**2).sum(1) * (b**2).sum(1), 1e-12))
    its_form = (alike > _ITS_FORM) & (np.sqrt(rest) > _STANDS_OUT * after.noise)
    return np.asarray((left < _LEFT_OF_IT) & ~its_form & (rest <= _MORE**2 * power))


def _sampled(view: View, points_um: Array) -> NDArray[np.float32]:
    """Return the texture at points, shape (n, m, 2): shape (n, m)."""
    if not points_um.size:
        return np.zeros(points_um.shape[:2], np.float32)
    at = np.asarray(points_um / view.um_per_px - 0.5, np.float32)
    return np.asarray(
        cv2.remap(
            view.texture,
            np.ascontiguousarray(at[..., 0]),
            np.ascontiguousarray(at[..., 1]),
            cv2.INTER_LINEAR,
        ),
        np.float32,
    ).reshape(points_um.shape[:2])
