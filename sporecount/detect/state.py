"""State of each outlined object, and how sure it is to be a spore or a piece of one."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT


def judge(features: pd.DataFrame) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Return the state and the confidence of each object."""
    length, width = features["length_um"], features["width_um"]
    fits = _bell(length, 12.5, 4.0) * _bell(width / length, 0.66, 0.25) * _bell(width, 8.0, 3.5)
    sharp = np.clip(features["edge_least"] / 0.35, 0, 1)
    confidence = np.clip(fits * sharp * np.clip((features["solidity"] - 0.8) / 0.1, 0, 1), 0, 1)
    small = features["area_um2"] < 35.0
    ragged = features["solidity"] < 0.95
    state = np.where(small, FRAGMENT, np.where(ragged, DAMAGED, INTACT)).astype(object)
    return state, np.asarray(confidence, float)


def _bell(value: pd.Series, middle: float, half: float) -> pd.Series:
    return 1 / (1 + ((value - middle) / half) ** 4)
