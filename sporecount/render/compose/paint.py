"""Layers of paint: each object is laid over what is there, hiding or tinting it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.compose.place import Composed, Placed, blur, grey, transmit, window
from sporecount.render.compose.plan import ComposePlan

#: How fast an object turns opaque with its density.
OPACITY_PER_DENSITY = 6.0

#: Opacity from which, and transmission up to which, litter hides what lies below.
HIDING_OPACITY, HIDING_TRANSMISSION = 0.6, 0.2


def compose_paint(
    placed: list[Placed], shape: tuple[int, int], um_per_px: float, plan: ComposePlan
) -> Composed:
    """Paint objects over each other in the order of the list.

    Parameters
    ----------
    placed : list of Placed
        Objects, lowest first.
    shape : tuple of int
        (height, width) of the canvas.
    um_per_px : float
        Scale of the canvas.
    plan : ComposePlan
        Its ``cone``, ``opacity``, ``fringe``, ``shadow`` and ``density_gain``.
    """
    light = np.ones((*shape, 3), np.float32)
    bare = np.ones((*shape, 3), np.float32)
    cover = np.full(shape, -1, np.int32)
    shift = [round(part / um_per_px) for part in plan.shadow_um]
    for number, one in enumerate(placed):
        patch, left, top = _ready(one, shape, um_per_px, plan)
        if patch is None:
            continue
        if plan.shadow > 0:
            _throw_shadow(light, patch, left + shift[0], top + shift[1], plan.shadow, um_per_px)
            if not one.is_spore:
                _throw_shadow(bare, patch, left + shift[0], top + shift[1], plan.shadow, um_per_px)
        part = window(left, top, patch.shape, shape)
        if part is None:
            continue
        patch = np.ascontiguousarray(patch[part.patch])
        passed = transmit(patch)
        thick = np.maximum(grey(patch), np.float32(0))
        hiding = np.float32(plan.opacity) * (
            1 - np.asarray(cv2.exp(thick * np.float32(-OPACITY_PER_DENSITY)), np.float32)
        )
        # passed * (below + hiding * (1 - below)), with each factor computed once.
        added = passed * hiding[..., None]
        passed_below = passed - added
        for canvas in (light,) if one.is_spore else (light, bare):
            below = canvas[part.canvas]
            below *= passed_below
            below += added
        if not one.is_spore:
            hidden = (hiding > HIDING_OPACITY) | (grey(passed) < HIDING_TRANSMISSION)
            cover[part.canvas][hidden] = number
    return Composed(light=light, bare=bare, cover=cover)


def _ready(
    one: Placed, shape: tuple[int, int], um_per_px: float, plan: ComposePlan
) -> tuple[NDArray[np.float32] | None, int, int]:
    """Return the visible part of an object's patch, blurred by its defocus, and its corner."""
    sigma_px = abs(one.defocus_um) * plan.cone * 0.6 / um_per_px
    pad = int(np.ceil(3 * sigma_px)) + 1
    roomy = (shape[0] + 2 * pad, shape[1] + 2 * pad)
    part = window(one.left_px + pad, one.top_px + pad, one.drawn.density.shape, roomy)
    if part is None:
        return None, 0, 0
    patch = one.drawn.density[part.patch] * np.float32(plan.density_gain)
    left, top = part.canvas[1].start - pad, part.canvas[0].start - pad
    if sigma_px < 0.2:
        return patch, left, top
    patch = np.asarray(cv2.copyMakeBorder(patch, pad, pad, pad, pad, cv2.BORDER_CONSTANT))
    soft = blur(patch, sigma_px)
    strength = plan.fringe * (0.3 + plan.closure) * np.tanh(one.defocus_um / 6.0)
    if abs(strength) > 0.02:
        soft = soft + np.float32(strength) * (soft - blur(soft, max(0.8, sigma_px)))
    return soft, left - pad, top - pad


def _throw_shadow(
    canvas: NDArray[np.float32],
    patch: NDArray[np.float32],
    left: int,
    top: int,
    strength: float,
    um_per_px: float,
) -> None:
    """Darken the ground beside an object on a canvas that belongs to the caller."""
    part = window(left, top, patch.shape, canvas.shape[:2])
    if part is None:
        return
    shade = np.clip(grey(patch[part.patch]) * 2, 0, 1)
    shade = blur(shade, 1.0 / um_per_px)
    canvas[part.canvas] *= (1 - np.float32(strength) * shade)[..., None]
