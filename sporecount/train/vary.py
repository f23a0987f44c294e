"""Vary drawn tiles as they are learned from: turned, sized, tinted, laid over one another."""

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
    low, high = DENSITY_BOUNDS
    return (x + (draw[:, 5:6] - 0.5) * 0.02).clamp(low, high)
