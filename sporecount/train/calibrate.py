"""Measure the detector on rendered photos that neither training nor benchmark uses.

Fits what turns heat into chances (`sporecount.detect.calibration`), the rates behind
`spores_low` and `spores_high`, and what confidences are worth on a tape
(`sporecount.counts.rates`). For the last two more photos are drawn with few spores
or none, as most tapes have.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import ConfidenceLaw
from sporecount.train.confidence_law import fitted_law
from sporecount.train.photo_law import fitted_photo_law

#: Seed of the calibration photos; the benchmark's is another.
SEED = 7_041

#: Size of the calibration photos, px.
SIZE_PX = (1200, 900)


#: Spores per mm2 drawn on photos with few of them, in turns.
FEW_PER_MM2 = (0.0, 3.0, 10.0)

#: Photos with few spores or none for each usual one: most tapes are such.
FEW_FOR_EACH = 3

#: So many times what is no spore on them counts where it is fitted what a photo's finds say of
#: each other: one false spore makes a clean tape an infected one.
LITTER_AMONG_FEW_COUNTS_AS = 4.0


def finds_of(job: tuple[str, int, bool]) -> dict[str, Any]:
    """Search one calibration photo, as usual or with few spores; return what its finds are.

    ``kind`` is 0 for nothing, 1 for a spore, 2 for a fragment, -1 for something that
    nobody could see well enough to say.
    """
    from sporecount.detect.detector import finds
    from sporecount.detect.matching import WITHIN_UM, match_centres
    from sporecount.field.make import make_field
    from sporecount.photo.photo import Photo
    from sporecount.render.conditions import CONDITIONS, condition_plan
    from sporecount.render.picture import render
    from sporecount.render.truth import to_be_found
    from sporecount.scale.calibration import Calibration
    from sporecount.settings import Settings

    condition, number, few = job
    rng = np.random.default_rng([SEED, list(CONDITIONS).index(condition), number, *[1] * few])
    plan = condition_plan(condition, rng, SIZE_PX)
    if few:
        area_mm2 = SIZE_PX[0] * SIZE_PX[1] * (plan.um_per_px / 1000.0) ** 2
        wanted = round(FEW_PER_MM2[number % len(FEW_PER_MM2)] * area_mm2)
        broken = plan.spores.broken if wanted else 0.0
        plan = replace(plan, spores=replace(plan.spores, count=wanted, broken=broken))
    rendered = render(plan, rng)
    photo = Photo("calibration", rendered.pixels, sha256="")
    calibration = Calibration(rendered.plan.um_per_px, "drawn")
    settings = Settings()
    field = make_field(photo, calibration, settings.field)
    found, shares, seen_as = finds(field, settings.detect.heat_floor)
    truth = rendered.truth
    xy = field.to_work_px(truth[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2))
    seen = to_be_found(truth)
    code = np.where(truth["state"] == "fragment", 2, 1)
    kind, damaged = np.zeros(len(found)), np.zeros(len(found))
    is_damaged = (truth["state"] == "damaged").to_numpy(float)
    left = np.arange(len(found))
    # Seen objects first, so that a faint one never takes a seen one's find.
    for chosen, value in ((seen & (code == 1), 1), (seen & (code == 2), 2), (~seen, -1)):
        pairs = match_centres(found.xy_work[left], xy[chosen], WITHIN_UM / field.work_um_per_px)
        kind[left[pairs.found]] = value
        damaged[left[pairs.found]] = is_damaged[chosen][pairs.true]
        left = left[pairs.found_left]
    return {
        "condition": condition,
        "few": few,
        "spore": found.spore,
        "fragment": found.fragment,
        "shares": shares,
        "colours": seen_as,
        "kind": kind,
        "damaged": damaged,
        "spores": float((seen & (code == 1)).sum()),
        "mm2": field.examined_mm2,
    }


def fit_line(
    evidence: NDArray[np.float64],
    true: NDArray[np.bool_],
    weight: NDArray[np.float64] | None = None,
) -> list[float]:
    """Fit slopes and shift of the chance's logit on the evidence, by maximum likelihood."""
    from scipy.optimize import minimize

    each = np.ones(len(true)) if weight is None else weight
    columns = np.column_stack([evidence, np.ones(len(true))])

    def loss(line: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        z = columns @ line
        off = 1.0 / (1.0 + np.exp(-z)) - true
        value = np.average(np.logaddexp(0.0, z) - true * z, weights=each)
        return float(value), columns.T @ (each * off) / each.sum()

    start = np.append(np.ones(evidence.shape[1]), 0.0)
    return [round(float(v), 4) for v in minimize(loss, start, jac=True).x]


def measure(photos: int, jobs: int) -> list[dict]:
    """Search ``photos`` photos of each countable condition, and more with few spores."""
    from sporecount.render.conditions import CONDITIONS, RUINED

    countable = [c for c in CONDITIONS if c not in RUINED]
    todo = [
        (condition, number, few)
        for few, each in ((False, photos), (True, FEW_FOR_EACH * photos))
        for condition in countable
        for number in range(each)
    ]
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        return list(pool.map(finds_of, todo, chunksize=2))


def fitted_lines(measured: list[dict]) -> dict[str, Any]:
    """Fit what turns heat into chances, and what a photo's finds say of each other."""
    usual = [m for m in measured if not m["few"]]
    spore, fragment = (np.concatenate(part) for part in zip(*map(_evidence, usual)))
    kind = np.concatenate([m["kind"] for m in usual])
    known = kind >= 0
    lines: dict[str, Any] = {}
    for name, evidence, code in (("spore", spore, 1), ("fragment", fragment, 2)):
        seen = known & ~np.isnan(evidence).any(axis=1)
        lines[name] = fit_line(evidence[seen], kind[seen] == code)
        lines[f"{name}_unseen"] = fit_line(evidence[known, :1], kind[known] == code)
    return {**lines, "photo": _photo_line(measured, lines)}


def _photo_line(measured: list[dict], lines: dict[str, Any]) -> list[float]:
    """Fit the chance of a find, given what else was found on its photo."""
    from sporecount.detect.calibration import calibrated, photo_evidence

    chances = [calibrated(m["spore"], m["fragment"], m["shares"], lines)[0] for m in measured]
    kind = np.concatenate([m["kind"] for m in measured])
    few = np.concatenate([np.full(len(m["kind"]), m["few"]) for m in measured])
    weight = np.where(few & (kind != 1), LITTER_AMONG_FEW_COUNTS_AS, 1.0)
    evidence, known = (
        np.concatenate(
            [photo_evidence(one, m["colours"]) for one, m in zip(chances, measured, strict=True)]
        ),
        kind >= 0,
    )
    return fit_line(evidence[known], kind[known] == 1, weight[known])


def _evidence(one: dict[str, Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the networks say for a spore and for a fragment, of one photo's finds."""
    from sporecount.detect.calibration import evidence

    shares = one["shares"]
    return (
        evidence(one["spore"], shares[:, 0] + shares[:, 1]),
        evidence(one["fragment"], shares[:, 2]),
    )


def judged(measured: list[dict], lines: dict[str, Any]) -> list[dict]:
    """Return for each photo the finds kept as spores, and which of them are right."""
    from sporecount.detect.calibration import calibrated, fitted_to_photo
    from sporecount.settings import DetectSettings

    least = DetectSettings().least_confidence
    photos = []
    for m in measured:
        spore, fragment = calibrated(m["spore"], m["fragment"], m["shares"], lines)
        fitted = fitted_to_photo(spore, m["colours"], lines["photo"])
        kept = (fitted >= least) & (spore >= fragment)
        photos.append(
            {
                "condition": m["condition"],
                "few": m["few"],
                "mm2": m["mm2"],
                "spores": m["spores"],
                "chances": fitted,
                "kind": m["kind"],
                "kept": kept,
                "hits": float(((m["kind"] == 1) & kept).sum()),
                "false": float((np.isin(m["kind"], (0, 2)) & kept).sum()),
            }
        )
    return photos


def fitted_rates(
    photos: list[dict], before: ConfidenceLaw, line: Sequence[float] | None = None
) -> dict[str, Any]:
    """Return the rates behind `spores_low` and `spores_high`, as rates.json keeps them.

    ``line`` is what `fitted_lines` found a photo's finds to say of each other; if left out,
    what they said before.
    """
    if line is not None:
        # As chances are never raised, so much company is all that counts.
        most = round(max(-line[-1] / line[1], 0.0), 4)
        before = replace(before, company=line[1], company_most=most)
    law = fitted_law(photos, before)
    usual = [p for p in photos if not p["few"]]
    # On most tapes spores are few, and a lonely one is missed more often.
    mean, spread = recall_law([p for p in photos if p["few"] and p["spores"]] or photos)
    false, false_spread = false_per_mm2([p for p in photos if p["spores"] == 0] or photos)
    return {
        "recall_mean": round(float(mean), 4),
        "recall_sd": round(spread, 4),
        "false_per_mm2": round(false, 4),
        "false_per_mm2_sd": round(false_spread, 4),
        "confidence_is_calibrated": True,
        "measured_on": f"{len(usual)} rendered photos of every condition, and "
        f"{len(photos) - len(usual)} with few spores or none",
        "confidence_law": {k: round(v, 4) for k, v in asdict(law).items()},
        "photo_law": {k: round(v, 4) for k, v in asdict(fitted_photo_law(photos)).items()},
    }


def recall_law(photos: list[dict]) -> tuple[float, float]:
    """Return the share of spores that is found, and what it varies by between photos.

    Mean and standard deviation of the beta law under which the finds of the photos are
    likeliest (beta-binomial); photos without spores say nothing.

    Examples
    --------
    >>> half = [{"hits": h, "spores": 20.0} for h in (10.0, 11.0, 9.0, 10.0)]
    >>> round(recall_law(half)[0], 2)
    0.5
    """
    from scipy.optimize import minimize
    from scipy.special import betaln

    known = [(p["hits"], p["spores"] - p["hits"]) for p in photos if p["spores"]]
    hits, missed = np.array(known).T

    def loss(logs: NDArray[np.float64]) -> float:
        a, b = np.exp(np.clip(logs, -5.0, 8.0))
        return -float((betaln(hits + a, missed + b) - betaln(a, b)).sum())

    a, b = np.exp(np.clip(minimize(loss, [2.0, 0.0], method="Nelder-Mead").x, -5.0, 8.0))
    return float(a / (a + b)), float(np.sqrt(a * b / (a + b + 1.0)) / (a + b))


def false_per_mm2(photos: list[dict]) -> tuple[float, float]:
    """Return the false finds per mm2 and what they vary by between photos.

    Each mm2 counts the same: one false find on a field of 0.03 mm2 is no 33 per mm2. One
    more than was found is counted: none on so much ground is not never. The variation is
    what is left after the chance of counting, and no less than the mean, as other tapes
    carry other litter.

    Examples
    --------
    >>> false_per_mm2([{"false": 1.0, "mm2": 2.0}, {"false": 4.0, "mm2": 1.0}])
    (2.0, 2.0)
    """
    false, mm2 = (np.array([p[name] for p in photos], float) for name in ("false", "mm2"))
    mean = float((false.sum() + 1.0) / mm2.sum())
    excess = float((((false - mean * mm2) ** 2 - mean * mm2).sum()) / (mm2**2).sum())
    return mean, float(np.sqrt(max(excess, mean**2)))


def calibrate(package: Path, photos: int, jobs: int) -> str:
    """Write calibration.json and rates.json into the package; return a table for people."""
    from sporecount.counts.rates import load_rates

    measured = measure(photos, jobs)
    lines = fitted_lines(measured)
    (package / "detect" / "weights" / "calibration.json").write_text(
        json.dumps(lines) + "\n", encoding="utf-8"
    )
    known = judged(measured, lines)
    rates = fitted_rates(known, load_rates().confidence_law, lines["photo"])
    (package / "counts" / "rates.json").write_text(json.dumps(rates, indent=2) + "\n", "utf-8")
    return reliability([p for p in known if not p["few"]]) + "\n" + json.dumps(rates)


def reliability(photos: list[dict]) -> str:
    """Return a table: said chance of being a spore against the share that is one."""
    seen = [p["kind"] >= 0 for p in photos]
    chances = np.concatenate([p["chances"][s] for p, s in zip(photos, seen, strict=True)])
    true = np.concatenate([p["kind"][s] == 1 for p, s in zip(photos, seen, strict=True)])
    rows = ["| chance said | finds | are spores |", "|---|---|---|"]
    for low in np.arange(0.0, 1.0, 0.1):
        chosen = (chances >= low) & (chances < low + 0.1 + 1e-9)
        if chosen.any():
            rows.append(
                f"| {low:.1f}-{low + 0.1:.1f} | {chosen.sum()} | {true[chosen].mean():.3f} |"
            )
    return "\n".join(rows)
