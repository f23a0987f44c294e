"""Whether a scale can be that of a photo of spores: by itself, and by the lengths found."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from sporecount.errors import ScaleError
from sporecount.literature import PLAUSIBLE_MEDIAN_LENGTH_UM, SPORE_LENGTH_UM
from sporecount.photo.tagscale import PLAUSIBLE_UM_PER_PX

#: Fewer spores than this say nothing about the scale.
LEAST_SPORES = 10

#: How wrong scales come about: factor and cause (common practice, no source).
FACTORS: tuple[tuple[float, str], ...] = (
    (2.0, "binning, a resized photo, or objectives 20x and 10x mixed up"),
    (2.5, "objectives 10x and 4x mixed up"),
    (4.0, "binning or resizing twice over, or objectives 40x and 10x mixed up"),
    (10.0, "objectives 40x and 4x mixed up, or a micrometer's divisions taken ten times off"),
    (1000.0, "mm, um and nm mixed up"),
)


def check_scale(um_per_px: float, given: str, remedy: str) -> None:
    """Refuse a scale that no photo of spores has.

    Parameters
    ----------
    um_per_px : float
        The scale.
    given, remedy : str
        What is said of it, and what to do.

    Raises
    ------
    ScaleError
        If it is too fine or too coarse.
    """
    low, high = PLAUSIBLE_UM_PER_PX
    if not low <= um_per_px <= high:
        raise ScaleError(given, f"photos of spores have {low:g} to {high:g} um per pixel", remedy)


def scale_warning(
    lengths_um: ArrayLike | Sequence[float], *, um_per_px: float | None = None
) -> str | None:
    """Say whether the spores' lengths cast doubt on the scale, and by which factor.

    Parameters
    ----------
    lengths_um : array_like, shape (n,)
        Lengths of the spores found, um; values that are not finite are left out.
    um_per_px : float, optional
        The scale they were measured with; with it, pixels per micrometre given
        for micrometres per pixel can be named as well.

    Returns
    -------
    str or None
        A sentence, where the median of ten or more lengths is outside 8 to 18 um.

    Examples
    --------
    >>> scale_warning([12.5] * 10) is None
    True
    >>> print(scale_warning([25.2] * 12))
    median length 25.2 um of 12 spores, 2.0x too long: is the scale off by a factor 2 \
(binning, a resized photo, or objectives 20x and 10x mixed up)?
    """
    lengths = np.asarray(lengths_um, dtype=np.float64).reshape(-1)
    lengths = lengths[np.isfinite(lengths)]
    low, high = PLAUSIBLE_MEDIAN_LENGTH_UM
    if len(lengths) < LEAST_SPORES:
        return None
    median = float(np.median(lengths))
    if low <= median <= high or median <= 0:
        return None
    usual = math.sqrt(SPORE_LENGTH_UM[0] * SPORE_LENGTH_UM[1])
    ratio = max(median / usual, usual / median)
    wrong = "long" if median > high else "short"
    said = f"median length {median:.3g} um of {len(lengths)} spores, {ratio:.1f}x too {wrong}"
    return f"{said}: {_likely_cause(median, ratio, usual, um_per_px)}?"


def _likely_cause(median: float, ratio: float, usual: float, um_per_px: float | None) -> str:
    """Name the factor nearest to the ratio, if it would bring the median into place."""
    low, high = PLAUSIBLE_MEDIAN_LENGTH_UM
    if um_per_px is not None and um_per_px > 0:
        inverse = median / um_per_px**2  # what 1 / um_per_px would have given
        pixels = median / um_per_px
        far = math.log(1.2)
        if abs(math.log(um_per_px)) > far and abs(math.log(inverse / usual)) < far:
            return f"was {um_per_px:g} pixels per um given as um per pixel"
        if um_per_px == 1.0 and not low <= pixels <= high:
            return "is the scale of 1 um/px a guess, so that these are pixels"
    factor, cause = min(FACTORS, key=lambda f: abs(math.log(f[0] / ratio)))
    mended = median / factor if median > high else median * factor
    if low <= mended <= high:
        return f"is the scale off by a factor {factor:g} ({cause})"
    return "is the scale wrong, or are these something else than spores"
