"""One picture from a plan and a seed: the stages in order, and the truth beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.render.camera import compressed, develop, expose, hand_out
from sporecount.render.compose.absorb import compose_absorb
from sporecount.render.compose.paint import compose_paint
from sporecount.render.compose.wave import compose_wave
from sporecount.render.light import illuminate
from sporecount.render.optics import moved_by_lens, through_lens
from sporecount.render.overlay import burn_in
from sporecount.render.plan import PicturePlan
from sporecount.render.scatter import scatter
from sporecount.render.truth import make_truth

_COMPOSERS = {"absorb": compose_absorb, "paint": compose_paint, "wave": compose_wave}


@dataclass(frozen=True, eq=False)
class Rendered:
    """A finished picture.

    Attributes
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        RGB.
    truth : DataFrame
        One row for each spore or piece whose centre lies in the picture; the
        columns are those of ``truth.TRUTH_COLUMNS``.
    plan : PicturePlan
        What it was made from.
    """

    pixels: NDArray[np.uint8]
    truth: pd.DataFrame
    plan: PicturePlan


def render(plan: PicturePlan, rng: np.random.Generator) -> Rendered:
    """Draw one picture.

    Parameters
    ----------
    plan : PicturePlan
        Everything but chance.
    rng : Generator
        Source of chance: the same plan and state give the same bytes.

    Returns
    -------
    Rendered

    Examples
    --------
    >>> made = render(PicturePlan((64, 48), 0.9), np.random.default_rng(1))
    >>> made.pixels.shape
    (48, 64, 3)
    """
    width, height = plan.size_px
    scale = plan.camera.sensor_scale
    shape = (max(1, round(height * scale)), max(1, round(width * scale)))
    um_per_px = plan.um_per_px / scale

    placed = scatter(rng, plan, shape, um_per_px)
    composed = _COMPOSERS[plan.compose.name](placed, shape, um_per_px, plan.compose)
    lit = illuminate(rng, shape, um_per_px, plan.light)
    seen = expose(through_lens(composed.light * lit.light + lit.glare, plan.optics), plan.camera)
    bare = seen
    if any(one.is_spore for one in placed):
        bare = expose(through_lens(composed.bare * lit.light + lit.glare, plan.optics), plan.camera)

    pixels = hand_out(develop(rng, seen, plan.camera), plan.size_px, plan.camera)
    pixels, hidden = burn_in(pixels, plan.um_per_px, plan.overlay)
    if plan.camera.jpeg:
        pixels = compressed(pixels, plan.camera.jpeg[-1])

    spores = [(number, one) for number, one in enumerate(placed) if one.is_spore]
    on_canvas = np.array([[one.x_px, one.y_px] for _, one in spores]).reshape(-1, 2)
    through = moved_by_lens(on_canvas, shape, plan.optics)
    # Both pictures cover the same ground: pixel edges, not pixel centres, coincide.
    grow = np.array([width / shape[1], height / shape[0]])
    final = (through + 0.5) * grow - 0.5
    truth = make_truth(
        spores, through, final, seen, bare, composed.cover, lit.inside, hidden, plan.camera
    )
    return Rendered(pixels, truth, plan)
