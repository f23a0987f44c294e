"""How style "profile" turns a place within the outline into density."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import Bench, Draft, turned
from sporecount.render.spores.look import SporeLook

Field = NDArray[np.floating]
STEPS = 720


@dataclass(frozen=True, eq=False)
class Form:
    """Radius (um) of the outline by angle from the axis, -pi to pi, and its slope."""

    radius: Field
    tilt: Field

    @staticmethod
    def of(radius: NDArray[np.floating]) -> Form:
        """Return the form whose radius is given from -pi to pi."""
        slope = np.gradient(radius) / (2 * np.pi / STEPS) / radius
        return Form(radius.astype(np.float32), (1 / np.sqrt(1 + slope**2)).astype(np.float32))


@dataclass(frozen=True)
class Touch:
    """What damage does to the painting of an otherwise whole spore."""

    wall_gain: float = 1.0
    core_gain: float = 1.0
    tone_gain: float = 1.0
    wrinkles: int = 0
    open_at: float | None = None  # angle at which the wall is missing
    open_width: float = 0.5


def straightened(bench: Bench, look: SporeLook, angle_deg: float) -> tuple[Field, Field]:
    """Return coordinates in which a bent axis is straight."""
    u, v = turned(bench, angle_deg)
    half = 0.5 * look.length_um
    sag = look.bend * look.length_um * (np.minimum((u / half) ** 2, 1.5) - 0.33)
    return u, v - sag.astype(np.float32)


def form_of(
    rng: np.random.Generator, look: SporeLook, fuller: float = 1.0, ripple: float = 0.0
) -> Form:
    """Choose an outline between ellipse, lens and lemon."""
    half = 0.5 * look.length_um
    t = np.cos(np.linspace(0.0, np.pi, 400))
    power = 2.0 + rng.uniform(-0.15, 0.35)
    body_end = 1.0 - 0.1 * max(0.0, look.tip - 0.5)
    inside = np.clip(1.0 - np.abs(t / body_end) ** power, 0.0, 1.0)
    h = inside ** (0.5 + 0.4 * look.tip + rng.uniform(-0.04, 0.04))
    nub = (0.09 + 0.09 * look.tip) * rng.uniform(0.7, 1.2)
    h = (h**3 + (nub * np.sqrt(np.clip(1.0 - t**2, 0.0, 1.0)) ** 0.6) ** 3) ** (1 / 3)
    h = h * (1.0 + look.asymmetry * t)
    h = h / h.max() * half * look.slenderness * fuller
    angle, radius = np.arctan2(h, half * t), np.hypot(h, half * t)
    grid = np.linspace(-np.pi, np.pi, STEPS)
    table = np.interp(np.abs(grid), angle, radius)
    for order in range(2, 8):
        table = table * (
            1.0 + rng.normal(0.0, 1.0) * ripple / order * np.cos(order * grid + rng.uniform(0, 6.3))
        )
    return Form.of(np.maximum(table, 0.3))


def measured(form: Form, u: Field, v: Field) -> tuple[Field, Field, Field]:
    """Return angle, depth under the outline (um) and normalised radius of each place."""
    theta = np.arctan2(v, u)
    index = ((theta + np.pi) * (STEPS / (2 * np.pi)) - 0.5).astype(np.int32) % STEPS
    radius = form.radius[index]
    rho = np.sqrt(u * u + v * v)
    return theta, (radius - rho) * form.tilt[index], rho / radius


def paint(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    place: tuple[Field, Field, Field, Field, Field],
    cut: Field,
    touch: Touch,
    marks: Field | float = 0.0,
) -> Draft:
    """Turn places into density; ``cut`` is the depth that still belongs to the object.

    ``marks`` is density laid over everything inside, in the spore's own hue.
    """
    u, v, theta, depth, share = place
    half = 0.5 * look.length_um
    soft = max(bench.step_um, float(rng.uniform(0.1, 0.5)))
    solid = np.clip(cut / soft + 0.5, 0.0, 1.0)
    wall = bell((depth - np.float32(0.3 * look.wall_um)).clip(min=0.0), 0.65 * look.wall_um)
    core = (1.0 - wall) * (1.0 + rng.uniform(-0.35, 0.45) * (share**2 - 0.4))
    core = core * _ridges(rng, look, u, v) + _wrinkled(rng, look, u, v, touch.wrinkles)
    core = core * (1.0 + look.grain * cloud(rng, bench, look.grain_um))
    cap = rng.uniform(-0.1, 0.35) * np.minimum(np.abs(u) / half, 1.0) ** 5
    wall = wall * (1.0 + cap + 0.5 * look.grain * cloud(rng, bench, 2.0 * look.grain_um))
    if touch.open_at is not None:
        away = np.abs((theta - touch.open_at + np.pi) % (2 * np.pi) - np.pi)
        wall = wall * np.clip(away / touch.open_width - 0.4, 0.05, 1.0)
    strength = look.tone * touch.tone_gain
    hue = np.array(look.hue, np.float32)
    inner_hue = hue ** np.float32(rng.uniform(0.75, 1.35))
    outer = strength * look.wall_tone * touch.wall_gain * wall * solid
    inner = strength * look.core_tone * touch.core_gain * np.maximum(core, 0.0) * solid
    halo = bell(cut + np.float32(0.45), 0.4) * np.float32(look.rim * min(1.0, touch.wall_gain))
    halo = halo * (1.0 - solid)
    outer = outer + marks * solid
    density = outer[..., None] * hue + inner[..., None] * inner_hue - halo[..., None]
    cover = np.clip(cut / bench.step_um + 0.5, 0.0, 1.0).astype(np.float32)
    return Draft(density.astype(np.float32), cover, bench)


def bell(values: Field, width: float) -> Field:
    """Return a bell of height 1 about 0."""
    scaled = np.square(values, dtype=np.float32) * np.float32(-1.0 / width**2)
    return np.asarray(cv2.exp(scaled), np.float32)


def _ridges(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> Field:
    """Return what longitudinal stripes and a highlight do to the core, about 1."""
    half = 0.5 * look.length_um
    width = half * look.slenderness
    gain = np.ones_like(u)
    if rng.random() < 0.45:
        for _ in range(int(rng.integers(1, 3))):
            lane = rng.uniform(-0.4, 0.4) * width * np.clip(1.0 - (u / half) ** 2, 0.0, 1.0)
            breadth = rng.uniform(0.06, 0.22) * width
            gain = gain + rng.normal(0.0, 0.4) * np.exp(-(((v - lane) / breadth) ** 2))
    if rng.random() < 0.6:
        x, y = rng.normal(0.0, 0.18) * half, rng.normal(0.0, 0.22) * width
        long, broad = rng.uniform(0.2, 0.6) * half, rng.uniform(0.2, 0.5) * width
        spot = np.exp(-(((u - x) / long) ** 2) - ((v - y) / broad) ** 2)
        gain = gain - rng.uniform(-0.3, 0.95) * spot
    return np.maximum(gain, 0.02)


def _wrinkled(
    rng: np.random.Generator, look: SporeLook, u: Field, v: Field, count: int
) -> Field | float:
    """Return dark curved folds along the body."""
    if count == 0:
        return 0.0
    half = 0.5 * look.length_um
    folds = np.zeros_like(u)
    for _ in range(count):
        lane = rng.uniform(-0.6, 0.6) * half * look.slenderness
        swing = rng.normal(0.0, 0.3) * half * look.slenderness
        line = lane + swing * np.sin(u / half * rng.uniform(1.0, 4.0) + rng.uniform(0, 6.3))
        breadth = rng.uniform(0.2, 0.5)
        folds = folds + rng.uniform(0.5, 1.2) * np.exp(-(((v - line) / breadth) ** 2))
    return folds / max(look.core_tone, 0.3)


def cloud(rng: np.random.Generator, bench: Bench, spot_um: float) -> Field:
    """Return smooth noise of about unit spread with spots of the size given."""
    rows, columns = bench.x_um.shape
    nodes = max(3, int(np.ceil(columns * bench.step_um / (1.3 * spot_um))))
    coarse = rng.standard_normal((nodes, nodes)).astype(np.float32)
    cloud = cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC)
    return cloud.astype(np.float32, copy=False)


def one_piece(cut: Field) -> Field:
    """Drop all but the largest part of what is left."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((cut > 0).astype(np.uint8))
    if count < 3:
        return cut
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    # Their soft edges go as well: a margin of two pixels belongs to no other part.
    others = cv2.dilate(((labels > 0) & (labels != largest)).astype(np.uint8), np.ones((5, 5)))
    return np.where((others > 0) & (labels != largest), np.minimum(cut, -2.0), cut)
