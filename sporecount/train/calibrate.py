"""Measure the detector on rendered photos that neither training nor benchmark uses.

Fits what turns heat into chances (`sporecount.detect.calibration`) and the rates behind
`spores_low` and `spores_high` (`sporecount.counts.rates`).
"""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

#: Seed of the calibration photos; the benchmark's is another.
SEED = 7_041

#: Size of the calibration photos, px.
SIZE_PX = (1200, 900)


def finds_of(job: tuple[str, int]) -> dict[str, NDArray[np.float64] | float | str]:
    """Search one calibration photo; return its finds' heat and what they are.

    ``kind`` is 0 for nothing, 1 for a spore, 2 for a fragment, -1 for something that
    nobody could see well enough to say.
    """
    from sporecount.detect.search import search
    from sporecount.field.make import make_field
    from sporecount.photo.photo import Photo
    from sporecount.render.conditions import CONDITIONS, condition_plan
    from sporecount.render.matching import WITHIN_UM, match_centres, to_be_found
    from sporecount.render.picture import render
    from sporecount.scale.calibration import Calibration
    from sporecount.settings import Settings

    condition, number = job
    rng = np.random.default_rng([SEED, list(CONDITIONS).index(condition), number])
    rendered = render(condition_plan(condition, rng, SIZE_PX), rng)
    photo = Photo("calibration", rendered.pixels, sha256="")
    calibration = Calibration(rendered.plan.um_per_px, "drawn")
    settings = Settings()
    field = make_field(photo, calibration, settings.field)
    found = search(field.density, field.examined, 0.05)
    truth = rendered.truth
    xy = field.to_work_px(truth[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2))
    seen = to_be_found(truth)
    code = np.where(truth["state"] == "fragment", 2, 1)
    kind = np.zeros(len(found))
    left = np.arange(len(found))
    # Seen objects first, so that a faint one never takes a seen one's find.
    for chosen, value in ((seen & (code == 1), 1), (seen & (code == 2), 2), (~seen, -1)):
        pairs = match_centres(found.xy_work[left], xy[chosen], WITHIN_UM / field.work_um_per_px)
        kind[left[pairs.found]] = value
        left = left[pairs.found_left]
    return {
        "condition": condition,
        "spore": found.spore,
        "fragment": found.fragment,
        "damaged": found.damaged,
        "kind": kind,
        "spores": float((seen & (code == 1)).sum()),
        "mm2": field.examined_mm2,
    }


def fit_line(heat: NDArray[np.float64], true: NDArray[np.bool_]) -> list[float]:
    """Fit slope and shift of the chance's logit on the heat's, by maximum likelihood."""
    from scipy.optimize import minimize

    clipped = np.clip(heat, 1e-6, 1 - 1e-6)
    x = np.log(clipped / (1 - clipped))

    def loss(line: NDArray[np.float64]) -> float:
        z = line[0] * x + line[1]
        return float(np.mean(np.logaddexp(0.0, z) - true * z))

    return [round(float(v), 4) for v in minimize(loss, np.array([1.0, 0.0])).x]


def measure(photos: int, jobs: int) -> list[dict]:
    """Search ``photos`` photos of each countable condition."""
    from sporecount.render.conditions import CONDITIONS, RUINED

    todo = [(c, n) for c in CONDITIONS if c not in RUINED for n in range(photos)]
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        return list(pool.map(finds_of, todo, chunksize=2))


def calibrate(package: Path, photos: int, jobs: int) -> str:
    """Write calibration.json and rates.json into the package; return a table for people."""
    measured = measure(photos, jobs)
    every = {k: np.concatenate([m[k] for m in measured]) for k in ("spore", "fragment", "kind")}
    known = every["kind"] >= 0
    lines = {
        "spore": fit_line(every["spore"][known], every["kind"][known] == 1),
        "fragment": fit_line(every["fragment"][known], every["kind"][known] == 2),
    }
    (package / "detect" / "weights" / "calibration.json").write_text(
        json.dumps(lines) + "\n", encoding="utf-8"
    )
    from sporecount.detect import calibration
    from sporecount.settings import DetectSettings

    calibration._lines.cache_clear()
    least = DetectSettings().least_confidence
    recall, false = [], []
    for m in measured:
        spore, fragment = calibration.calibrated(m["spore"], m["fragment"])
        kept = (spore >= least) & (spore >= fragment)
        hits = float(((m["kind"] == 1) & kept).sum())
        false.append(float((((m["kind"] == 0) | (m["kind"] == 2)) & kept).sum()) / m["mm2"])
        if m["spores"] >= 8:
            recall.append((hits, m["spores"]))
    table = np.array(recall)
    mean = table[:, 0].sum() / table[:, 1].sum()
    each = table[:, 0] / table[:, 1]
    chance = np.mean(mean * (1 - mean) / table[:, 1])
    spread = float(np.sqrt(max(each.var() - chance, 0.01**2)))
    rates = {
        "recall_mean": round(float(mean), 4),
        "recall_sd": round(spread, 4),
        "false_per_mm2": round(float(np.mean(false)), 4),
        "false_per_mm2_sd": round(float(np.std(false)), 4),
        "confidence_is_calibrated": False,
        "measured_on": f"{len(measured)} rendered photos, {photos} of each condition",
    }
    (package / "counts" / "rates.json").write_text(json.dumps(rates, indent=2) + "\n", "utf-8")
    return reliability(every, known) + "\n" + json.dumps(rates)


def reliability(every: dict[str, NDArray[np.float64]], known: NDArray[np.bool_]) -> str:
    """Return a table: said chance of being a spore against the share that is one."""
    from sporecount.detect.calibration import calibrated

    spore, _ = calibrated(every["spore"][known], every["fragment"][known])
    true = every["kind"][known] == 1
    rows = ["| chance said | finds | are spores |", "|---|---|---|"]
    for low in np.arange(0.0, 1.0, 0.1):
        chosen = (spore >= low) & (spore < low + 0.1 + 1e-9)
        if chosen.any():
            rows.append(
                f"| {low:.1f}-{low + 0.1:.1f} | {chosen.sum()} | {true[chosen].mean():.3f} |"
            )
    return "\n".join(rows)
