"""A detection that grows from a click."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pandas as pd

from sporecount.detect.closer import damaged_share, look_closer, relative_tones
from sporecount.detect.colour import colours
from sporecount.detect.measure import measure_shape
from sporecount.detect.rays import RAYS
from sporecount.detect.seeds import Seeds
from sporecount.detect.table import DAMAGED, INTACT, SPORE_STATES, STATES
from sporecount.field.closeup import close_up
from sporecount.field.field import Field
from sporecount.review.carry import SAME_OBJECT_UM
from sporecount.review.errors import ReviewError
from sporecount.review.shapes import (
    MASK_UM_PER_PX,
    Row,
    Shape,
    Xy,
    made_row,
    mask_shape,
    mean_density,
    neighbours_of,
    outlined,
    place_of,
    searched,
    seeds_of,
    shape_of,
)
from sporecount.settings import DetectSettings

#: An outline that grows away from the click by more than this is another object's, um.
MOST_DRIFT_UM = 5.0
#: Spores of the photo beside which the state of a new one is judged.
COMPARED = 24
#: Turns that are tried where nothing tells the long axis, degrees.
TURNS = (0.0, 45.0, 90.0, 135.0)
#: An outline that is drawn around less is a slip of the hand, um2.
LEAST_AREA_UM2 = 5.0
#: Spores that say well how large they usually are on a photo.
ENOUGH_SPORES = 5


def grown(
    field: Field, detections: pd.DataFrame, x_px: float, y_px: float, settings: DetectSettings
) -> dict[str, Any]:
    """Return a new detection where a person pointed at a spore.

    The tool's own idea of the place, what is dark there, and the usual size of the photo's
    spores in several turns are each outlined; the outline with the clearest edge is kept. So
    a click need not be on the middle. Where no edge is found, it is a usual spore's ellipse.

    Parameters
    ----------
    field : Field
        The sample.
    detections : DataFrame
        What stands there: the line of parting between the new one and those is kept.
    x_px, y_px : float
        The place, in photo pixels.
    settings : DetectSettings
        Those the photo was counted with.

    Returns
    -------
    dict
        The columns of ``sporecount.detect.table.COLUMNS`` but the confidence, in what JSON
        can hold; to be given an id and made by an action.

    Raises
    ------
    ReviewError
        If the place was not examined, or a spore is there already.
    """
    at = np.array([x_px, y_px], float)
    _check_examined(field, at)
    others = neighbours_of(field, detections, at)
    _check_free(field, others, at, at)
    usual = _usual(detections, settings)
    tries = [*_from_search(field, at), *_from_darkness(field, at, usual)]
    turns = TURNS if not tries else ()
    tries += [(at, *usual, turn) for turn in turns]
    best, score = _ellipse_row(field, (at, *usual, tries[0][3])), -np.inf
    for one in tries:
        row, edge = outlined(field, one, others, settings)
        apart = (place_of(row) - at) * field.calibration.um_per_px
        if row["traced"] and np.hypot(*apart) <= MOST_DRIFT_UM and edge > score:
            best, score = row, edge
    _check_free(field, others, place_of(best), at)
    return made_row(best, _state(field, best, detections, settings))


def drawn(field: Field, outline_px: Xy, state: str) -> dict[str, Any]:
    """Return a new detection with an outline that a person drew.

    Parameters
    ----------
    field : Field
        The sample.
    outline_px : ndarray, shape (n, 2)
        Corners, x and y in photo pixels.
    state : str
        Its state.

    Returns
    -------
    dict
        As `grown` returns it.

    Raises
    ------
    ReviewError
        If it encloses nothing, its centre was not examined, or there is no such state.
    """
    _check_state(state)
    if outline_px.ndim != 2 or len(outline_px) < 3 or outline_px.shape[1] != 2:
        raise ReviewError("an outline", "it has less than three corners", "draw around the spore")
    shape = measure_shape(outline_px[None], field.calibration.um_per_px).iloc[0].to_dict()
    if not shape["area_um2"] > LEAST_AREA_UM2:
        raise ReviewError("an outline", "it encloses next to nothing", "draw around the spore")
    _check_examined(field, place_of(shape))
    row: Row = {**shape, **mean_density(field, outline_px), "outline_px": outline_px}
    return made_row(row, state)


def _check_state(state: str) -> None:
    if state not in STATES:
        raise ReviewError(
            f"state {state!r}", "there is no such", f"take one of {', '.join(STATES)}"
        )


def _check_examined(field: Field, at: Xy) -> None:
    x, y = np.rint(field.to_work_px(at)).astype(int)
    rows, columns = field.examined.shape
    if not (0 <= x < columns and 0 <= y < rows and field.examined[y, x]):
        raise ReviewError(
            f"the place {at[0]:.0f}, {at[1]:.0f}",
            "it is outside of what was examined of the photo, whose area the count is for",
            "point at a spore within it",
        )


def _check_free(field: Field, others: Seeds, found: Xy, at: Xy) -> None:
    if not len(others):
        return
    apart = np.hypot(*(others.xy_px - found).T) * field.calibration.um_per_px
    if apart.min() < SAME_OBJECT_UM:
        raise ReviewError(
            f"the place {at[0]:.0f}, {at[1]:.0f}",
            "there is a detection already",
            "choose that one, or part it if it is several",
        )


def _usual(detections: pd.DataFrame, settings: DetectSettings) -> tuple[float, float]:
    """Return length and width of the photo's usual spore, or of any where it has few."""
    sizes = detections.loc[detections["state"].isin(SPORE_STATES), ["length_um", "width_um"]]
    sizes = sizes.dropna()
    if len(sizes) < ENOUGH_SPORES:
        return settings.typical_length_um, settings.typical_width_um
    length, width = sizes.median()
    return float(length), float(width)


