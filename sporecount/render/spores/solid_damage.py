"""Ways to empty, cut, dent and burst the body that style "solid" projects."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.solid_body import Body, Keep, Volume


def emptied(rng: np.random.Generator, body: Body) -> Body:
    """Leave a pale shell, whole or holed, sometimes with a remnant of content."""
    thick = float(body.radius_um.max())
    turn = float(rng.uniform(0.0, 2 * np.pi))
    hole = _outside_ball(
        body.half_um * np.cos(turn), thick * np.sin(turn), 0.0, float(rng.uniform(0.9, 1.7))
    )
    broken = rng.random() < 0.4
    # An unbroken shell must be paler than any intact spore to be told from one.
    shell_tone = min(rng.uniform(0.06, 0.24), 0.2 if broken else 0.15) / body.tone
    return replace(
        body,
        shell_um=max(0.35, body.shell_um * float(rng.uniform(0.5, 0.9))),
        shell_tone=min(shell_tone, body.shell_tone),
        content_tone=float(rng.choice((0.0, 0.0, 0.1))) * shell_tone,
        refraction=float(rng.uniform(0.1, 0.5)),
        keep=(hole,) if broken else (),
        granules=body.granules[:0],
        spill=_remnant(rng, body) if rng.random() < 0.35 else body.spill,
    )


def _remnant(rng: np.random.Generator, body: Body) -> NDArray[np.float64]:
    """Return a few balls of content that are left inside, heaped at one place."""
    thick = float(body.radius_um.max())
    count = int(rng.integers(2, 9))
    place = rng.uniform(-0.45, 0.45, 2) * (body.half_um, thick)
    places = place + rng.normal(0.0, 0.16 * thick, (count, 2))
    sizes = rng.uniform(0.08, 0.22, (count, 1)) * thick
    return np.hstack([places, np.zeros((count, 1)), sizes])


def _slab(
    normal: NDArray[np.float64], offset: float, gap: float, wave: float, phase: float
) -> Keep:
    """Return the distance from a wavy slab."""

    def keep(along: Volume, across: Volume, up: Volume) -> Volume:
        plane = along * np.float32(normal[0]) + across * np.float32(normal[1])
        plane = plane + up * np.float32(normal[2]) - np.float32(offset)
        course = across * np.float32(normal[0]) - along * np.float32(normal[1])
        plane = plane + np.float32(wave) * np.sin(course * np.float32(1.5) + np.float32(phase))
        return np.abs(plane) - np.float32(gap / 2)

    return keep


def split(rng: np.random.Generator, body: Body) -> Body:
    """Crack the body: a gap or a dark seam, whose sides may have slid along it."""
    cuts, seams = [], []
    slips: tuple[tuple[float, float, float, float], ...] = ()
    dark = rng.random() < 0.4
    for number in range(1 + int(rng.random() < 0.3)):
        lengthwise = rng.random() < 0.2 and number == 0
        turn = rng.normal(np.pi / 2, 0.12) if lengthwise else rng.normal(0.0, 0.4)
        normal = np.array([np.cos(turn), np.sin(turn), 0.0])
        offset = float(np.clip(rng.normal(0.0, 0.1 if lengthwise else 0.3), -0.5, 0.5))
        offset *= body.half_um
        course = (float(rng.uniform(0.05, 0.4)), float(rng.uniform(0, 6.3)))
        if dark:
            seam = _slab(normal, offset, 0.0, *course)
            seams.append((seam, float(body.tone * rng.uniform(0.5, 1.1) + 0.1)))
        else:
            gap = float(rng.uniform(0.6, 1.3))
            cuts.append(_slab(normal, offset, gap, *course))
        if number == 0 and rng.random() < 0.5:
            slide = float(rng.choice((-1.0, 1.0)) * rng.uniform(0.5, 1.8))
            slips = ((float(normal[0]), float(normal[1]), offset, slide),)
    return replace(body, keep=tuple(cuts), seams=tuple(seams), slips=slips)


def _outside_ball(x: float, y: float, z: float, size: float) -> Keep:
    def keep(along: Volume, across: Volume, up: Volume) -> Volume:
        square = (along - np.float32(x)) ** 2 + (across - np.float32(y)) ** 2
        return np.sqrt(square + (0.35 * (up - np.float32(z))) ** 2) - np.float32(size)

    return keep


def chipped(rng: np.random.Generator, body: Body) -> Body:
    """Knock a round or flat piece off the side or the end."""
    thick = float(body.radius_um.max())
    turn = float(rng.uniform(0.0, 2 * np.pi))
    x, y = body.half_um * np.cos(turn), thick * np.sin(turn)
    if rng.random() < 0.6:
        size = thick * float(rng.uniform(0.5, 0.9))
        knock: Keep = _outside_ball(x, y, 0.0, size)
    else:
        share = float(rng.uniform(0.45, 0.72))
        way = np.array([np.cos(turn), np.sin(turn), 0.0])
        far = share * float(np.hypot(body.half_um * way[0], thick * way[1]))
        knock = _below(way, far, float(rng.uniform(0.2, 0.5)), float(rng.uniform(0, 6.3)))
    return replace(body, keep=(knock,), content_tone=body.content_tone * rng.uniform(0.5, 1.0))


def _below(way: NDArray[np.float64], far: float, wave: float, phase: float) -> Keep:
    def keep(along: Volume, across: Volume, up: Volume) -> Volume:
        plane = along * np.float32(way[0]) + across * np.float32(way[1])
        course = across * np.float32(way[0]) - along * np.float32(way[1])
        return np.float32(far) - plane - np.float32(wave) * np.sin(2.2 * course + np.float32(phase))

    return keep


def dented(rng: np.random.Generator, body: Body) -> Body:
    """Push the side in and shrivel the rest, so that a wrinkled, shrunken body is left."""
    side = float(rng.choice((-1.0, 1.0)))
    dents = []
    for number in range(int(rng.integers(1, 4))):
        facing = side if number == 0 else float(rng.choice((-1.0, 1.0)))
        sway = float(rng.normal(0.0, 0.3))
        towards = np.array(
            [rng.normal(0.0, 0.35) * body.half_um, facing * np.cos(sway), np.sin(sway)]
        )
        depth = float(rng.uniform(0.35, 0.75) if number == 0 else rng.uniform(0.15, 0.4))
        dents.append((towards, depth, body.half_um * float(rng.uniform(0.25, 0.6))))
    shrunk = float(rng.uniform(0.86, 1.0))
    folds = tuple(
        (
            float(rng.uniform(0.03, 0.10)),
            float(rng.uniform(0.4, 2.2)),
            float(rng.normal(0.0, 1.0)),
            float(rng.uniform(0, 6.3)),
        )
        for _ in range(3)
    )
    seams = []
    for _ in range(int(rng.integers(0, 4))):
        turn = float(rng.normal(np.pi / 2, 0.6))
        normal = np.array([np.cos(turn), np.sin(turn), 0.0])
        offset = float(rng.uniform(-0.5, 0.5) * body.radius_um.max())
        seam = _slab(normal, offset, 0.0, float(rng.uniform(0.1, 0.6)), float(rng.uniform(0, 6.3)))
        seams.append((seam, float(body.tone * rng.uniform(0.2, 0.6))))
    return replace(
        body,
        half_um=body.half_um * shrunk,
        radius_um=body.radius_um * np.float32(shrunk * rng.uniform(0.85, 1.0)),
        shell_tone=body.shell_tone * 1.2,
        folds=folds,
        dents=tuple(dents),
        seams=tuple(seams),
    )


def burst(rng: np.random.Generator, body: Body) -> Body:
    """Swell the body, open it at one place and let its content out as balls."""
    thick = float(body.radius_um.max())
    swollen = min(float(rng.uniform(0.95, 1.2)), 0.88 * body.half_um / thick)
    thick *= swollen
    turn = float(rng.uniform(0.0, 2 * np.pi))
    x, y = body.half_um * np.cos(turn), thick * np.sin(turn)
    count = int(rng.integers(14, 36))
    out = rng.gamma(2.0, 0.75, count)
    way = np.array([x, y]) / np.hypot(x, y)
    across = np.array([-way[1], way[0]])
    centre = np.array([x, y]) * 0.92 + out[:, None] * way
    centre = centre + rng.normal(0.0, 0.6, (count, 1)) * (0.8 + 0.5 * out[:, None]) * across
    sizes = rng.uniform(0.45, 1.2, (count, 1))
    return replace(
        body,
        radius_um=body.radius_um * np.float32(swollen),
        shell_um=body.shell_um * 0.6,
        shell_tone=body.shell_tone * float(rng.uniform(0.5, 0.8)),
        content_tone=body.content_tone * float(rng.uniform(0.35, 0.8)),
        keep=(_outside_ball(x, y, 0.0, float(rng.uniform(1.0, 1.9))),),
        spill=np.hstack([centre, np.zeros((count, 1)), sizes]),
    )


def nearest_to(seeds: NDArray[np.float64], number: int) -> Keep:
    """Return the distance into the cell of one point among others."""

    def keep(along: Volume, across: Volume, up: Volume) -> Volume:
        here = seeds[number]
        inside = np.full(along.shape, 99.0, np.float32)
        for other in np.delete(seeds, number, axis=0):
            way = other - here
            gap = float(np.linalg.norm(way)) + 1e-6
            way, middle = way / gap, (other + here) / 2
            offset = float(way @ middle)
            plane = along * np.float32(way[0]) + across * np.float32(way[1])
            plane = plane + up * np.float32(way[2])
            inside = np.minimum(inside, np.float32(offset) - plane)
        return inside

    return keep
