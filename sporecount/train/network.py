"""The search network: small, fully convolutional, optical density in, logits out.

Its input is clipped and scaled as `sporecount.detect.inputs` says; the sigmoid is taken
outside, in numpy.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

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

    Input (n, 3, rows, columns), rows and columns multiples of 8; output
    (n, len(SEARCH_CHANNELS), rows / 2, columns / 2).
    """

    def __init__(self, stem: int = 16, body: int = 32, deep: int = 64) -> None:
        super().__init__()
        self.stem = _conv(3, stem, 5, 2)
        self.down = _conv(stem, body, 3, 2)
        self.body = nn.Sequential(_Residual(body), _Residual(body))
        self.deep = nn.Sequential(
            _conv(body, deep, 3, 2), _Residual(deep), _Residual(deep), _conv(deep, body, 1)
        )
        self.join = _conv(body, body)
        self.lift = nn.Conv2d(body, stem, 1)
        self.last = _conv(stem, stem)
        self.out = nn.Conv2d(stem, len(SEARCH_CHANNELS), 1)
        with torch.no_grad():
            self.out.bias.zero_()
            self.out.bias[:2] = -4.5  # centres are rare: start from that

    def forward(self, x: Tensor) -> Tensor:
        fine = self.stem(x)
        middle = self.body(self.down(fine))
        wide = nn.functional.interpolate(self.deep(middle), scale_factor=2.0, mode="nearest")
        middle = self.join(middle + wide)
        lifted = nn.functional.interpolate(self.lift(middle), scale_factor=2.0, mode="nearest")
        return self.out(self.last(lifted + fine))


def weights(model: nn.Module) -> int:
    """Return the number of trainable weights."""
    return sum(p.numel() for p in model.parameters() if p.requires_grad)
