"""Followed spores as photographed before and after: one of each fate for each arm."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.report.html.pictures import CROP_UM, cut_out, data_uri, side_by_side
from sporecount.report.html.trial_fates import FATES, WORDS

#: Lying at the edge counts as being so much nearer to another spore, um.
_AT_EDGE = 1e6

Pixels = Callable[[str], "NDArray[np.uint8] | None"]


def before_after(
    spores: pd.DataFrame, um_per_px: Mapping[str, float], pixels_of: Pixels
) -> list[tuple[str, list[dict[str, Any]]]]:
    """Cut a spore of each fate out of its two photos.

    Parameters
    ----------
    spores : DataFrame
        As ``followed_spores.csv``: ``arm``, ``slide``, ``before``, ``after`` (names of photos)
        and the columns of :data:`sporecount.trial.followed.match.SPORE_COLUMNS`.
    um_per_px : mapping
        Photo name to its scale.
    pixels_of : callable
        Returns a photo's pixels by its name; None where they cannot be had.

    Returns
    -------
    list of (str, list of dict)
        Each arm with its pictures, the least harmed first; arms without any are left out.
    """
    if spores.empty:
        return []
    found = []
    for arm, own in spores.groupby("arm", sort=False):
        crops = [_crop(own, fate, um_per_px, pixels_of) for fate in FATES]
        there = [crop for crop in crops if crop is not None]
        if there:
            found.append((str(arm), there))
    return found


def _crop(
    own: pd.DataFrame, fate: str, um_per_px: Mapping[str, float], pixels_of: Pixels
) -> dict[str, Any] | None:
    chosen = most_apart(own, fate)
    if chosen is None:
        return None
    halves = []
    for photo, x, y in (
        (str(chosen["before"]), chosen["x_um"], chosen["y_um"]),
        (str(chosen["after"]), chosen["after_x_um"], chosen["after_y_um"]),
    ):
        pixels = pixels_of(photo) if photo in um_per_px else None
        if pixels is None:
            return None
        scale = um_per_px[photo]
        halves.append(cut_out(pixels, float(x) / scale - 0.5, float(y) / scale - 0.5, scale))
    picture = side_by_side(halves[0], halves[1])
    return {
        "uri": data_uri(picture, 80),
        "wide": picture.shape[1],
        "high": picture.shape[0],
        "fate": WORDS[fate],
        "slide": str(chosen["slide"]),
        "photo": str(chosen["before"]),
        "alt": f"A spore of {chosen['arm']} before and after: {WORDS[fate]}.",
    }


def most_apart(own: pd.DataFrame, fate: str) -> pd.Series | None:
    """Return the spore of a fate that lies furthest from any other; None where there is none.

    Those near the edge come last: half of what their pictures would show is missing.
    """
    best, most = None, -math.inf
    for _, field in own.groupby("before", sort=False):
        xy = field[["x_um", "y_um"]].to_numpy(float)
        is_it = ((field["fate"] == fate) & (field["state_before"] == "intact")).to_numpy()
        if not is_it.any():
            continue
        away = (
            np.asarray(cKDTree(xy).query(xy, k=2)[0])[:, 1] if len(xy) > 1 else np.full(1, np.inf)
        )
        inset = CROP_UM / 2
        edge = ((xy < xy.min(0) + inset) | (xy > xy.max(0) - inset)).any(axis=1)
        away = np.where(is_it, away - _AT_EDGE * edge, -math.inf)
        at = int(np.argmax(away))
        if away[at] > most:
            best, most = field.iloc[at], float(away[at])
    return best
