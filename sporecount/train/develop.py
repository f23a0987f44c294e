"""Vary how tiles were photographed as they are learned from: tone, sharpness, grain, mottle.

The renderer's camera has its own ways; another camera has others. These are cheap on the
device that learns, where drawing a tile anew is not.
"""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from sporecount.detect.inputs import DENSITY_BOUNDS

#: Shares of tiles whose tone curve, sharpness, grain and mottle are changed.
TONE_SHARE, SHARPNESS_SHARE, GRAIN_SHARE, MOTTLE_SHARE = 0.5, 0.4, 0.35, 0.25

#: Largest exponent of the tone curve, and its inverse the smallest.
MOST_TONE = 1.35

#: Blurred by up to so much of the smoothed picture, or sharpened by up to so much of the rest.
MOST_BLUR, MOST_SHARPENING = 0.9, 1.0

#: Standard deviation of grain and of mottle, optical density, of most; a few have three times it.
GRAIN, MOTTLE = 0.008, 0.01

_KERNEL = torch.tensor([0.061, 0.242, 0.394, 0.242, 0.061])


def develop(x: Tensor, generator: torch.Generator) -> Tensor:
    """Change tone, sharpness, grain and mottle of some tiles.

    Parameters
    ----------
    x : Tensor, shape (n, 3, side, side)
        Optical density; exactly 0 in all channels where nothing was examined.
    generator : torch.Generator

    Returns
    -------
    Tensor, shape (n, 3, side, side)
        Still 0 where nothing was examined.
    """
    n = x.shape[0]
    draw = torch.rand((n, 9, 1, 1), generator=generator, device=x.device)
    examined = _closed((x.abs().amax(1, keepdim=True) > 1e-6).float())
    y = _tone(x, draw[:, 0:1] < TONE_SHARE, MOST_TONE ** (2 * draw[:, 1:2] - 1))
    y = _sharpness(y, draw[:, 2:3] < SHARPNESS_SHARE, draw[:, 3:4])
    grain = torch.randn(x.shape, generator=generator, device=x.device)
    # Half of the grain is the same in all colours, as a grey camera's is.
    grain = torch.where(draw[:, 4:5] < 0.5, grain[:, :1], grain)
    y = y + _strength(draw[:, 5:6], GRAIN_SHARE, GRAIN) * grain
    y = y + _strength(draw[:, 6:7], MOTTLE_SHARE, MOTTLE) * _mottle(x, generator)
    low, high = DENSITY_BOUNDS
    return (y * examined).clamp(low, high)


def _closed(mask: Tensor) -> Tensor:
    """Fill small holes: where ground is exactly even, it is examined all the same."""
    grown = functional.max_pool2d(functional.pad(mask, (4, 4, 4, 4), mode="replicate"), 9, 1)
    return -functional.max_pool2d(-functional.pad(grown, (4, 4, 4, 4), mode="replicate"), 9, 1)


def _tone(x: Tensor, chosen: Tensor, exponent: Tensor) -> Tensor:
    """Bend the tone curve: density 0 stays, and about 0.3 stays."""
    dense = x.clamp(min=1e-4)
    bent = 0.3 * (dense / 0.3) ** exponent
    return torch.where(chosen & (x > 1e-4), bent, x)


def _sharpness(x: Tensor, chosen: Tensor, draw: Tensor) -> Tensor:
    """Blur or sharpen by mixing with a smoothed copy."""
    kernel = _KERNEL.to(x.device, x.dtype)
    channels = x.shape[1]
    across = kernel.view(1, 1, 1, 5).expand(channels, 1, 1, 5)
    padded = functional.pad(x, (2, 2, 2, 2), mode="replicate")
    smooth = functional.conv2d(padded, across, groups=channels)
    smooth = functional.conv2d(smooth, across.transpose(2, 3), groups=channels)
    amount = draw * (MOST_BLUR + MOST_SHARPENING) - MOST_BLUR
    return torch.where(chosen, x + amount * (x - smooth), x)


def _strength(draw: Tensor, share: float, mean: float) -> Tensor:
    """Return exponentially spread strengths for a share of the tiles, 0 for the others."""
    inside = (draw / share).clamp(0.05, 1.0)
    return torch.where(draw < share, -mean * torch.log(inside), torch.zeros_like(draw))


def _mottle(x: Tensor, generator: torch.Generator) -> Tensor:
    """Return soft blotches, 4 to 8 pixels wide, standard deviation about 1."""
    n, _, rows, columns = x.shape
    size = (n, 3, max(rows // 6, 2), max(columns // 6, 2))
    coarse = torch.randn(size, generator=generator, device=x.device)
    coarse = 0.8 * coarse[:, :1] + 0.6 * coarse
    return 1.3 * functional.interpolate(coarse, (rows, columns), mode="bilinear")
