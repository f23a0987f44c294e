"""The detections table: its columns and types, declared once."""

from __future__ import annotations

import pandas as pd

#: States a detection can have. Only the first two are spores.
INTACT, DAMAGED, FRAGMENT = "intact", "damaged", "fragment"
STATES = (INTACT, DAMAGED, FRAGMENT)
SPORE_STATES = (INTACT, DAMAGED)

#: Column name -> dtype of a detections table, in order. Positions are pixels of
#: the upright photo; ``angle_deg`` is the long axis, from +x towards +y (clockwise
#: on the screen), in [0, 180); densities are optical densities. ``outline_px`` holds
#: an (n, 2) float array of x, y for each detection, in photo pixels.
COLUMNS: dict[str, str] = {
    "x_px": "float64",
    "y_px": "float64",
    "length_um": "float64",
    "width_um": "float64",
    "angle_deg": "float64",
    "area_um2": "float64",
    "state": "str",
    "confidence": "float64",
    "solidity": "float64",
    "density": "float64",
    "density_red": "float64",
    "density_green": "float64",
    "density_blue": "float64",
    "outline_px": "object",
}

#: A find speaks for the others of its photo by its chance of being a spore to this power: so
#: steep that only what is surely one does.
SURE_POWER = 4.0


def empty_detections() -> pd.DataFrame:
    """Return a detections table without rows, with every column and its dtype.

    Examples
    --------
    >>> list(empty_detections().columns)[:3]
    ['x_px', 'y_px', 'length_um']
    """
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in COLUMNS.items()})
