"""Style "profile": a radius function for the outline, density by normalised radius.

Everything is a formula of the place within the outline: nothing is filled, stroked
or projected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import Bench, Draft, lay_bench, turned
from sporecount.render.spores.look import SporeLook

Field = NDArray[np.floating]
_STEPS = 720
_FAINTEST_GHOST = 0.07


@dataclass(frozen=True, eq=False)
class _Form:
    """Radius (um) of the outline by angle from the axis, -pi to pi, and its slope."""

    radius: Field
    tilt: Field

    @staticmethod
    def of(radius: NDArray[np.floating]) -> _Form:
        slope = np.gradient(radius) / (2 * np.pi / _STEPS) / radius
        return _Form(radius.astype(np.float32), (1 / np.sqrt(1 + slope**2)).astype(np.float32))


@dataclass(frozen=True)
class _Touch:
    """What damage does to the painting of an otherwise whole spore."""

    wall_gain: float = 1.0
    core_gain: float = 1.0
    tone_gain: float = 1.0
    wrinkles: int = 0
    open_at: float | None = None  # angle at which the wall is missing
    open_width: float = 0.5


def whole(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Draw an intact spore."""
    bench = lay_bench(rng, 0.5 * look.length_um + 2.0, um_per_px)
    u, v = _straightened(bench, look, angle_deg)
    theta, depth, share = _measured(_form(rng, look), u, v)
    return _paint(rng, bench, look, (u, v, theta, depth, share), depth, _Touch())


