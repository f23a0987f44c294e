"""How much of each kind of litter lies on a photograph."""

from __future__ import annotations

from collections.abc import Callable

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import log_uniform
from other_hands.layered.litter.cells import lay_mould, lay_pollen, lay_yeast
from other_hands.layered.litter.drops import lay_bubbles, lay_droplets
from other_hands.layered.litter.flakes import lay_flake, lay_lookalike
from other_hands.layered.litter.grains import lay_crystals, lay_dirt, lay_dust, lay_grit
from other_hands.layered.litter.threads import lay_fibre, lay_hair, lay_hypha, lay_scratch

#: How each kind is laid, and how many of it there are on a field of AREA_UM2.
KINDS: dict[str, tuple[Callable[[Canvas, float, float], None], float]] = {
    "dirt": (lay_dirt, 1.2),
    "grit": (lay_grit, 14),
    "dust": (lay_dust, 5),
    "fibre": (lay_fibre, 0.8),
    "hair": (lay_hair, 1.5),
    "hypha": (lay_hypha, 0.8),
    "bubble": (lay_bubbles, 2),
    "droplet": (lay_droplets, 1.5),
    "pollen": (lay_pollen, 1.5),
    "mould": (lay_mould, 1),
    "yeast": (lay_yeast, 0.8),
    "crystal": (lay_crystals, 1),
    "flake": (lay_flake, 4),
    "lookalike": (lay_lookalike, 8),
    "scratch": (lay_scratch, 1.5),
}

AREA_UM2 = 800 * 600.0

#: Kinds that lie on every photograph, more of them where there are no spores.
EVERYWHERE = ("grit", "lookalike")

#: Share of photographs on which another kind is missing.
MISSING_SHARE = 0.3

#: The most there are of a kind.
MOST, MOST_EVERYWHERE = 30, 90


def strew_litter(canvas: Canvas, condition: str) -> None:
    """Strew all kinds of litter, each in an amount of its own."""
    rng = canvas.rng
    # A larger field holds more, but not in proportion: nobody photographs a mess.
    larger = (canvas.width_um * canvas.height_um / AREA_UM2) ** 0.75
    amount = log_uniform(rng, 0.35, 3.2) * larger
    for name, (lay, usual) in KINDS.items():
        everywhere = name in EVERYWHERE
        mean = usual * amount * log_uniform(rng, 0.15, 3.0)
        if rng.random() < MISSING_SHARE and not everywhere:
            mean = 0
        if everywhere and condition == "blank":
            mean *= 2
        if canvas.um_per_px < 0.3:
            mean = mean * 1.3
        number = min(int(rng.poisson(mean)), MOST_EVERYWHERE if everywhere else MOST)
        for _ in range(number):
            lay(canvas, *canvas.anywhere())
