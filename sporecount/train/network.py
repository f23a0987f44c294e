"""The search network: small, fully convolutional, optical density in, logits out.

Its input is clipped and scaled as `sporecount.detect.inputs` says; the sigmoid is taken
outside, in numpy.
"""

from __future__ import annotations

from pathlib import Path
from typing import IO

import torch
from torch import Tensor, nn

from sporecount.detect.inputs import BLOCK_PX, CELL_PX

#: Channels of the search network's output, in order.
SEARCH_CHANNELS = (
    "spore",
    "fragment",
    "dx",
    "dy",
    "log_length",
    "log_width",
    "cos2",
    "sin2",
    "damaged",
)


def _conv(inputs: int, outputs: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride, size // 2, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class _Residual(nn.Module):
    def __init__(self, width: int) -> None:
        super().__init__()
        self.first = _conv(width, width)
        self.second = nn.Sequential(
            nn.Conv2d(width, width, 3, padding=1, bias=False), nn.BatchNorm2d(width)
        )

    def forward(self, x: Tensor) -> Tensor:
        return torch.relu(x + self.second(self.first(x)))


class SearchNet(nn.Module):
    """Centre heat, shape and state for every 2 x 2 cell of the field.

    All its work is done on blocks of 4 x 4 working pixels: the pixels of a block come in,
    and the cells of a block go out, as channels. Finer grids cost a processor more in moving
    numbers about than in reckoning.

    Parameters
    ----------
    width, deep : int
        Channels on the blocks' grid and on the one twice as coarse.
    """

    def __init__(self, width: int = 48, deep: int = 56) -> None:
        super().__init__()
        self.first = _conv(3 * BLOCK_PX**2, width)
        self.body = nn.Sequential(_Residual(width), _Residual(width))
        self.deep = nn.Sequential(
            _conv(width, deep, 3, 2), _Residual(deep), _Residual(deep), _conv(deep, width, 1)
        )
        self.join = _conv(width, width)
        self.last = _conv(width, width)
        self.out = nn.Conv2d(width, len(SEARCH_CHANNELS) * (BLOCK_PX // CELL_PX) ** 2, 1)
        with torch.no_grad():
            self.out.bias.zero_()
            # Centres are rare: start from that.
            self.out.bias[: 2 * (BLOCK_PX // CELL_PX) ** 2] = -4.5

    def on_blocks(self, x: Tensor) -> Tensor:
        """Blocks (n, 48, rows / 4, columns / 4), sides even, to (n, 36, rows / 4, columns / 4)."""
        fine = self.first(x)
        middle = self.body(fine)
        wide = nn.functional.interpolate(self.deep(middle), scale_factor=2.0, mode="nearest")
        return self.out(self.last(self.join(middle + wide) + fine))

    def forward(self, x: Tensor) -> Tensor:
        """(n, 3, rows, columns), sides multiples of 8, to (n, 9, rows / 2, columns / 2)."""
        cells = self.on_blocks(nn.functional.pixel_unshuffle(x, BLOCK_PX))
        return nn.functional.pixel_shuffle(cells, BLOCK_PX // CELL_PX)


def load_search(weights: Path | IO[bytes]) -> SearchNet:
    """Return the search network that `sporecount.train.learn.train_search` saved."""
    state = torch.load(weights, map_location="cpu")
    model = SearchNet(**state["shape"])
    model.load_state_dict(state["model"])
    return model


def weights(model: nn.Module) -> int:
    """Return the number of trainable weights."""
    return sum(p.numel() for p in model.parameters() if p.requires_grad)
