"""What the shipped detector finds on rendered photos, kept for drawing simulated tapes from.

A simulated tape is one of these photos writ large: it takes over the photo's recall, its
rate of false finds and its own confidences, so what is said of a find and what it is stay
together as the detector gives them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

#: Conditions under which tapes are photographed; a field of the simulation is 2.5 mm2.
CONDITIONS = ("4x", "10x", "phone", "card", "thick-scales", "closed-condenser", "chat")
#: Spores per mm2 drawn on the photos.
DENSITIES = (0.0, 3.0, 15.0, 60.0, 200.0)
#: Seed of these photos; benchmark, training and calibration have others.
SEED = 20_261_127


@dataclass(frozen=True)
class Finds:
    """One photo: its area, the spores to be found, and its finds with what they are.

    Finds on spores too faint or covered to be wanted are in neither list.
    """

    condition: str
    per_mm2: float
    mm2: float
    spores: int
    true: np.ndarray
    false: np.ndarray


def finds_of(condition: str, per_mm2: float, number: int, size_px=(1200, 900)) -> Finds | None:
    """Draw a photo, count it, and say which finds are spores; None where it is refused."""
    from judging import Tally, judge_centres

    from sporecount.counting import count_photo
    from sporecount.counts.rates import load_rates
    from sporecount.detect.table import SPORE_STATES
    from sporecount.photo.photo import Photo
    from sporecount.render.conditions import CONDITIONS as KNOWN
    from sporecount.render.conditions import condition_plan
    from sporecount.render.picture import render
    from sporecount.scale.calibration import Calibration

    place = list(KNOWN).index(condition)
    rng = np.random.default_rng([SEED, place, int(per_mm2), number])
    plan = condition_plan(condition, rng, size_px)
    area = size_px[0] * size_px[1] * (plan.um_per_px / 1000.0) ** 2
    wanted = max(1, round(per_mm2 * area)) if per_mm2 else 0
    broken = plan.spores.broken if per_mm2 else 0.0
    plan = replace(plan, spores=replace(plan.spores, count=wanted, broken=broken))
    made = render(plan, rng)
    packed = cv2.imencode(".jpg", made.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    pixels = np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])
    counted = count_photo(Photo("drawn", pixels, sha256=""), Calibration(plan.um_per_px, "drawn"))
    if counted.summary["status"] == "refused":
        return None
    table = counted.detections
    table = table[table["state"].isin(SPORE_STATES)]
    xy = table[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2)
    tally = Tally()
    is_true, _, seen = judge_centres(tally, xy, made.truth, plan.um_per_px)
    # By themselves: on a simulated field they are in other company.
    odds = load_rates().confidence_law.by_itself(table["confidence"].to_numpy(float))
    chance = 1.0 / (1.0 + np.exp(-odds))
    false = np.flatnonzero(is_true < 0)
    # Of the rest, those on a spore that nobody could see are no false ones.
    spared = made.truth[made.truth["state"].isin(SPORE_STATES)][["x_px", "y_px"]].to_numpy(float)
    near = np.zeros(len(false), bool)
    if len(spared):
        away = np.hypot(*(xy[false][:, None] - spared[None]).transpose(2, 0, 1))
        near = away.min(axis=1) * plan.um_per_px < 5.0 if len(false) else near
    return Finds(
        condition, per_mm2, counted.field.examined_mm2, len(seen), chance[is_true >= 0],
        chance[false[~near]],
    )  # fmt: skip


#: Photos of each condition by density: false finds are rare where there are few spores.
PHOTOS = {0.0: 3, 3.0: 3, 15.0: 2, 60.0: 1, 200.0: 1}
#: Weight, in spores and mm2, by which one photo's rates are drawn towards those of all.
_SPORES_WEIGHT, _MM2_WEIGHT = 8.0, 1.0


def measured(times: int = 1) -> list[Finds]:
    """Return the finds of the photos of every condition and density; refused ones left out."""
    cv2.setNumThreads(1)
    todo = [
        (c, d, n) for c in CONDITIONS for d, many in PHOTOS.items() for n in range(many * times)
    ]
    return [found for job in todo if (found := finds_of(*job)) is not None]


class ShippedDetector:
    """Counts the fields of simulated tapes as the detector did the measured photos."""

    def __init__(self, finds: list[Finds]) -> None:
        self.cells: dict[tuple[str, float], list[Finds]] = {}
        for one in finds:
            self.cells.setdefault((one.condition, one.per_mm2), []).append(one)
        self.all = {d: [f for f in finds if f.per_mm2 == d] for d in DENSITIES}
        every = [f for f in finds if f.spores]
        self.true = np.concatenate([f.true for f in every])
        self.false = np.concatenate([f.false for f in finds])

    def tape(self, rng: np.random.Generator, true: np.ndarray, field_mm2: float):
        """Return detections of each field, and their chances, for true numbers of spores."""
        condition = str(rng.choice(CONDITIONS))
        looks = {d: self._look(rng, condition, d) for d in DENSITIES}
        counts, chances = [], []
        for spores in true:
            density = nearest(spores / field_mm2)
            recall, false_per_mm2, real, made_up = looks[density]
            hits = rng.binomial(spores, recall)
            false = rng.poisson(false_per_mm2 * field_mm2)
            said = np.concatenate([rng.choice(real, hits), rng.choice(made_up, false)])
            counts.append(len(said))
            chances.append(said)
        return np.array(counts), chances

    def _look(self, rng: np.random.Generator, condition: str, density: float):
        """Draw one tape's recall and rate of false finds; return the chances to draw from."""
        own, alike = self.cells.get((condition, density), []), self.all[density]
        # Tapes without spores have the recall of those with few.
        own_seen, alike_seen = own, alike
        if density == 0.0:
            own_seen, alike_seen = self.cells.get((condition, 3.0), []), self.all[3.0]
        mean = sum(len(f.true) for f in alike_seen) / sum(f.spores for f in alike_seen)
        hits = sum(len(f.true) for f in own_seen)
        missed = sum(f.spores for f in own_seen) - hits
        recall = rng.beta(
            hits + _SPORES_WEIGHT * mean, max(missed, 0) + _SPORES_WEIGHT * (1.0 - mean) + 1e-3
        )
        usual = (sum(len(f.false) for f in alike) + 0.5) / sum(f.mm2 for f in alike)
        events = sum(len(f.false) for f in own) + usual * _MM2_WEIGHT
        false = rng.gamma(events) / (sum(f.mm2 for f in own) + _MM2_WEIGHT)
        real = np.concatenate([f.true for f in own_seen] or [np.empty(0)])
        if len(real) < 10:
            real = np.concatenate([f.true for f in alike_seen])
        made_up = np.concatenate([f.false for f in alike])
        return recall, false, real, made_up if len(made_up) >= 5 else self.false


def nearest(per_mm2: float) -> float:
    """Return the drawn density next to a field's own, by ratio; 0 below half a spore per mm2.

    Where a field has next to no spores, what the detector makes up is that of blank tape.
    """
    if per_mm2 < 0.5:
        return 0.0
    drawn = np.array(DENSITIES[1:])
    return float(drawn[np.argmin(np.abs(np.log(drawn / per_mm2)))])
