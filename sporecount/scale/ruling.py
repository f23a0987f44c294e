"""Micrometres per pixel from a photo of a stage micrometer's ruling."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.errors import RulingError
from sporecount.scale.ruling_angle import candidate_angles
from sporecount.scale.ruling_comb import find_combs, tilt_deg
from sporecount.scale.ruling_evidence import ALTERNATE, FIVES, Evidence, weigh
from sporecount.scale.ruling_lines import LineFit, fit_lines
from sporecount.scale.ruling_turn import Turned, lit_field, turn

#: Finest spacing of lines, in photo pixels, that is trusted.
LEAST_PERIOD_PX = 4.0

#: Least width of a line in um, where every fifth or tenth line is longer, and
#: where nothing else shows that the spacing is one division. Ruled lines are
#: 1 to 5 um wide (common practice, no source): lines that would have to be
#: finer are the fifth or tenth marks of a ruling whose fine lines are lost.
LEAST_LINE_UM = 0.85
LEAST_LINE_UM_ALONE = 1.2

#: Fewest lines used, with and without a pattern of longer lines.
LEAST_LINES = 6
LEAST_LINES_ALONE = 8

#: Error that the ruling itself and the lens may add, as a share of the scale.
FLOOR = 0.0005

#: Largest change of spacing from the first line to the last that is accepted.
MOST_CHANGE = 0.03

#: Photos above this many pixels are first tried at half size.
WHOLE_PX = 4_500_000

GIVEN = "micrometer photo"
REMEDY = (
    "focus a stage micrometer so that its fine lines are sharp, with the ends of short and "
    "long lines in view, or type the scale in with --um-per-px"
)


@dataclass(frozen=True, eq=False)
class Ruling:
    """A ruling found in a photo, and the scale it gives.

    Attributes
    ----------
    um_per_px : float
        Micrometres per photo pixel along the ruling.
    standard_error : float
        Standard error of ``um_per_px``, with a floor for ruling and lens.
    angle_deg : float
        Direction along the ruling (square to the lines), from +x towards +y,
        in [0, 180).
    division_um : float
        Distance of neighbouring lines that was assumed.
    period_px : float
        Distance of neighbouring lines, in photo pixels.
    lines_used : int
        Lines that the scale rests on.
    index : ndarray, shape (lines_used,), int
        Number of each line, in divisions from the first.
    positions_px : ndarray, shape (lines_used, 2)
        (x, y) of each line at the middle of the shortest lines.
    ends_px : ndarray, shape (lines_used, 2, 2)
        (x, y) of both ends of each line as far as seen.
    period_change : float
        Relative change of the distance from the first line to the last.
    pattern : str
        What the lengths of the lines show.
    """

    um_per_px: float
    standard_error: float
    angle_deg: float
    division_um: float
    period_px: float
    lines_used: int
    index: NDArray[np.int64]
    positions_px: NDArray[np.float64]
    ends_px: NDArray[np.float64]
    period_change: float
    pattern: str


def measure_ruling(pixels: NDArray[np.uint8], division_um: float = 10.0) -> Ruling:
    """Find um per pixel from a photo of a stage micrometer.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3) or (height, width), uint8
        The photo. Lines may be dark or bright, at any angle.
    division_um : float
        Distance of neighbouring fine lines in um, as engraved.

    Returns
    -------
    Ruling

    Raises
    ------
    RulingError
        If no ruling is found, its fine lines are not resolved, or the lines
        seen may be the fifth or tenth marks only.
    """
    if not (math.isfinite(division_um) and division_um > 0):
        raise RulingError(
            f"division of {division_um!r} um",
            "a division is a positive number of micrometres",
            "give the distance of neighbouring lines as engraved, usually 10",
        )
    shrinks = (2, 1) if pixels.shape[0] * pixels.shape[1] > WHOLE_PX else (1,)
    refusals: list[RulingError] = []
    for shrink in shrinks:
        try:
            return _measure(_gray(_shrunk(pixels, shrink)), division_um, shrink)
        except RulingError as refusal:
            refusals.append(refusal)
    raise refusals[-1]


def _gray(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return brightness as float32 on the scale of the photo."""
    if pixels.ndim == 3:
        weights = np.full((1, 3), 1 / 3, np.float32)
        colours = np.ascontiguousarray(pixels[..., :3], np.float32)
        return np.asarray(cv2.transform(colours, weights), np.float32).reshape(pixels.shape[:2])
    if pixels.ndim != 2:
        raise RulingError(
            f"picture of shape {pixels.shape}", "a photo has rows and columns", "give one photo"
        )
    return pixels.astype(np.float32)


