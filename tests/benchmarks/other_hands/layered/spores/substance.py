"""What a spore does to light: density and path, for whole, emptied and broken ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field
from other_hands.layered.shading import shade
from other_hands.layered.spores.shape import Spore


@dataclass(frozen=True)
class Fading:
    """Shares of body and wall that are left."""

    body: float
    wall: float


@dataclass(frozen=True)
class Form:
    """A spore as damage left it."""

    inside_um: np.ndarray  # (h, w) distance to the outline, positive inside
    height_um: np.ndarray  # (h, w)
    fading: Fading | None = None
    extra: np.ndarray | None = None  # (h, w) density of folds, slits and remains


def texture(canvas: Canvas, seed: int, shape: tuple[int, int], cell_um: float) -> np.ndarray:
    """Give the texture that goes with a seed, (h, w) float32 of unit spread."""
    cell_px = max(cell_um / canvas.pitch_um, 1.0)
    return fractal_field(np.random.default_rng(seed), shape, cell_px, 2)


def density_and_path(canvas: Canvas, spore: Spore, form: Form) -> tuple[np.ndarray, np.ndarray]:
    """Give density (h, w, 3) and path in micrometres (h, w) of a spore."""
    look, b = canvas.look.spores, spore.half_width_um
    tint = look.tint * spore.tint
    body, wall = look.body * spore.density, look.wall * spore.density**0.5
    rim, core, step = look.rim, look.core, look.index_step
    path_um = form.height_um * 2 * step
    if form.fading is not None:
        body, wall = body * form.fading.body, wall * form.fading.wall
        rim, core = rim * form.fading.wall, core * 0.3
        path_um = path_um * 0.35
    shape = form.inside_um.shape
    grain = texture(canvas, spore.seed + 1, shape, 1.4) + 0.8 * texture(
        canvas, spore.seed + 2, shape, 4.0
    )
    height_um = np.clip(form.height_um / b, 0, 1) ** look.flatness * b * (1 + look.grain * grain)
    density = shade(
        canvas,
        form.inside_um,
        height_um,
        b * 1.25,
        tint,
        body * 1.25,
        wall,
        look.wall_um,
        rim=rim,
        core=core,
    )
    if form.extra is not None:
        density = density + form.extra[..., None] * tint.astype(np.float32)
    return density, path_um
