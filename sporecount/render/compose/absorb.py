"""Transmitted light: densities add; things out of focus blur and grow rims."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.compose.place import (
    OPAQUE_DENSITY,
    Composed,
    Placed,
    blur,
    focus_levels,
    grey,
    paste,
    transmit,
)
from sporecount.render.compose.plan import ComposePlan

#: Levels of defocus that are told apart in one picture.
LEVELS = 5

#: Distance over which oblique light tells one flank from the other, um.
RELIEF_UM = 1.6


def compose_absorb(
    placed: list[Placed], shape: tuple[int, int], um_per_px: float, plan: ComposePlan
) -> Composed:
    """Lay objects together by adding their optical densities (Beer-Lambert).

    Parameters
    ----------
    placed : list of Placed
        Objects; order makes no difference to the light.
    shape : tuple of int
        (height, width) of the canvas.
    um_per_px : float
        Scale of the canvas.
    plan : ComposePlan
        Its ``cone``, ``kernel``, ``fringe``, ``closure``, ``density_gain`` and ``relief``.
    """
    litter = np.zeros((*shape, 3), np.float32)
    spores = np.zeros((*shape, 3), np.float32)
    for defocus_um, group in focus_levels(placed, LEVELS):
        for total, members in (
            (litter, [one for one in group if not one.is_spore]),
            (spores, [one for one in group if one.is_spore]),
        ):
            if not members:
                continue
            layer = np.zeros((*shape, 3), np.float32)
            for one in members:
                paste(layer, one)
            total += _defocus(layer, defocus_um, um_per_px, plan)
    litter *= np.float32(plan.density_gain)
    spores *= np.float32(plan.density_gain)
    if plan.relief > 0:
        litter, spores = (_in_relief(one, um_per_px, plan) for one in (litter, spores))
    bare = transmit(litter)
    hidden = grey(litter) > OPAQUE_DENSITY
    cover = np.where(hidden, np.int32(len(placed)), np.int32(-1))
    return Composed(light=bare * transmit(spores), bare=bare, cover=cover)


def _defocus(
    layer: NDArray[np.float32], defocus_um: float, um_per_px: float, plan: ComposePlan
) -> NDArray[np.float32]:
    """Blur a layer by its defocus and add rims whose sign follows the defocus."""
    radius_px = abs(defocus_um) * plan.cone / um_per_px
    if plan.kernel == "disc" and radius_px >= 1:
        soft = np.asarray(cv2.filter2D(layer, -1, _disc(radius_px)), np.float32)
    else:
        soft = blur(layer, radius_px * 0.6)
    strength = plan.fringe * (0.3 + plan.closure) * np.tanh(defocus_um / 6.0)
    if abs(strength) > 0.02:
        wide = blur(soft, max(0.7, radius_px * 0.7, 0.8 / um_per_px))
        soft = soft + np.float32(strength) * (soft - wide)
    return soft


def _in_relief(
    density: NDArray[np.float32], um_per_px: float, plan: ComposePlan
) -> NDArray[np.float32]:
    """Brighten one flank of everything and darken the other, as oblique light does."""
    turn = np.radians(plan.relief_deg)
    half = RELIEF_UM / um_per_px / 2 * np.array([np.cos(turn), np.sin(turn)])
    size = (density.shape[1], density.shape[0])
    thick = grey(density)
    ahead, behind = (
        cv2.warpAffine(
            thick,
            np.array([[1.0, 0.0, side * half[0]], [0.0, 1.0, side * half[1]]]),
            size,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for side in (1.0, -1.0)
    )
    slope = np.clip(np.float32(plan.relief) * (ahead - behind), -0.25, 0.5)
    return np.asarray(density + slope[..., None], np.float32)


def _disc(radius_px: float) -> NDArray[np.float32]:
    """Return a disc of unit sum with a soft edge."""
    reach = int(np.ceil(radius_px)) + 1
    x, y = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    disc = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return disc / disc.sum()