def _shrunk(pixels: NDArray[np.uint8], shrink: int) -> NDArray[np.uint8]:
    """Return the picture with ``shrink`` by ``shrink`` pixels averaged into one."""
    if shrink == 1:
        return pixels
    height, width = (n // shrink for n in pixels.shape[:2])
    cut = pixels[: height * shrink, : width * shrink]
    return np.asarray(cv2.resize(cut, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def _measure(gray: NDArray[np.float32], division_um: float, shrink: int) -> Ruling:
    """Measure at one size: try directions and both kinds of lines, keep the first sound one."""
    if min(gray.shape) < 64:
        raise RulingError(GIVEN, "a photo this small shows no ruling", REMEDY)
    lit = lit_field(gray)
    why, sure = "no ruling of evenly spaced lines was found", False
    for angle in candidate_angles(gray):
        view = turn(gray, lit, angle)
        for dark in (True, False):
            found = _lines_along(gray if dark else gray.max() - gray, lit, view, dark)
            if found is None:
                continue
            turned, fit = found
            evidence = weigh(turned, fit, opaque_dark=dark)
            if evidence.most_width > 0.55:
                continue
            doubt = _not_a_ruling(fit, evidence)
            if doubt is None:
                doubt, sure = _doubt(fit, evidence, division_um, shrink), True
                if doubt is None:
                    return _ruling(turned, fit, evidence, division_um, shrink)
            why = doubt
        if sure:
            break  # a ruling it is: nothing better waits in another direction
    raise RulingError(GIVEN, why, REMEDY)


def _lines_along(
    gray: NDArray[np.float32], lit: NDArray[np.bool_], view: Turned, dark: bool
) -> tuple[Turned, LineFit] | None:
    turned = view if dark else replace(view, gray=view.gray.max() - view.gray)
    for last in (False, True):
        combs = find_combs(turned)
        lean = tilt_deg(combs) if combs else 0.0
        if not combs or abs(lean) > 3:
            return None
        if last or abs(lean) < 0.03:
            break
        turned = turn(gray, lit, turned.angle_deg - lean)
    fit = fit_lines(turned, combs)
    return None if fit is None else (turned, fit)


def _not_a_ruling(fit: LineFit, evidence: Evidence) -> str | None:
    """Return why these are not ruled lines at all, or None."""
    even = 0.02 if evidence.pattern == FIVES else 0.01
    if evidence.unsteady > 0.3 or evidence.uneven > 0.3 or evidence.filled < 0.75:
        return "no ruling was found: the evenly spaced marks in it are not solid, equal lines"
    if evidence.length < 1.5:
        return "no ruling was found: the evenly spaced marks in it are too short"
    if fit.scatter_px > even * fit.period_px + 0.1:
        return "no ruling was found: the marks in it are not evenly spaced"
    return None


def _doubt(fit: LineFit, evidence: Evidence, division_um: float, shrink: int) -> str | None:
    """Return why the lines cannot be trusted to be one division apart, or None."""
    period = fit.period_px
    least_um = evidence.least_width * division_um
    alone = evidence.pattern != FIVES
    if period * shrink < LEAST_PERIOD_PX:
        return f"lines {period * shrink:.1f} px apart are too close together to be trusted"
    if evidence.pattern == ALTERNATE:
        return (
            "every other line is longer: these are the fifth and tenth marks, fine lines are lost"
        )
    if abs(fit.period_change) > MOST_CHANGE:
        return "the spacing changes along the ruling: the camera is tilted or the lens distorts"
    if len(fit.index) < (LEAST_LINES_ALONE if alone else LEAST_LINES):
        return f"only {len(fit.index)} lines are seen"
    if least_um < (LEAST_LINE_UM_ALONE if alone else LEAST_LINE_UM):
        return (
            f"lines {period * shrink:.1f} px apart could be fifth or tenth marks, for at "
            f"{division_um:g} um apart they might be only {least_um:.1f} um wide"
        )
    return None


def _ruling(
    turned: Turned, fit: LineFit, evidence: Evidence, division_um: float, shrink: int
) -> Ruling:
    """Express the fit in pixels of the photo."""
    square = 1 / math.hypot(1.0, fit.lean)
    period = fit.period_px * square * shrink
    um_per_px = division_um / period
    relative = math.hypot(fit.period_se_px / fit.period_px, FLOOR)
    relative = math.hypot(relative, fit.period_change / 12)
    middle = (fit.top_px + fit.bottom_px - 1) / 2

    def in_photo(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        at = turned.to_photo(np.column_stack([x, y]))
        return (at + 0.5) * shrink - 0.5

    rows = evidence.ends_px
    ends = [in_photo(fit.x_px + fit.lean * (rows[:, i] - middle), rows[:, i]) for i in (0, 1)]
    return Ruling(
        um_per_px=um_per_px,
        standard_error=um_per_px * relative,
        angle_deg=(turned.angle_deg - math.degrees(math.atan(fit.lean))) % 180,
        division_um=division_um,
        period_px=period,
        lines_used=len(fit.index),
        index=fit.index,
        positions_px=in_photo(fit.x_px, np.full(len(fit.x_px), middle)),
        ends_px=np.stack(ends, axis=1),
        period_change=fit.period_change,
        pattern=evidence.pattern,
    )
