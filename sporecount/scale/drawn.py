"""A scale from a line that a person draws over a ruling, and its length."""

from __future__ import annotations

import math

from sporecount.errors import ScaleError
from sporecount.scale.calibration import Calibration
from sporecount.scale.plausible import check_scale

#: How far off each end of the line is set, px: about the width of a drawn line.
END_ERROR_PX = 1.5

#: A shorter line makes the ends' error count for more than a spore's usual spread of sizes, px.
LEAST_LINE_PX = 60.0


def calibration_from_line(
    start_px: tuple[float, float], end_px: tuple[float, float], length_um: float
) -> Calibration:
    """Return the scale from a line over a known length.

    Parameters
    ----------
    start_px, end_px : tuple of float
        x and y of its ends, in photo pixels.
    length_um : float
        Its real length, um.

    Raises
    ------
    ScaleError
        If the line is too short, the length is no positive number, or the scale is impossible.

    Examples
    --------
    >>> calibration_from_line((100, 50), (500, 350), 250).um_per_px
    0.5
    """
    line_px = math.hypot(end_px[0] - start_px[0], end_px[1] - start_px[1])
    if not (math.isfinite(length_um) and length_um > 0):
        raise ScaleError(
            f"length {length_um!r} um",
            "a length is a positive number of micrometres",
            "count the divisions under the line, and multiply by what one is",
        )
    if line_px < LEAST_LINE_PX:
        raise ScaleError(
            f"a line of {line_px:.0f} px",
            f"a line shorter than {LEAST_LINE_PX:.0f} px gives no good scale",
            "draw it over as many divisions as the picture shows",
        )
    um_per_px = length_um / line_px
    check_scale(
        um_per_px,
        f"{length_um:g} um on {line_px:.0f} px: {um_per_px:.3g} um per pixel",
        "check whether the length is in micrometres (0.1 mm are 100 um)",
    )
    error = um_per_px * math.sqrt(2.0) * END_ERROR_PX / line_px
    source = f"line drawn over {length_um:g} um ({line_px:.0f} px)"
    return Calibration(um_per_px, source, error)