def damaged(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Draw a spore with one kind of damage, from clear to severe."""
    kinds: tuple[Callable[..., Draft], ...] = (_ghost, _crack, _bite, _collapse, _leak)
    kind = kinds[int(rng.choice(len(kinds), p=(0.24, 0.26, 0.18, 0.21, 0.11)))]
    bench = lay_bench(rng, 0.5 * look.length_um + 5.0, um_per_px)
    u, v = _straightened(bench, look, angle_deg)
    return kind(rng, bench, look, u, v)


def shatter(rng: np.random.Generator, um_per_px: float, look: SporeLook) -> list[Draft]:
    """Cut the spore along straight lines and draw what lies between them."""
    angle_deg = float(rng.uniform(0.0, 180.0))
    form = _form(rng, look)
    half = 0.5 * look.length_um
    lines = [(rng.normal(0.0, 0.5), rng.normal(0.0, 0.12) * half)]
    for _ in range(int(rng.choice(3, p=(0.35, 0.45, 0.2)))):
        lines.append((rng.uniform(0, np.pi), rng.normal(0.0, 0.3) * half))
    phase, ripple = rng.uniform(0, 6.28), rng.uniform(0.0, 0.45)
    emptied = rng.random() < 0.4
    touch = _Touch(
        core_gain=float(rng.uniform(0.1, 0.5)) if emptied else 1.0,
        wall_gain=float(rng.uniform(0.6, 1.0)),
    )
    drafts = []
    for code in range(2 ** len(lines)):
        bench = lay_bench(rng, half + 2.0, um_per_px)
        u, v = _straightened(bench, look, angle_deg + float(rng.normal(0.0, 25.0)))
        theta, depth, share = _measured(form, u, v)
        cut = depth
        for number, (normal, offset) in enumerate(lines):
            side = 1.0 if code >> number & 1 else -1.0
            along = v * np.cos(normal) - u * np.sin(normal)
            q = u * np.cos(normal) + v * np.sin(normal) - offset
            q = q + ripple * np.sin(1.7 * along + phase)
            cut = np.minimum(cut, side * q)
        cut = _one_piece(cut)
        if float((cut > 0).sum()) * bench.step_um**2 < 2.2:
            continue
        drafts.append(_paint(rng, bench, look, (u, v, theta, depth, share), cut, touch))
    return drafts


def _one_piece(cut: Field) -> Field:
    """Drop all but the largest part of what is left."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((cut > 0).astype(np.uint8))
    if count < 3:
        return cut
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    # Their soft edges go as well: a margin of two pixels belongs to no other part.
    others = cv2.dilate(((labels > 0) & (labels != largest)).astype(np.uint8), np.ones((5, 5)))
    return np.where((others > 0) & (labels != largest), np.minimum(cut, -2.0), cut)


def _straightened(bench: Bench, look: SporeLook, angle_deg: float) -> tuple[Field, Field]:
    """Return coordinates in which a bent axis is straight."""
    u, v = turned(bench, angle_deg)
    half = 0.5 * look.length_um
    sag = look.bend * look.length_um * (np.minimum((u / half) ** 2, 1.5) - 0.33)
    return u, v - sag.astype(np.float32)


def _form(
    rng: np.random.Generator, look: SporeLook, fuller: float = 1.0, ripple: float = 0.0
) -> _Form:
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
    grid = np.linspace(-np.pi, np.pi, _STEPS)
    table = np.interp(np.abs(grid), angle, radius)
    for order in range(2, 8):
        table = table * (
            1.0 + rng.normal(0.0, 1.0) * ripple / order * np.cos(order * grid + rng.uniform(0, 6.3))
        )
    return _Form.of(np.maximum(table, 0.3))


def _measured(form: _Form, u: Field, v: Field) -> tuple[Field, Field, Field]:
    """Return angle, depth under the outline (um) and normalised radius of each place."""
    theta = np.arctan2(v, u)
    index = ((theta + np.pi) * (_STEPS / (2 * np.pi)) - 0.5).astype(np.int32) % _STEPS
    radius = form.radius[index]
    rho = np.sqrt(u * u + v * v)
    return theta, (radius - rho) * form.tilt[index], rho / radius


def _paint(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    place: tuple[Field, Field, Field, Field, Field],
    cut: Field,
    touch: _Touch,
    marks: Field | float = 0.0,
) -> Draft:
    """Turn places into density; ``cut`` is the depth that still belongs to the object.

    ``marks`` is density laid over everything inside, in the spore's own hue.
    """
    u, v, theta, depth, share = place
    half = 0.5 * look.length_um
    soft = max(bench.step_um, float(rng.uniform(0.1, 0.5)))
    solid = np.clip(cut / soft + 0.5, 0.0, 1.0)
    wall = _bell((depth - np.float32(0.3 * look.wall_um)).clip(min=0.0), 0.65 * look.wall_um)
    core = (1.0 - wall) * (1.0 + rng.uniform(-0.35, 0.45) * (share**2 - 0.4))
    core = core * _ridges(rng, look, u, v) + _wrinkled(rng, look, u, v, touch.wrinkles)
    core = core * (1.0 + look.grain * _cloud(rng, bench, look.grain_um))
    cap = rng.uniform(-0.1, 0.35) * np.minimum(np.abs(u) / half, 1.0) ** 5
    wall = wall * (1.0 + cap + 0.5 * look.grain * _cloud(rng, bench, 2.0 * look.grain_um))
    if touch.open_at is not None:
        away = np.abs((theta - touch.open_at + np.pi) % (2 * np.pi) - np.pi)
        wall = wall * np.clip(away / touch.open_width - 0.4, 0.05, 1.0)
    strength = look.tone * touch.tone_gain
    hue = np.array(look.hue, np.float32)
    inner_hue = hue ** np.float32(rng.uniform(0.75, 1.35))
    outer = strength * look.wall_tone * touch.wall_gain * wall * solid
    inner = strength * look.core_tone * touch.core_gain * np.maximum(core, 0.0) * solid
    halo = _bell(cut + np.float32(0.45), 0.4) * np.float32(look.rim * min(1.0, touch.wall_gain))
    halo = halo * (1.0 - solid)
    outer = outer + marks * solid
    density = outer[..., None] * hue + inner[..., None] * inner_hue - halo[..., None]
    cover = np.clip(cut / bench.step_um + 0.5, 0.0, 1.0).astype(np.float32)
    return Draft(density.astype(np.float32), cover, bench)


def _bell(values: Field, width: float) -> Field:
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


def _cloud(rng: np.random.Generator, bench: Bench, spot_um: float) -> Field:
    """Return smooth noise of about unit spread with spots of the size given."""
    rows, columns = bench.x_um.shape
    nodes = max(3, int(np.ceil(columns * bench.step_um / (1.3 * spot_um))))
    coarse = rng.standard_normal((nodes, nodes)).astype(np.float32)
    cloud = cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC)
    return cloud.astype(np.float32, copy=False)


