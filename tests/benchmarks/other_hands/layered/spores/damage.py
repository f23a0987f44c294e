"""Damage that leaves a spore readable as one: cracked, bitten, ghosted, collapsed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import smooth_step, wave
from other_hands.layered.spores.shape import Spore, outline_and_height
from other_hands.layered.spores.substance import Fading, Form, texture


@dataclass(frozen=True)
class Site:
    """A spore to be damaged: u_um along and v_um across its axis, (h, w)."""

    canvas: Canvas
    rng: np.random.Generator
    spore: Spore
    u_um: np.ndarray
    v_um: np.ndarray


def leave_whole(site: Site) -> Form:
    """Do nothing to it."""
    return Form(*outline_and_height(site.spore, site.u_um, site.v_um))


def crack(site: Site) -> Form:
    """Break it right across by a jagged gap, its halves a little out of line."""
    rng, u_um, v_um = site.rng, site.u_um, site.v_um
    optics = site.canvas.look.optics
    tilt_rad = rng.normal(0, 0.35)
    off_um = rng.uniform(-0.28, 0.28) * site.spore.half_length_um
    # A gap that this lens cannot split would not be one.
    gap_um = max(rng.uniform(0.4, 1.5), 0.22 / optics.aperture, 0.9 * optics.um_per_px)
    jagged = wave(rng, v_um * 0.9, 4, 0.35)
    cut_um = (u_um - off_um) * np.cos(tilt_rad) + v_um * np.sin(tilt_rad) + jagged
    turn_rad, slip_um = rng.normal(0, 0.13), rng.normal(0, 0.5)
    first_um, first_height_um = outline_and_height(site.spore, u_um + gap_um / 2, v_um)
    u2_um, c, s = u_um - gap_um / 2, np.cos(turn_rad), np.sin(turn_rad)
    second_um, second_height_um = outline_and_height(
        site.spore, u2_um * c + (v_um - slip_um) * s, -u2_um * s + (v_um - slip_um) * c
    )
    inside_um = np.maximum(
        np.minimum(first_um, -cut_um - gap_um / 2), np.minimum(second_um, cut_um - gap_um / 2)
    )
    height_um = np.where(cut_um < 0, first_height_um, second_height_um)
    if rng.random() < 0.5:  # a thin bridge of wall is left on one side
        side = rng.choice([-1, 1])
        bridge_um = 0.9 - np.abs(v_um - side * site.spore.half_width_um * 0.55)
        bridge_um = np.minimum(bridge_um, gap_um * 0.9 - np.abs(cut_um))
        within_um = np.minimum(bridge_um, np.maximum(first_um, second_um))
        inside_um = np.maximum(inside_um, within_um)
    return Form(inside_um, height_um)


def bite(site: Site) -> Form:
    """Take one or two roundish notches out of its edge."""
    rng, u_um, v_um = site.rng, site.u_um, site.v_um
    a, b = site.spore.half_length_um, site.spore.half_width_um
    inside_um, height_um = outline_and_height(site.spore, u_um, v_um)
    for _ in range(1 if rng.random() < 0.8 else 2):
        angle = rng.uniform(0, 2 * np.pi)
        bite_um = rng.uniform(0.42, 0.75) * b
        x_um, y_um = a * 0.8 * np.cos(angle), b * 1.05 * np.sin(angle)
        around = np.arctan2(v_um - y_um, u_um - x_um)
        radius_um = bite_um * (1 + wave(rng, around, 4, 0.12, 2))
        inside_um = np.minimum(inside_um, np.hypot(u_um - x_um, v_um - y_um) - radius_um)
    return Form(inside_um, height_um)


def empty(site: Site) -> Form:
    """Empty it: a rim with little inside, or all very faint; some with a slit or remains."""
    rng, u_um, v_um = site.rng, site.u_um, site.v_um
    a, b = site.spore.half_length_um, site.spore.half_width_um
    inside_um, height_um = outline_and_height(site.spore, u_um, v_um, 0.025)
    if rng.random() < 0.72:
        fading = Fading(rng.uniform(0.03, 0.22), rng.uniform(0.5, 1.0))
    else:
        fading = Fading(rng.uniform(0.15, 0.3), rng.uniform(0.15, 0.35))
    look, extra = site.canvas.look.spores, None
    if rng.random() < 0.4:  # the slit by which it was emptied
        middle_um = b * rng.uniform(-0.4, 0.4)
        slit = np.exp(-(((v_um - middle_um - 0.15 * np.sin(u_um)) / 0.5) ** 2))
        slit = slit * (np.abs(u_um) < a * 0.6)
        extra = site.canvas.coverage(inside_um) * slit * 0.35 * look.wall
    elif rng.random() < 0.6:  # a faint rest of what was in it
        x_um, y_um = rng.uniform(-0.4, 0.4) * a, rng.uniform(-0.3, 0.3) * b
        squared = (u_um - x_um) ** 2 + (v_um - y_um) ** 2
        rest = np.exp(-squared / rng.uniform(0.6, 2.5))
        extra = site.canvas.coverage(inside_um) * rest * 0.5 * look.body
    return Form(inside_um, height_um, fading, extra)


def collapse(site: Site) -> Form:
    """Shrivel it: narrower and crooked, with dents in its edge and folds across."""
    rng, u_um, v_um = site.rng, site.u_um, site.v_um
    a, b = site.spore.half_length_um, site.spore.half_width_um
    squeeze = rng.uniform(0.62, 0.92)
    crook = b * 0.30 * rng.normal() * np.cos(u_um / a * rng.uniform(1.5, 3) + rng.uniform(0, 6))
    inside_um, height_um = outline_and_height(
        site.spore, u_um * rng.uniform(1.0, 1.12), v_um / squeeze - crook, 0.09
    )
    inside_um = _dented(site, inside_um * squeeze, squeeze)
    relief = texture(site.canvas, site.spore.seed + 3, inside_um.shape, 3.2)
    sunken = np.clip(0.8 + 0.45 * relief, 0.1, 1.7)
    height_um = np.clip(height_um, 0, None) * sunken * smooth_step(inside_um / 1.2)
    return Form(inside_um, height_um, extra=_folds(site, inside_um))


def _dented(site: Site, inside_um: np.ndarray, squeeze: float) -> np.ndarray:
    """Press one to three dents into an outline, unless one would take too much away."""
    rng, a, b = site.rng, site.spore.half_length_um, site.spore.half_width_um
    area = (inside_um > 0).sum()
    for _ in range(int(rng.integers(1, 4))):
        angle = rng.uniform(0, 2 * np.pi)
        dent_um = rng.uniform(0.5, 1.0) * b
        depth = rng.uniform(0.25, 0.6)
        x_um = a * 0.75 * np.cos(angle)
        y_um = (b * squeeze + dent_um * (1 - depth)) * np.sign(np.sin(angle))
        outside_um = np.hypot(site.u_um - x_um, site.v_um - y_um) - dent_um
        pressed_um = _soft_minimum(inside_um, outside_um, 0.5)
        if (pressed_um > 0).sum() > 0.66 * area:
            inside_um = pressed_um
    return inside_um


def _soft_minimum(one: np.ndarray, other: np.ndarray, softness: float) -> np.ndarray:
    """Give the lesser of two, without a kink where they cross."""
    powers = np.exp(np.clip(-one / softness, -20, 20)) + np.exp(np.clip(-other / softness, -20, 20))
    return -np.log(powers) * softness


def _folds(site: Site, inside_um: np.ndarray) -> np.ndarray:
    """Give the density of one to three dark folds that run along a spore."""
    rng, u_um = site.rng, site.u_um
    a, b = site.spore.half_length_um, site.spore.half_width_um
    look = site.canvas.look.spores
    total = np.zeros_like(inside_um)
    for _ in range(int(rng.integers(1, 4))):
        tilt_rad = rng.normal(0, 0.5)
        off_um = rng.uniform(-0.5, 0.5) * b
        straight_um = -u_um * np.sin(tilt_rad) + site.v_um * np.cos(tilt_rad) - off_um
        away_um = straight_um - 0.25 * b * np.sin(u_um / a * 2 + rng.uniform(0, 6))
        fold = np.exp(-((away_um / rng.uniform(0.4, 0.8)) ** 2))
        fold = fold * smooth_step((inside_um - 0.2) / 1.0) * rng.uniform(0.3, 0.8)
        total += fold * (look.body * 0.6 + look.wall * 0.5)
    return total


#: How each kind of damage is done; "" is none.
DAMAGES: dict[str, Callable[[Site], Form]] = {
    "": leave_whole,
    "cracked": crack,
    "bitten": bite,
    "ghosted": empty,
    "collapsed": collapse,
}
