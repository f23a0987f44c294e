"""How much of each kind of litter a photo has, and strewing it below or above the spores."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from other_hands.illustrated.conditions import draw_scale_count
from other_hands.illustrated.litter.bubbles import paint_bubble, paint_droplet
from other_hands.illustrated.litter.fungi import paint_moulds, paint_yeast
from other_hands.illustrated.litter.grains import (
    paint_crystal,
    paint_dust,
    paint_flake,
    paint_grit,
)
from other_hands.illustrated.litter.junk import paint_junk
from other_hands.illustrated.litter.pollen import paint_pollen
from other_hands.illustrated.litter.scratches import paint_scratch
from other_hands.illustrated.litter.strands import paint_fibre, paint_hair, paint_hypha
from other_hands.illustrated.litter.wing_scales import paint_wing_scale
from other_hands.illustrated.scene import Scene


@dataclass(frozen=True)
class Kind:
    """A kind of litter: its painter, its usual number, and whether it may begin off the picture."""

    paint: Callable[[Scene, float, float], None]
    per_mm2: float
    reaches_in: bool = False


KINDS = {
    "fibre": Kind(paint_fibre, 1.6, reaches_in=True),
    "hair": Kind(paint_hair, 3.0),
    "hypha": Kind(paint_hypha, 4.0),
    "bubble": Kind(paint_bubble, 7.0),
    "droplet": Kind(paint_droplet, 4.0),
    "pollen": Kind(paint_pollen, 3.0),
    "moulds": Kind(paint_moulds, 7.0),
    "yeast": Kind(paint_yeast, 4.0),
    "crystal": Kind(paint_crystal, 5.0),
    "flake": Kind(paint_flake, 5.0, reaches_in=True),
    "grit": Kind(paint_grit, 14.0),
    "dust": Kind(paint_dust, 16.0),
    "junk": Kind(paint_junk, 14.0),
    "scratch": Kind(paint_scratch, 1.2, reaches_in=True),
}


@dataclass(frozen=True)
class Mix:
    """The litter of a photo."""

    weights: dict[str, float]  # of each kind
    amount: float
    wing_scales: int
    scale_shares: np.ndarray  # (5,) how often each colour of scale is drawn


def draw_mix(rng: np.random.Generator, condition: str, area_um2: float) -> Mix:
    """Draw the litter of a photo; some kinds are missing, spore-like junk never is."""
    shares = rng.dirichlet([1.2, 1.2, 0.8, 1, 1.4])
    weights = {kind: float(np.exp(rng.normal(-0.4, 1.1))) * (rng.random() < 0.75) for kind in KINDS}
    weights["junk"] = max(weights["junk"], 0.25)
    amount = float(np.exp(rng.uniform(np.log(0.35), np.log(2.2))))
    amount = amount * (1.4 if condition == "blank" else 1)
    wing_scales = draw_scale_count(rng, condition, area_um2)
    if condition == "thick":
        shares = rng.dirichlet([1.5, 1.2, 0.5, 1.2, 2.5])
    return Mix(weights, amount, wing_scales, shares)


def draw_share_above(rng: np.random.Generator, condition: str) -> float:
    """Draw the share of the wing scales that lie above the spores."""
    return rng.uniform(0.15, 0.45) if condition == "thick" else rng.uniform(0.05, 0.5)


def strew_below(scene: Scene, mix: Mix, above: float) -> None:
    """Strew what lies below the spores."""
    _strew(scene, mix, mix.amount * 0.6, round(mix.wing_scales * (1 - above)))


def strew_above(scene: Scene, mix: Mix, above: float) -> None:
    """Strew what lies above the spores."""
    _strew(scene, mix, mix.amount * 0.4, round(mix.wing_scales * above))


def _strew(scene: Scene, mix: Mix, amount: float, wing_scales: int) -> None:
    may_begin_outside = scene.eyepiece is None
    for name, kind in KINDS.items():
        # The tenth of a square millimetre gives close-ups their share of litter too.
        mean = kind.per_mm2 * amount * mix.weights[name] * (scene.area_um2 / 1e6 + 0.10) * 0.5
        margin_px = -20 if kind.reaches_in and may_begin_outside else 0
        for _ in range(min(int(scene.rng.poisson(min(mean, 60))), 45)):
            kind.paint(scene, *scene.anywhere(margin_px))
    for _ in range(wing_scales):
        place = scene.anywhere(-40 if may_begin_outside else 0)
        paint_wing_scale(scene, *place, mix.scale_shares)