def _ghost(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Empty the spore, leaving a pale outline and sometimes a remnant of content."""
    theta, depth, share = _measured(_form(rng, look, ripple=0.03), u, v)
    thin = replace(look, wall_um=max(0.4, look.wall_um * rng.uniform(0.5, 0.9)), rim=look.rim / 2)
    full = look.tone * look.wall_tone
    # Paler than any intact spore, or it could not be told from one.
    left = min(float(rng.uniform(_FAINTEST_GHOST, 0.24)), 0.5 * full, 0.2) / full
    touch = _Touch(
        wall_gain=max(left, _FAINTEST_GHOST / full),
        core_gain=float(rng.uniform(0.0, 0.15) * left / max(look.core_tone, 0.3)),
        open_at=float(rng.uniform(-np.pi, np.pi)) if rng.random() < 0.4 else None,
        open_width=float(rng.uniform(0.3, 0.8)),
    )
    marks: Field | float = 0.0
    if rng.random() < 0.35:
        half = 0.5 * look.length_um
        x, y = rng.uniform(-0.45, 0.45) * half, rng.uniform(-0.4, 0.4) * half * look.slenderness
        size = half * rng.uniform(0.12, 0.38)
        stretch = rng.uniform(0.5, 1.0)
        lump = 1.2 - np.hypot((u - x) / size, (v - y) / (size * stretch))
        lump = lump + 0.35 * _cloud(rng, bench, float(rng.uniform(0.8, 2.0)))
        strength = look.tone * rng.uniform(0.3, 0.9)
        marks = np.clip(lump, 0.0, 1.0) * np.float32(strength) * np.clip(depth - 0.4, 0.0, 1.0)
    return _paint(rng, bench, thin, (u, v, theta, depth, share), depth, touch, marks)


def _crack(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Run one or two jagged lines through, bright or dark; the sides may have slid."""
    form = _form(rng, look)
    half = 0.5 * look.length_um
    keep, marks = np.full_like(u, 99.0), np.zeros_like(u)
    dark = rng.random() < 0.4
    for number in range(1 + int(rng.random() < 0.3)):
        along_axis = rng.random() < 0.2 and number == 0
        normal = rng.normal(np.pi / 2, 0.1) if along_axis else rng.normal(0.0, 0.4)
        gap = 0.0 if dark else float(rng.uniform(0.6, 1.3))
        cos, sin = float(np.cos(normal)), float(np.sin(normal))
        spread = 0.1 if along_axis else 0.3
        course = u * -sin + v * cos
        q = u * cos + v * sin - float(np.clip(rng.normal(0.0, spread), -0.6, 0.6)) * half
        jag = rng.uniform(0.1, 0.45)
        q = q + jag * np.sin(rng.uniform(0.8, 2.0) * course + rng.uniform(0, 6.3))
        q = q + 0.5 * jag * np.sin(rng.uniform(2.5, 4.0) * course + rng.uniform(0, 6.3))
        away = np.abs(q)
        short = rng.random() < (0.25 if number == 0 else 0.6)
        if short:  # the crack ends within the body
            end = rng.uniform(-0.3, 0.5) * half * look.slenderness
            away = np.hypot(away, np.maximum(course - end, 0.0))
        if dark:
            line = np.exp(-((away / rng.uniform(0.25, 0.45)) ** 2))
            marks = np.maximum(marks, line * (look.tone * rng.uniform(0.5, 1.1) + 0.1))
        else:
            keep = np.minimum(keep, away - gap / 2)
        if number > 0 or short:
            continue
        side = np.clip(q / max(0.5 * gap, 0.2), -1.0, 1.0)
        slide = float(rng.uniform(0.0, 0.9) * rng.choice((-1.0, 1.0)))
        hinge = float(rng.normal(0.0, 0.05))
        apart = 0.4 * gap + hinge * course * 0.5
        u, v = u - side * (apart * cos - slide * sin), v - side * (apart * sin + slide * cos)
    theta, depth, share = _measured(form, u, v)
    touch = _Touch(core_gain=float(rng.uniform(0.5, 1.0)), tone_gain=float(rng.uniform(0.75, 1.05)))
    place = (u, v, theta, depth, share)
    return _paint(rng, bench, look, place, np.minimum(depth, keep), touch, marks)


def _bite(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Take round mouthfuls out of the edge."""
    form = _form(rng, look)
    theta, depth, share = _measured(form, u, v)
    width = 0.5 * look.length_um * look.slenderness
    cut = depth
    for number in range(1 + int(rng.random() < 0.35)):
        at = float(rng.uniform(-np.pi, np.pi))
        reach = float(form.radius[int((at + np.pi) / (2 * np.pi) * (_STEPS - 1))])
        reach *= float(rng.uniform(0.85, 1.05))
        size = width * float(rng.uniform(0.5, 0.9) if number == 0 else rng.uniform(0.25, 0.45))
        du, dv = u - reach * np.cos(at), v - reach * np.sin(at)
        lobes = int(rng.integers(3, 7))
        scallop = 1.0 + 0.13 * np.sin(lobes * np.arctan2(dv, du) + rng.uniform(0, 6.3))
        cut = np.minimum(cut, np.sqrt(du * du + dv * dv) - size * scallop)
    touch = _Touch(core_gain=float(rng.uniform(0.6, 1.0)))
    return _paint(rng, bench, look, (u, v, theta, depth, share), cut, touch)


def _collapse(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Let the body shrink and fall in at its side, with dark folds."""
    grown = float(rng.uniform(1.0, 1.12))
    u, v = u * np.float32(grown), v * np.float32(grown * rng.uniform(1.0, 1.3))
    form = _form(rng, look, ripple=float(rng.uniform(0.05, 0.17)))
    theta, depth, share = _measured(form, u, v)
    width = 0.5 * look.length_um * look.slenderness
    for number in range(int(rng.integers(0, 3))):
        long, broad = 0.5 * look.length_um * rng.uniform(0.3, 0.8), width * rng.uniform(0.5, 1.1)
        sunk = width * rng.uniform(0.2, 0.6 if number == 0 else 0.35)
        shift = (width + broad - sunk) * rng.choice((-1.0, 1.0))
        du, dv = u - rng.normal(0.0, 0.3) * 0.5 * look.length_um, v - shift
        dent = (np.sqrt((du / long) ** 2 + (dv / broad) ** 2) - 1.0) * broad
        # The wall runs along the dent as well: it is pushed in, not torn off.
        depth = np.minimum(depth, dent)
    touch = _Touch(
        wrinkles=int(rng.integers(1, 5)), tone_gain=float(rng.uniform(0.8, 1.4)), core_gain=0.8
    )
    return _paint(rng, bench, look, (u, v, theta, depth, share), depth, touch)


def _leak(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Swell the body and let its content run out at one place."""
    swollen = min(float(rng.uniform(0.95, 1.2)), 0.88 / look.slenderness)
    form = _form(rng, replace(look, tip=look.tip * 0.3), fuller=swollen, ripple=0.05)
    theta, depth, share = _measured(form, u, v)
    at = float(rng.uniform(-np.pi, np.pi))
    edge = float(form.radius[int((at + np.pi) / (2 * np.pi) * (_STEPS - 1))])
    spill = np.full_like(u, -99.0)
    for _ in range(int(rng.integers(5, 12))):
        size = float(rng.uniform(0.7, 2.1))
        far = edge - 0.3 + float(rng.uniform(0.0, 3.0))
        turn = at + float(rng.normal(0.0, 0.24))
        blob = size - np.hypot(u - far * np.cos(turn), v - far * np.sin(turn))
        spill = np.maximum(spill, blob)
    touch = _Touch(
        tone_gain=float(rng.uniform(0.5, 0.9)),
        core_gain=float(rng.uniform(0.4, 0.9)),
        open_at=at,
        open_width=float(rng.uniform(0.35, 0.8)),
    )
    swollen_body = _paint(rng, bench, look, (u, v, theta, depth, share), depth, touch)
    thickness = np.clip(spill / 0.9, 0.0, 1.0) * (1.0 - swollen_body.cover)
    strength = max(0.07, look.tone * touch.tone_gain * rng.uniform(0.45, 0.9))
    thickness = thickness * (1.0 + look.grain * _cloud(rng, bench, 0.7)) * strength
    density = swollen_body.density + thickness[..., None] * np.array(look.hue, np.float32)
    both = np.clip(np.maximum(depth, spill) / bench.step_um + 0.5, 0.0, 1.0).astype(np.float32)
    return Draft(density.astype(np.float32), both, bench)
