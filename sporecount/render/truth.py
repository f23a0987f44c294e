"""The truth table of a rendered picture, with how visible each spore is."""

from __future__ import annotations

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.render.camera import CameraPlan, toned
from sporecount.render.compose.place import Placed, grey, window
from sporecount.render.drawn import DrawnSpore

#: Columns of the truth and their types. ``contrast`` is the largest difference of
#: optical density that the spore makes in the exposed picture, after blur, covering
#: and clipping; ``shown`` the same in pixel values, after the tone curve; ``busy`` the spread
#: of optical density, in pixel values, that the spore lies on; ``covered`` the share hidden
#: under opaque litter; ``in_field`` whether the centre lies on lit sample that no overlay hides.
TRUTH_COLUMNS: dict[str, str] = {
    "x_px": "float64",
    "y_px": "float64",
    "length_um": "float64",
    "width_um": "float64",
    "angle_deg": "float64",
    "state": "str",
    "area_um2": "float64",
    "contrast": "float64",
    "shown": "float64",
    "busy": "float64",
    "covered": "float64",
    "defocus_um": "float64",
    "style": "str",
    "in_field": "bool",
}

#: Light that never quite goes away: keeps densities of black things finite.
FLOOR = 0.01

#: The same for pixel values: one count.
LEAST_VALUE = 1 / 255

#: Share of its greatest density from which a pixel of a patch belongs to the spore.
FOOTPRINT = 0.2

#: Contrast (optical density) and covered share that make a true object one to be found.
LEAST_CONTRAST, MOST_COVERED = 0.05, 0.5


def make_truth(
    spores: list[tuple[int, Placed]],
    canvas_xy: NDArray[np.float64],
    final_xy: NDArray[np.float64],
    seen: NDArray[np.float32],
    bare: NDArray[np.float32],
    cover: NDArray[np.int32],
    inside: NDArray[np.bool_],
    hidden: NDArray[np.bool_],
    camera: CameraPlan | None = None,
) -> pd.DataFrame:
    """Return the truth of a picture.

    Parameters
    ----------
    spores : list of (int, Placed)
        Spores and pieces, with their number in the order of painting.
    canvas_xy, final_xy : ndarray, shape (n, 2)
        Their centres on the canvas, after the lens, and in the finished picture.
    seen, bare : ndarray, shape (h, w, 3), float32
        Exposed canvas with and without spores.
    cover : ndarray, shape (h, w), int32
        Number of the last opaque litter.
    inside : ndarray, shape (h, w), bool
        Lit part of the canvas.
    hidden : ndarray, shape of the finished picture, bool
        What an overlay hides.
    camera : CameraPlan, optional
        Its tone curve decides what can be seen; a usual one where left out.

    Returns
    -------
    DataFrame
        Columns ``TRUTH_COLUMNS``; rows only for centres within the finished picture.
    """
    height, width = hidden.shape
    rows = []
    for (number, one), on_canvas, (x, y) in zip(spores, canvas_xy, final_xy):
        if not (0 <= x <= width - 1 and 0 <= y <= height - 1):
            continue
        drawn = one.drawn
        if not isinstance(drawn, DrawnSpore):
            continue
        column = min(max(round(on_canvas[0]), 0), inside.shape[1] - 1)
        row = min(max(round(on_canvas[1]), 0), inside.shape[0] - 1)
        contrast, shown, busy, covered = _visibility(
            number, one, on_canvas, seen, bare, cover, camera or CameraPlan()
        )
        rows.append(
            {
                "x_px": x,
                "y_px": y,
                "length_um": drawn.length_um,
                "width_um": drawn.width_um,
                "angle_deg": drawn.angle_deg,
                "state": drawn.state,
                "area_um2": drawn.area_um2,
                "contrast": contrast,
                "shown": shown,
                "busy": busy,
                "covered": covered,
                "defocus_um": one.defocus_um,
                "style": drawn.style,
                "in_field": bool(inside[row, column]) and not hidden[round(y), round(x)],
            }
        )
    empty = {name: pd.Series([], dtype=kind) for name, kind in TRUTH_COLUMNS.items()}
    if not rows:
        return pd.DataFrame(empty)
    return pd.DataFrame(rows, columns=list(TRUTH_COLUMNS)).astype(TRUTH_COLUMNS)


def _visibility(
    number: int,
    one: Placed,
    on_canvas: NDArray[np.float64],
    seen: NDArray[np.float32],
    bare: NDArray[np.float32],
    cover: NDArray[np.int32],
    camera: CameraPlan,
) -> tuple[float, float, float, float]:
    """Return the contrast, linear and in pixel values, the ground's and the covered share."""
    patch = one.drawn.density
    # The lens may have moved it a little.
    left = one.left_px + round(float(on_canvas[0]) - one.x_px)
    top = one.top_px + round(float(on_canvas[1]) - one.y_px)
    part = window(left, top, patch.shape, cover.shape)
    flat = window(one.left_px, one.top_px, patch.shape, cover.shape)
    if part is None or flat is None:
        return 0.0, 0.0, 0.0, 0.0
    tone = grey(patch)
    limit = FOOTPRINT * float(tone.max())
    foot = tone[part.patch] >= limit
    if not foot.any():
        return 0.0, 0.0, 0.0, 0.0
    with_it, without = seen[part.canvas], bare[part.canvas]
    floor = np.float32(FLOOR)
    ratio = np.asarray(cv2.log((without + floor) / (with_it + floor)), np.float32)
    ratio *= np.float32(1 / np.log(10))
    contrast = np.abs(grey(ratio)[foot]).max()
    after, before = _value_log(with_it, camera), _value_log(without, camera)
    shown, busy = np.abs((before - after)[foot]).max(), before[foot].std()
    below = tone[flat.patch] >= limit
    covered = float((cover[flat.canvas] > number)[below].mean()) if below.any() else 0.0
    return float(contrast), float(shown), float(busy), covered


def _value_log(light: NDArray[np.float32], camera: CameraPlan) -> NDArray[np.float32]:
    """Return the logarithm of the pixel values of exposed light, mean of the channels."""
    values = np.clip(toned(light, camera), 0, 1) + np.float32(LEAST_VALUE)
    return grey(np.asarray(cv2.log(values), np.float32)) * np.float32(1 / np.log(10))


def to_be_found(truth: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which rows of a truth table a person would see.

    Parameters
    ----------
    truth : DataFrame
        As `sporecount.render.picture.render` gives it.
    """
    return (
        truth["in_field"]
        & (truth["contrast"] >= LEAST_CONTRAST)
        & (truth["covered"] <= MOST_COVERED)
    ).to_numpy(bool)
