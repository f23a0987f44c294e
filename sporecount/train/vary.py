"""Vary drawn tiles as they are learned from: turned, sized, tinted, laid over one another, cut."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from sporecount.detect.inputs import DENSITY_BOUNDS
from sporecount.train.objects import COS2, LENGTH, SIN2, STATE, WEIGHT, WIDTH, X, Y

#: Share of tiles that are turned by any angle and resized, and the spread of the sizes.
TURNED_SHARE, SIZE_SPREAD = 0.5, 0.05

#: Share of tiles that a second one is laid over: optical densities add.
LAID_OVER_SHARE = 0.25

#: Below more density than this an object is nobody's to find.
HIDING_DENSITY = 0.55

#: Share of tiles that the edge of the examined part cuts: straight, round, or a box left out.
CUT_SHARE = 0.3

#: Share of the edges along which the light falls off, its reach in pixels, and its density.
FALL_SHARE, FALL_PX, FALL_DENSITY = 0.4, 8.0, 0.5

#: An object centred so near the edge, in pixels, is nobody's to call inside or outside.
EDGE_DOUBT_PX = 1.0


def unpack(tiles: Tensor) -> Tensor:
    """Bytes (n, rows, columns, 3) to optical density (n, 3, rows, columns)."""
    low, high = DENSITY_BOUNDS
    return tiles.permute(0, 3, 1, 2).float() * ((high - low) / 255.0) + low


def turn(x: Tensor, objects: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor]:
    """Flip and turn each tile and its objects; half of them by any angle, and resized a little.

    Parameters
    ----------
    x : Tensor, shape (n, 3, side, side)
    objects : Tensor, shape (n, k, 8)
    generator : torch.Generator
    """
    n, side = x.shape[0], x.shape[-1]
    draw = torch.rand((n, 6), generator=generator, device=x.device)
    freely = draw[:, 0] < TURNED_SHARE
    quarter = torch.floor(draw[:, 1] * 4) * (torch.pi / 2)
    angle = torch.where(freely, draw[:, 1] * 2 * torch.pi, quarter)
    size = torch.where(freely, torch.exp((draw[:, 2] - 0.5) * 2 * 1.7 * SIZE_SPREAD), 1.0)
    flip = torch.where(draw[:, 3] < 0.5, 1.0, -1.0)
    shift = (draw[:, 4:6] - 0.5) * 0.2 * freely[:, None]
    cos, sin = torch.cos(angle), torch.sin(angle)
    # From places in the new tile to places in the old one, both from -1 to 1.
    back = torch.stack(
        [
            torch.stack([cos / size * flip, sin / size * flip, shift[:, 0]], dim=1),
            torch.stack([-sin / size, cos / size, shift[:, 1]], dim=1),
        ],
        dim=1,
    )
    grid = functional.affine_grid(back, list(x.shape), align_corners=False)
    moved = functional.grid_sample(x, grid, align_corners=False, padding_mode="zeros")

    objects = objects.clone()
    half = side / 2.0
    u = (objects[..., X] + 0.5 - half) / half - shift[:, :1]
    v = (objects[..., Y] + 0.5 - half) / half - shift[:, 1:]
    u = u * flip[:, None]
    c, s, m = cos[:, None], sin[:, None], size[:, None]
    objects[..., X] = (m * (c * u - s * v)) * half + half - 0.5
    objects[..., Y] = (m * (s * u + c * v)) * half + half - 0.5
    c2, s2 = torch.cos(2 * angle)[:, None], torch.sin(2 * angle)[:, None]
    a, b = objects[..., COS2].clone(), objects[..., SIN2] * flip[:, None]
    objects[..., COS2], objects[..., SIN2] = c2 * a - s2 * b, s2 * a + c2 * b
    objects[..., LENGTH] *= m
    objects[..., WIDTH] *= m
    return moved, objects


def lay_over(x: Tensor, objects: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor]:
    """Lay some tiles over their neighbours in the batch, with the objects of both.

    What lies under too much of the other tile's density is spared: nobody could see it.
    """
    n, side = x.shape[0], x.shape[-1]
    chosen = torch.rand((n,), generator=generator, device=x.device) < LAID_OVER_SHARE
    other, theirs = x.roll(1, 0), objects.roll(1, 0).clone()
    theirs[..., STATE] = torch.where(chosen[:, None], theirs[..., STATE], -1.0)
    ours = objects.clone()
    for mine, above in ((ours, other), (theirs, x)):
        column = mine[..., X].round().clamp(0, side - 1).long()
        row = mine[..., Y].round().clamp(0, side - 1).long()
        dense = above.mean(1).flatten(1).gather(1, row * side + column)
        hidden = chosen[:, None] & (dense > HIDING_DENSITY)
        mine[..., WEIGHT] = torch.where(hidden, 0.0, mine[..., WEIGHT])
    low, high = DENSITY_BOUNDS
    laid = (x + other).clamp(low, high)
    return torch.where(chosen[:, None, None, None], laid, x), torch.cat([ours, theirs], dim=1)


def tint(x: Tensor, generator: torch.Generator) -> Tensor:
    """Vary depth of tone and channel balance a little: the camera is varied already."""
    n = x.shape[0]
    draw = torch.rand((n, 6, 1, 1), generator=generator, device=x.device)
    gain = torch.exp((draw[:, :1] - 0.5) * 0.5)
    balance = torch.exp((draw[:, 1:4] - 0.5) * 0.24)
    grey = (draw[:, 4:5] < 0.06).float()
    x = x * gain * balance
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    examined = (x.abs().amax(1, keepdim=True) > 0).float()
    low, high = DENSITY_BOUNDS
    return (x + (draw[:, 5:6] - 0.5) * 0.02 * examined).clamp(low, high)


def cut(x: Tensor, objects: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor]:
    """Let the examined part end within some tiles, as at a round field or a box of text.

    Parameters
    ----------
    x : Tensor, shape (n, 3, side, side)
    objects : Tensor, shape (n, k, 8)
    generator : torch.Generator

    Returns
    -------
    x : Tensor
        Exactly 0 beyond the edge.
    objects : Tensor
        Those centred beyond the edge are gone; those centred on it are left alone.
    """
    n, side = x.shape[0], x.shape[-1]
    draw = torch.rand((n, 8), generator=generator, device=x.device)
    at = torch.arange(side, device=x.device, dtype=x.dtype)
    depth = _depth(draw, at[None, None, :], at[None, :, None], side)
    chosen = draw[:, 0] < CUT_SHARE
    inside = (depth > 0) | ~chosen[:, None, None]

    falls = (chosen & (draw[:, 7] < FALL_SHARE))[:, None, None]
    near = (1 - depth / FALL_PX).clamp(0.0, 1.0) ** 2
    strength = FALL_DENSITY * (draw[:, 7] / FALL_SHARE)[:, None, None]
    low, high = DENSITY_BOUNDS
    shaded = (x + (near * strength * falls)[:, None]).clamp(low, high)

    objects = objects.clone()
    within = _depth(draw, objects[..., X][:, None], objects[..., Y][:, None], side)[:, 0]
    beyond = chosen[:, None] & (within < -EDGE_DOUBT_PX)
    doubtful = chosen[:, None] & (within.abs() <= EDGE_DOUBT_PX)
    objects[..., STATE] = torch.where(beyond, -1.0, objects[..., STATE])
    objects[..., WEIGHT] = torch.where(doubtful, 0.0, objects[..., WEIGHT])
    return shaded * inside[:, None], objects


def _depth(draw: Tensor, x: Tensor, y: Tensor, side: int) -> Tensor:
    """Return how far places lie within each tile's examined part, pixels, negative beyond it.

    ``x`` and ``y`` broadcast to (n, rows, columns); ``draw`` (n, 8) holds even numbers, 0 to 1.
    """
    turn = draw[:, 1, None, None] * (2 * torch.pi)
    cos, sin = torch.cos(turn), torch.sin(turn)
    middle = (side - 1) / 2
    # The edge passes some way from the tile's middle, so that mostly the smaller part is lost.
    off = (draw[:, 2, None, None] * 0.48 + 0.02) * side
    u, v = (x - middle) * cos + (y - middle) * sin, (y - middle) * cos - (x - middle) * sin
    straight = off - u
    radius = side * torch.exp(draw[:, 3, None, None] * 2.3 - 0.9)
    round_field = radius - torch.hypot(u - off + radius, v)
    # Boxes lie upright, as text does.
    halves = side * (0.06 + 0.3 * draw[:, 3:5, None, None] ** 2)
    places = side * draw[:, 5:7, None, None]
    box = torch.maximum(
        (x - places[:, 0]).abs() - halves[:, 0], (y - places[:, 1]).abs() - 0.4 * halves[:, 1]
    )
    kind = draw[:, 0, None, None] / CUT_SHARE
    return torch.where(kind < 0.3, straight, torch.where(kind < 0.7, round_field, box))
