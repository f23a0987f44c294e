"""Style "solid": a body of revolution in space, seen by the light that passes through it.

Density is absorption times the length of the ray inside shell and content, after
Beer and Lambert; damage cuts, dents or empties the body before it is projected.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import MILD_SHARE, Bench, Draft, lay_bench
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.solid_body import BINS, Body, Volume, random_body
from sporecount.render.spores.solid_damage import burst, chipped, dented, emptied, nearest_to, split
from sporecount.render.spores.solid_hollow import hollow
from sporecount.render.spores.solid_ruin import broken, eaten
from sporecount.render.spores.solid_shrivel import shrivelled

_SLICES = 14
_FINE_SLICES = 22
_MILD = ((0.24, emptied), (0.26, split), (0.18, chipped), (0.21, dented), (0.11, burst))
_STRONG = ((0.36, shrivelled), (0.26, broken), (0.16, eaten), (0.22, hollow))


def whole(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Project an intact spore, tilted a little, seldom seen from its end."""
    return _project(rng, um_per_px, look, random_body(rng, look), angle_deg)


def damaged(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Project a spore that is damaged a little, or much more."""
    mild = rng.random() < MILD_SHARE
    body = replace(random_body(rng, look), tilt=float(rng.normal(0.0, 0.12)))
    if mild:
        pick = int(rng.choice(len(_MILD), p=[share for share, _ in _MILD]))
        return _project(rng, um_per_px, look, _MILD[pick][1](rng, body), angle_deg)
    pick = int(rng.choice(len(_STRONG), p=[share for share, _ in _STRONG]))
    body, look = _STRONG[pick][1](rng, body, look)
    return _project(rng, um_per_px, look, body, angle_deg)


def shatter(rng: np.random.Generator, um_per_px: float, look: SporeLook) -> list[Draft]:
    """Part the body into the cells of points strewn through it, and project each."""
    body = replace(random_body(rng, look), tilt=float(rng.normal(0.0, 0.03)))
    thick = float(body.radius_um.max())
    count = int(rng.choice((2, 3, 4, 5, 6, 7), p=(0.28, 0.27, 0.2, 0.12, 0.08, 0.05)))
    seeds = rng.uniform(-1.0, 1.0, (count, 3)) * (0.75 * body.half_um, 0.7 * thick, 0.0)
    if count == 2:
        seeds[:, 0] = (-0.3 * body.half_um, 0.3 * body.half_um)
    lost = rng.random() < 0.55
    body = replace(
        body,
        content_tone=body.content_tone * (float(rng.uniform(0.0, 0.4)) if lost else 1.0),
        granules=body.granules[:0] if lost else body.granules,
    )
    drafts = []
    for number in range(count):
        piece = replace(body, keep=(nearest_to(seeds, number),))
        turn = float(rng.normal(0.0, 30.0))
        draft = _project(rng, um_per_px, look, piece, turn, margin_um=2.0)
        if float(draft.cover.sum()) * draft.bench.step_um**2 >= 2.2:
            drafts.append(draft)
    if len(drafts) < 2:  # points too close together: break it in two instead
        ends = np.array([[-0.3 * body.half_um, 0.0, 0.0], [0.3 * body.half_um, 0.0, 0.0]])
        drafts = [
            _project(rng, um_per_px, look, replace(body, keep=(nearest_to(ends, side),)), 0.0)
            for side in (0, 1)
        ]
    return drafts


def _project(
    rng: np.random.Generator,
    um_per_px: float,
    look: SporeLook,
    body: Body,
    angle_deg: float,
    margin_um: float = 1.6,
) -> Draft:
    """Sum shell and content along the rays, then absorb and bend light."""
    reach = float(np.abs(body.spill[:, :3]).max() + 2.0) if len(body.spill) else 0.0
    bench = lay_bench(rng, max(body.half_um, reach) + body.reach_um + margin_um, um_per_px)
    box = _box(bench, body, angle_deg, reach)
    u, v, left = _in_body(bench, box, body, angle_deg)
    shell, content, total = _chords(bench, u, v, body, look)
    gone = np.zeros_like(total)
    if left is not None:
        kept = np.clip(left / np.float32(bench.step_um) + 0.5, 0.0, 1.0)
        gone = total * (1.0 - kept)
        shell, content, total = shell * kept, content * kept, total * kept
    grains = _granule_chords(bench, box, body, body.granules, angle_deg)
    spill = _granule_chords(bench, box, body, body.spill, angle_deg)
    thick = 2.0 * float(body.radius_um.max())
    inner = content * (body.content_tone / thick)
    if body.filling is not None:
        inner = inner * body.filling(u, v)
    inner = inner * (1.0 + body.granule_gain * grains / 1.5)
    outer = shell * (body.shell_tone / thick * _shell_weight(body, thick))
    hue = np.array(look.hue, np.float32)
    shell_hue = hue ** np.float32(rng.uniform(0.85, 1.2))
    leaked = spill * (max(body.content_tone, 0.35) / thick * 2.2)
    optical = body.tone * (
        np.maximum(outer, 0.0)[..., None] * shell_hue
        + (np.maximum(inner, 0.0) + leaked)[..., None] * hue
    )
    bent = body.refraction * _bent_light(rng, bench, look, total)
    optical = optical + bent[..., None]
    if body.sheen or body.glint:
        light = body.sheen * content + body.glint * _shell_weight(body, thick) * shell
        optical = optical - (light / thick)[..., None]
    for seam, strength in body.seams:
        line = np.exp(-np.square(np.maximum(seam(u, v, np.zeros_like(u)), 0.0) / 0.32))
        optical = optical + (strength * line * np.minimum(total, 1.0))[..., None] * hue
    if body.veil is not None:
        optical = optical * body.veil(*_in_plane(bench, box, angle_deg))[..., None]
    seen = np.maximum(total, spill)
    if body.filled_crack:
        # What fills the crack belongs to the spore.
        optical = optical + (body.filled_crack * np.minimum(gone, 1.0))[..., None] * hue
        seen = seen + gone
    density = np.zeros(bench.x_um.shape + (3,), np.float32)
    cover = np.zeros(bench.x_um.shape, np.float32)
    density[box], cover[box] = optical, _coverage(seen, bench.step_um)
    return Draft(density, cover, bench)


def _shell_weight(body: Body, thick: float) -> float:
    """Weight that lets a thin shell absorb like content where a ray grazes it."""
    graze = 2.0 * np.sqrt(max(body.shell_um * (thick - body.shell_um), 0.1))
    return thick / graze


def _box(bench: Bench, body: Body, angle_deg: float, reach: float) -> tuple[slice, slice]:
    """Return the part of the bench where the body can be."""
    angle = np.deg2rad(angle_deg)
    thick = float(body.radius_um.max())
    long = max(body.half_um, reach)
    wide = max(thick, reach)
    x = np.hypot(long * np.cos(angle), wide * np.sin(angle)) + 1.4 + body.reach_um
    y = np.hypot(long * np.sin(angle), wide * np.cos(angle)) + 1.4 + body.reach_um
    size = bench.x_um.shape[0]
    spans = []
    for origin, extent in ((bench.origin_px[1], y), (bench.origin_px[0], x)):
        first = max(0, int(origin - extent / bench.step_um))
        spans.append(slice(first, min(size, int(origin + extent / bench.step_um) + 2)))
    return spans[0], spans[1]


def _in_plane(bench: Bench, box: tuple[slice, slice], angle_deg: float) -> tuple[Volume, Volume]:
    angle = np.deg2rad(angle_deg)
    cos, sin = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    x, y = bench.x_um[box], bench.y_um[box]
    return x * cos + y * sin, y * cos - x * sin


def _in_body(
    bench: Bench, box: tuple[slice, slice], body: Body, angle_deg: float
) -> tuple[Volume, Volume, Volume | None]:
    """Return where each place was before damage moved it, and how far inside what is left."""
    u, v = _in_plane(bench, box, angle_deg)
    return (u, v, None) if body.warp is None else body.warp(u, v)


def _chords(
    bench: Bench, u: Volume, v: Volume, body: Body, look: SporeLook
) -> tuple[Volume, Volume, Volume]:
    """Return the lengths (um) of each ray inside shell, content and both."""
    thick = float(body.radius_um.max())
    deep = np.hypot(thick * np.cos(body.tilt), body.half_um * np.sin(body.tilt))
    slices = _SLICES if bench.step_um > 0.2 else _FINE_SLICES
    dz = np.float32(2.0 * deep / slices)
    z = ((np.arange(slices, dtype=np.float32) + 0.5) * dz - np.float32(deep)).reshape(-1, 1, 1)
    cos, sin = np.float32(np.cos(body.tilt)), np.float32(np.sin(body.tilt))
    along = u * cos + z * sin
    up = z * cos - u * sin
    bow = np.float32(look.bend * look.length_um / body.half_um**2)
    sheer = np.zeros_like(u)
    for nx, ny, offset, slide in body.slips:
        side = np.where(u * nx + v * ny > offset, 0.5 * slide, -0.5 * slide).astype(np.float32)
        along = along - side * np.float32(ny)
        sheer = sheer + side * np.float32(nx)
    across = (v + sheer) - bow * along * along if bow else np.broadcast_to(v + sheer, along.shape)
    index = (along * np.float32(BINS / 2 / body.half_um) + np.float32(BINS / 2)).astype(np.int32)
    beyond = np.abs(along) - np.float32(body.half_um)
    limit: Volume = body.radius_um[np.clip(index, 0, BINS - 1)]
    reach = np.square(across)
    reach += np.square(up)
    np.sqrt(reach, out=reach)
    if body.dents or body.folds:
        limit = limit * _shrunk(body, along, across, up, reach)
    under = np.minimum(limit - reach, -beyond)
    soft = np.float32(1.0 / max(float(dz), bench.step_um))
    # A quarter, not a half: several slices meet at the outline, and would swell it.
    under *= soft
    under += np.float32(0.25)
    inner = under - np.float32(body.shell_um) * soft
    outer = np.clip(under, 0.0, 1.0, out=under)
    np.clip(inner, 0.0, 1.0, out=inner)
    for keep in body.keep:
        # Cuts stand nearly along the rays, so the fine step softens them, not the slices.
        left = np.clip(keep(along, across, up) / np.float32(bench.step_um) + 0.5, 0.0, 1.0)
        outer, inner = np.minimum(outer, left), np.minimum(inner, left)
    total = outer.sum(axis=0) * dz
    content = inner.sum(axis=0) * dz
    return np.maximum(total - content, 0.0), content, total


def _shrunk(body: Body, along: Volume, across: Volume, up: Volume, reach: Volume) -> Volume:
    """Return by how much dents and folds narrow the body at each place."""
    gain = np.ones_like(along)
    inverse = 1.0 / np.maximum(reach, 0.05)
    for towards, depth, length in body.dents:
        facing = np.maximum((across * towards[1] + up * towards[2]) * inverse, 0.0)
        place = np.exp(-(((along - np.float32(towards[0])) / np.float32(length)) ** 2))
        gain = gain - np.float32(depth) * facing * facing * place
    for height, pace, slant, phase in body.folds:
        wave = along * np.float32(pace) + across * np.float32(slant) + np.float32(phase)
        gain = gain + np.float32(height) * np.sin(wave)
    return np.maximum(gain, 0.05).astype(np.float32)


def _granule_chords(
    bench: Bench,
    box: tuple[slice, slice],
    body: Body,
    balls: NDArray[np.float64],
    angle_deg: float,
) -> Volume:
    """Return the length (um) of each ray inside small balls."""
    x, y = bench.x_um[box], bench.y_um[box]
    total = np.zeros(x.shape, np.float32)
    angle = np.deg2rad(angle_deg)
    left, top = float(x[0, 0]), float(y[0, 0])
    step = bench.step_um
    for along, across, up, size in balls:
        u = along * np.cos(body.tilt) - up * np.sin(body.tilt)
        cx = u * np.cos(angle) - across * np.sin(angle)
        cy = u * np.sin(angle) + across * np.cos(angle)
        # A ball touches few pixels: only those are computed.
        x0, x1 = max(0, int((cx - size - left) / step)), int((cx + size - left) / step) + 2
        y0, y1 = max(0, int((cy - size - top) / step)), int((cy + size - top) / step) + 2
        if x1 <= x0 or y1 <= y0:
            continue
        part = (slice(y0, y1), slice(x0, x1))
        square = size**2 - (x[part] - cx) ** 2 - (y[part] - cy) ** 2
        total[part] += 2.0 * np.sqrt(np.maximum(square, 0.0), dtype=np.float32)
    return total


def _bent_light(rng: np.random.Generator, bench: Bench, look: SporeLook, total: Volume) -> Volume:
    """Return what refraction adds: steep flanks darken, curvature gathers light."""
    sigma = 0.3 / bench.step_um
    smooth = cv2.GaussianBlur(total, (0, 0), max(sigma, 0.5))
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) / (8 * bench.step_um)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) / (8 * bench.step_um)
    steep = np.minimum(gx * gx + gy * gy, 9.0)
    flank = steep * np.float32(rng.uniform(0.0, 0.03) * (0.4 + look.tone))
    wide = cv2.GaussianBlur(total, (0, 0), 0.9 / bench.step_um)
    curved = np.clip((wide - smooth) / 1.2, -1.0, 1.0)
    outside = np.clip(1.0 - total / np.float32(0.6), 0.0, 1.0)
    gathered = np.where(outside > 0, curved * 1.6, -curved * 0.5)
    return (flank - np.float32(look.rim) * gathered).astype(np.float32)


def _coverage(total: Volume, step_um: float) -> Volume:
    """Return the share of each pixel with any of the body above or below it."""
    body = (total > 0.18).astype(np.float32)
    return body if step_um < 0.05 else cv2.blur(body, (3, 3)) * 0.5 + body * 0.5
