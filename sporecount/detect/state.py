"""State of each outlined object, and how sure it is to be a spore or a piece of one.

A small network of one hidden layer, fitted to drawn pictures by
`sporecount.detect.fitting`; at run time it is a few products of arrays, its
numbers read from one table in the package.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib.resources import files

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT

#: What an object can be, in the order of the network's outputs.
NOTHING = "nothing"
KINDS = (NOTHING, INTACT, DAMAGED, FRAGMENT)
TABLE = "state_model.json"
#: With fewer spore-like objects than this, a photo gives no usual spore to compare with.
LEAST_COMPANY = 4


def judge(features: pd.DataFrame) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Tell the state of each object of one photo.

    Parameters
    ----------
    features : DataFrame
        Shapes, densities and edges of all objects of a photo, one row each.

    Returns
    -------
    state : ndarray, shape (k,), object
        One of `sporecount.detect.table.STATES`.
    confidence : ndarray, shape (k,), float64
        Probability to be a spore, for the two states of spores; to be a piece of
        one, for fragments.
    """
    probability = _forward(looks(features).to_numpy(), _model())
    spore = probability[:, 1] + probability[:, 2]
    piece = probability[:, 3]
    whole = np.where(probability[:, 1] >= probability[:, 2], INTACT, DAMAGED)
    state = np.where(spore >= piece, whole, FRAGMENT).astype(object)
    return state, np.maximum(spore, piece)


def looks(features: pd.DataFrame) -> pd.DataFrame:
    """Return what the network is told of each object: sizes as logarithms, densities as ratios."""
    drop = np.maximum(features["edge_drop"], 0.003)
    length, width = features["length_um"], np.maximum(features["width_um"], 0.5)
    blue = np.maximum(features["density_blue"].abs(), 0.01)
    table = pd.DataFrame(
        {
            "length": np.log(np.maximum(length, 1.0)),
            "slenderness": np.log(width / np.maximum(length, 1.0)),
            "fullness": features["area_um2"] / np.maximum(np.pi / 4 * length * width, 1.0),
            "solidity": features["solidity"],
            "drop": np.log(drop),
            "edge_least": features["edge_least"],
            "roughness": features["roughness"],
            "bound": features["bound"],
            "in_view": features["in_view"],
            "red": features["density_red"] / blue,
            "green": features["density_green"] / blue,
            "density": features["density"] / drop,
            "core": features["core"] / drop,
            "rim": features["rim"] / drop,
            "unevenness": features["inside_unevenness"] / drop,
            "core_unevenness": features["core_unevenness"] / drop,
            "ring": features["ring"] / drop,
            "ring_unevenness": features["ring_unevenness"] / drop,
        }
    ).clip(-6.0, 6.0)
    usual = _usual_drop(features)
    table["paleness"] = np.log(drop / usual).clip(-2.0, 2.0) if usual else 0.0
    return table


def _usual_drop(features: pd.DataFrame) -> float | None:
    """Return the density step at the edge of the photo's usual spore, None where unknown."""
    like = (
        features["length_um"].between(9.0, 17.0)
        & (features["width_um"] / features["length_um"]).between(0.5, 0.85)
        & (features["solidity"] > 0.95)
        & (features["edge_least"] > 0.4)
    )
    if like.sum() < LEAST_COMPANY:
        return None
    return max(float(features.loc[like, "edge_drop"].median()), 0.003)


@lru_cache(maxsize=1)
def _model() -> dict[str, NDArray[np.float64]]:
    text = (files("sporecount.detect") / TABLE).read_text("utf-8")
    return {name: np.array(value) for name, value in json.loads(text).items() if name != "features"}


def _forward(x: NDArray[np.float64], model: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return probabilities of `KINDS`, (k, 4)."""
    hidden = np.tanh((x - model["mean"]) / model["scale"] @ model["w1"] + model["b1"])
    logit = hidden @ model["w2"] + model["b2"]
    power = np.exp(logit - logit.max(axis=1, keepdims=True))
    return power / power.sum(axis=1, keepdims=True)
