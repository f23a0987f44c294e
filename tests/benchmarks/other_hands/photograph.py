"""What a maker hands over: the file of a photo, its scale, and the truth of what it shows."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

#: Columns of the truth and their types, for pictures without spores too.
TRUTH_COLUMNS = {
    "x_px": float,
    "y_px": float,
    "length_um": float,
    "width_um": float,
    "angle_deg": float,
    "state": str,
    "seen": bool,
    "damage": str,
}


@dataclass(frozen=True)
class Photograph:
    """A drawn photo as its file, with the truth.

    Attributes
    ----------
    packed
        The JPEG or PNG file as a camera or chat program hands it out.
    um_per_px
        Scale of that file.
    truth
        One row per spore or fragment: x_px, y_px, length_um, width_um, angle_deg, state (intact,
        damaged, fragment), seen (bool), damage (str, "" where none).
    """

    packed: bytes
    um_per_px: float
    truth: pd.DataFrame
