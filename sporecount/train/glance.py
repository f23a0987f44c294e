"""The glance network and its loss: which cells of a field could hold a spore at all."""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from sporecount.detect.glance import COARSE, GLANCE_CELL_PX
from sporecount.detect.inputs import BLOCK_PX
from sporecount.train.network import _conv, _Residual
from sporecount.train.objects import STATE, WEIGHT, X, Y

#: A cell answers for objects centred in it or so near to it, working pixels: the search may
#: place them a little off.
NEAR_PX = 2.0

#: A missed object costs as much as so many cells looked at for nothing.
MISS_WEIGHT = 8.0


class GlanceNet(nn.Module):
    """Logit of each cell of 8 x 8 working pixels to hold the centre of a spore or a piece.

    It sees the field at half the working scale, 4 x 4 pixels at a time; a twentieth of
    the search's work.

    Parameters
    ----------
    width : int
        Channels.
    deeper : int
        Pairs of layers after the first two.
    """

    def __init__(self, width: int = 32, deeper: int = 2) -> None:
        super().__init__()
        self.first = _conv(3 * BLOCK_PX**2, width)
        self.second = _conv(width, width)
        self.deeper = nn.Sequential(*(_Residual(width) for _ in range(deeper)))
        self.out = nn.Conv2d(width, 1, 1)
        with torch.no_grad():
            self.out.bias.fill_(-3.0)  # type: ignore[union-attr]

    def on_blocks(self, x: Tensor) -> Tensor:
        """Blocks (n, 48, rows, columns) to logits (n, 1, rows, columns)."""
        return self.out(self.deeper(self.second(self.first(x))))

    def forward(self, x: Tensor) -> Tensor:
        """(n, 3, rows, columns), sides multiples of 8, to (n, 1, rows / 8, columns / 8)."""
        return self.on_blocks(
            functional.pixel_unshuffle(functional.avg_pool2d(x, COARSE), BLOCK_PX)
        )


def wanted_cells(objects: Tensor, rows: int, columns: int) -> tuple[Tensor, Tensor]:
    """Return which cells hold an object's centre, and which of the others count.

    Parameters
    ----------
    objects : Tensor, shape (n, k, 8)
        Rows of `sporecount.train.objects`; unused rows have a negative state.
    rows, columns : int
        Cells.

    Returns
    -------
    wanted, counts : Tensor, shape (n, rows, columns)
        0 or 1.
    """
    n = objects.shape[0]
    step = torch.arange(-1, 2, device=objects.device)
    places = []
    for column in (X, Y):
        at = (objects[..., column] + 0.5) / GLANCE_CELL_PX
        cell = at.floor()[..., None] + step
        # How far the centre lies outside the cell.
        off = ((at[..., None] - cell - 0.5).abs() - 0.5) * GLANCE_CELL_PX
        places.append((cell, off <= NEAR_PX))
    (gx, near_x), (gy, near_y) = places
    gx, gy = torch.broadcast_tensors(gx[..., None, :], gy[..., :, None])
    near = near_x[..., None, :] & near_y[..., :, None]
    valid = (objects[..., STATE] >= 0)[..., None, None]
    inside = (gx >= 0) & (gx < columns) & (gy >= 0) & (gy < rows) & valid
    batch = torch.arange(n, device=objects.device)[:, None, None, None]
    index = (batch * rows + gy.long()) * columns + gx.long()
    index = torch.where(inside, index, torch.zeros_like(index)).reshape(-1)
    taught = (objects[..., WEIGHT] > 0.5)[..., None, None]
    wanted, spared = (torch.zeros(n * rows * columns, device=objects.device) for _ in range(2))
    wanted.scatter_reduce_(0, index, (inside & near & taught).float().reshape(-1), "amax")
    spared.scatter_reduce_(0, index, (inside & ~(near & taught)).float().reshape(-1), "amax")
    wanted, spared = (one.view(n, rows, columns) for one in (wanted, spared))
    return wanted, torch.maximum(wanted, 1.0 - spared)


def glance_loss(output: Tensor, objects: Tensor) -> tuple[Tensor, dict[str, Tensor], Tensor]:
    """Cross entropy of cells, in which a miss weighs `MISS_WEIGHT`.

    Returns
    -------
    loss : Tensor
        To be made small.
    parts : dict of Tensor
        Share of the wanted cells, and of the others, that are let through at even odds.
    hardness : Tensor, shape (n,)
        Loss of each tile.
    """
    logit = output[:, 0].float()
    wanted, counts = wanted_cells(objects, *logit.shape[1:])
    each = functional.binary_cross_entropy_with_logits(
        logit, wanted, reduction="none", pos_weight=torch.full_like(logit[:1, :1, :1], MISS_WEIGHT)
    )
    each = each * counts
    through, other = (logit > 0).float().detach(), counts * (1.0 - wanted)
    parts = {
        "found": (through * wanted).sum() / wanted.sum().clamp(min=1.0),
        "passed": (through * other).sum() / other.sum().clamp(min=1.0),
    }
    return each.sum() / counts.sum().clamp(min=1.0), parts, each.detach().mean((1, 2))