def _from_search(field: Field, at: Xy) -> list[Shape]:
    """Return what the search network makes of the place, however unsure it is."""
    found = searched(field, at)
    apart = np.hypot(*(found[0] - at).T) * field.calibration.um_per_px
    near = np.flatnonzero(apart <= MOST_DRIFT_UM)
    nearest = near[np.argsort(apart[near])][:2]
    return [(found[0][k], *(float(part[k]) for part in found[1:4])) for k in nearest]


def _from_darkness(field: Field, at: Xy, usual: tuple[float, float]) -> list[Shape]:
    """Return the shape of what is dark about a place, where it can be one spore."""
    half_um, step = 1.2 * usual[0], MASK_UM_PER_PX
    grey = close_up(field, float(at[0]), float(at[1]), half_um, step).max(axis=2)
    grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.6 / step), np.float32)
    middle, reach = grey.shape[0] // 2, max(1, round(2.0 / step))
    near = slice(middle - reach, middle + reach + 1)
    peak, ground = float(grey[near, near].max()), float(np.percentile(grey, 20))
    dark = (grey > 0.5 * (peak + ground)).astype(np.uint8)
    count, labels = cv2.connectedComponents(dark, connectivity=4)
    own = np.bincount(labels[near, near].ravel(), minlength=count)
    own[0] = 0
    if not own.any():
        return []
    mask = (labels == own.argmax()).astype(np.uint8)
    shape = mask_shape(mask, step)
    if not 0.4 * usual[0] <= shape[1] <= 1.6 * usual[0]:
        return []
    scale = step / field.calibration.um_per_px
    return [((shape[0] - middle) * scale + at, *shape[1:])]


def _ellipse_row(field: Field, shape: Shape) -> Row:
    """Return a shape itself, measured, with its ellipse for an outline."""
    at, length, width, angle = shape
    turn = np.arange(RAYS) * (2 * np.pi / RAYS)
    along, across = 0.5 * length * np.cos(turn), 0.5 * width * np.sin(turn)
    cos, sin = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    steps = np.stack([along * cos - across * sin, along * sin + across * cos], axis=1)
    outline = at + steps / field.calibration.um_per_px
    row = measure_shape(outline[None], field.calibration.um_per_px).iloc[0].to_dict()
    return {**row, **mean_density(field, outline), "outline_px": outline}


def _state(field: Field, row: Row, detections: pd.DataFrame, settings: DetectSettings) -> str:
    """Return whether a new spore looks intact, beside the photo's other spores."""
    spores = detections[detections["state"].isin(SPORE_STATES)]
    apart = np.hypot(spores["x_px"] - row["x_px"], spores["y_px"] - row["y_px"])
    near = spores.iloc[np.argsort(apart.to_numpy())[:COMPARED]]
    seeds = seeds_of([shape_of(each) for each in (row, *near.to_dict("records"))])
    seeds = seeds.take(np.isfinite(seeds.angle_deg))
    seen = colours(field, field.to_work_px(seeds.xy_px))
    shares = look_closer(field, seeds, relative_tones(seen, np.ones(len(seeds), bool)))
    return DAMAGED if damaged_share(shares)[0] >= settings.least_damaged else INTACT
