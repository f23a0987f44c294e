"""Fits the numbers of `sporecount.detect.state` to drawn pictures; run once, by hand.

``python -m sporecount.detect.fitting 200`` draws 200 pictures, outlines what the
candidate step finds in them, and writes the table of the state network.
"""

from __future__ import annotations

import json
import sys
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize

from sporecount.detect.candidates import find_candidates
from sporecount.detect.detector import outlined_features, seeds_of
from sporecount.detect.state import KINDS, NOTHING, TABLE, looks
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.conditions import CONDITIONS, RUINED, condition_plan
from sporecount.render.matching import WITHIN_UM, match_centres
from sporecount.render.picture import render
from sporecount.render.plan import random_plan
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

HIDDEN = 20
#: Weight of each of `KINDS`: damaged spores are rare, and to miss one is as bad.
WEIGHTS = (1.0, 1.0, 2.5, 1.0)
#: Price of large weights.
RIDGE = 2e-4
#: Spores paler than this in the finished picture are neither right nor wrong.
LEAST_CONTRAST = 0.05
#: Photos drawn: their side, um, and the range of their scales, um per pixel.
SIDE_UM = 600.0
SCALES = (0.22, 1.3)

Examples = tuple[pd.DataFrame, NDArray[np.int_]]


def drawn_field(seed: int, settings: Settings) -> tuple[Field, pd.DataFrame]:
    """Draw one picture, wide around or well within the plausible; return its field and truth."""
    rng = np.random.default_rng(seed)
    um_per_px = float(np.exp(rng.uniform(*np.log(SCALES))))
    side = int(min(SIDE_UM / um_per_px, 1300))
    size_px = (side, int(0.8 * side))
    if seed % 2:
        plan = random_plan(rng, size_px, um_per_px)
    else:
        usable = [name for name in CONDITIONS if name not in RUINED]
        plan = condition_plan(usable[seed // 2 % len(usable)], rng, size_px)
    um_per_px = plan.um_per_px
    made = render(plan, rng)
    photo = Photo(f"drawn {seed}", made.pixels, sha256="")
    return make_field(photo, Calibration(um_per_px, "drawn"), settings.field), made.truth


def examples_of(field: Field, truth: pd.DataFrame, settings: Settings) -> Examples:
    """Return looks and true kinds (numbers in `KINDS`) of the objects of one field."""
    seeds = find_candidates(field, settings.detect)
    if not len(seeds):
        return pd.DataFrame(), np.zeros(0, int)
    rough, _ = outlined_features(field, seeds, field.work_um_per_px, settings.detect)
    features, _ = outlined_features(
        field, seeds_of(rough), settings.detect.outline_um_per_px, settings.detect
    )
    found = match_centres(
        features[["x_px", "y_px"]].to_numpy(),
        truth[["x_px", "y_px"]].to_numpy(),
        WITHIN_UM / field.calibration.um_per_px,
    )
    kind = np.full(len(features), KINDS.index(NOTHING))
    kind[found.found] = [KINDS.index(s) for s in truth["state"].to_numpy()[found.true]]
    judged = np.ones(len(features), bool)
    judged[found.found] = truth["contrast"].to_numpy()[found.true] >= LEAST_CONTRAST
    return looks(features)[judged], kind[judged]


def fit(table: pd.DataFrame, kind: NDArray[np.int_], seed: int = 0) -> dict[str, object]:
    """Fit the network to examples; the result is ready for JSON."""
    x = table.to_numpy()
    mean, scale = x.mean(axis=0), x.std(axis=0) + 1e-6
    x = (x - mean) / scale
    shapes = [(x.shape[1], HIDDEN), (HIDDEN,), (HIDDEN, len(KINDS)), (len(KINDS),)]
    ends = np.cumsum([int(np.prod(s)) for s in shapes])
    start = np.random.default_rng(seed).normal(0, 0.3, ends[-1])
    target = np.eye(len(KINDS))[kind]
    weight = np.array(WEIGHTS)[kind][:, None] / len(x)

    def loss(flat: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        w1, b1, w2, b2 = (p.reshape(s) for p, s in zip(np.split(flat, ends[:-1]), shapes))
        hidden = np.tanh(x @ w1 + b1)
        logit = hidden @ w2 + b2
        logit -= logit.max(axis=1, keepdims=True)
        log_p = logit - np.log(np.exp(logit).sum(axis=1, keepdims=True))
        error = weight * (np.exp(log_p) - target)
        back = (error @ w2.T) * (1 - hidden**2)
        slope = [x.T @ back, back.sum(axis=0), hidden.T @ error, error.sum(axis=0)]
        slope_flat = np.concatenate([part.ravel() for part in slope]) + 2 * RIDGE * flat
        return float(-(weight * target * log_p).sum() + RIDGE * flat @ flat), slope_flat

    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 600}).x
    parts = [p.reshape(s) for p, s in zip(np.split(best, ends[:-1]), shapes)]
    numbers = dict(zip(("mean", "scale", "w1", "b1", "w2", "b2"), [mean, scale, *parts]))
    return {"features": list(table.columns)} | {
        name: np.round(value, 4).tolist() for name, value in numbers.items()
    }


def main(pictures: int) -> None:
    """Draw, fit, and write the table into the package."""
    settings = Settings()
    found = [examples_of(*drawn_field(seed, settings), settings) for seed in range(pictures)]
    model = fit(pd.concat([t for t, _ in found]), np.concatenate([k for _, k in found]))
    Path(str(files("sporecount.detect") / TABLE)).write_text(json.dumps(model), "utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]))
