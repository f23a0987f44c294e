"""Targets and loss of the search network."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from sporecount.detect.inputs import CELL_PX
from sporecount.detect.search import TYPICAL_LENGTH_UM, TYPICAL_WIDTH_UM
from sporecount.train.objects import COS2, LENGTH, SIN2, STATE, WEIGHT, WIDTH, X, Y

#: Spread of the centre heat, in cells, and reach of the window it is drawn in.
HEAT_SIGMA, HEAT_REACH = 0.9, 3


def heat_maps(objects: Tensor, rows: int, columns: int) -> tuple[Tensor, Tensor]:
    """Draw the wanted centre heat and the mask of cells that count.

    Parameters
    ----------
    objects : Tensor, shape (n, k, 8)
        Rows of `sporecount.train.objects`; unused rows have a negative state.
    rows, columns : int
        Size of the output grid.

    Returns
    -------
    heat, mask : Tensor, shape (n, 2, rows, columns)
        Channel 0 is spores, channel 1 fragments.
    """
    n = objects.shape[0]
    device = objects.device
    cx = (objects[..., X] + 0.5) / CELL_PX - 0.5
    cy = (objects[..., Y] + 0.5) / CELL_PX - 0.5
    step = torch.arange(-HEAT_REACH, HEAT_REACH + 1, device=device)
    gx = cx.round()[..., None, None] + step[None, None, None, :]
    gy = cy.round()[..., None, None] + step[None, None, :, None]
    gx, gy = torch.broadcast_tensors(gx, gy)
    d2 = (gx - cx[..., None, None]) ** 2 + (gy - cy[..., None, None]) ** 2
    value = torch.exp(-d2 / (2 * HEAT_SIGMA**2))
    valid = (objects[..., STATE] >= 0)[..., None, None]
    inside = (gx >= 0) & (gx < columns) & (gy >= 0) & (gy < rows) & valid
    channel = (objects[..., STATE] > 1.5).long()[..., None, None]
    batch = torch.arange(n, device=device)[:, None, None, None]
    index = ((batch * 2 + channel) * rows + gy.long()) * columns + gx.long()
    index = torch.where(inside, index, torch.zeros_like(index))
    heat = torch.zeros(n * 2 * rows * columns, device=device)
    counted = inside & (objects[..., WEIGHT] > 0.5)[..., None, None]
    heat.scatter_reduce_(0, index.reshape(-1), torch.where(counted, value, 0.0).reshape(-1), "amax")
    spared = torch.zeros_like(heat)
    left_alone = inside & (objects[..., WEIGHT] <= 0.5)[..., None, None]
    spared.scatter_reduce_(0, index.reshape(-1), left_alone.float().reshape(-1), "amax")
    heat = heat.view(n, 2, rows, columns)
    # An object too faint to teach spares both channels: it is neither spore nor litter.
    mask = 1.0 - spared.view(n, 2, rows, columns).amax(1, keepdim=True).expand(-1, 2, -1, -1)
    mask = torch.maximum(mask, (heat > 0.6).float())
    return heat, mask


def search_loss(output: Tensor, objects: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    """Penalty-reduced focal loss on centres, smooth L1 on shapes, cross entropy on state."""
    n, _, rows, columns = output.shape
    heat, mask = heat_maps(objects, rows, columns)
    logit = output[:, :2].float()
    p = torch.sigmoid(logit)
    log_p, log_q = functional.logsigmoid(logit), functional.logsigmoid(-logit)

    valid = (objects[..., STATE] >= 0) & (objects[..., WEIGHT] > 0.5)
    cx = (objects[..., X] + 0.5) / CELL_PX - 0.5
    cy = (objects[..., Y] + 0.5) / CELL_PX - 0.5
    ix, iy = cx.round(), cy.round()
    valid &= (ix >= 0) & (ix < columns) & (iy >= 0) & (iy < rows)
    b, k = valid.nonzero(as_tuple=True)
    xs, ys = ix[b, k].long(), iy[b, k].long()
    which = (objects[b, k, STATE] > 1.5).long()
    centre = torch.zeros_like(heat)
    centre[b, which, ys, xs] = 1.0

    positive = -centre * (1 - p) ** 2 * log_p
    negative = -(1 - centre) * mask * (1 - heat) ** 4 * p**2 * log_q
    count = float(max(1, b.numel()))
    weight = torch.tensor([1.0, 0.7], device=output.device).view(1, 2, 1, 1)
    centre_loss = ((positive + negative) * weight).sum() / count

    picked = output[b, :, ys, xs].float()
    rows_ = objects[b, k]
    wanted = torch.stack(
        [
            cx[b, k] - ix[b, k],
            cy[b, k] - iy[b, k],
            torch.log(rows_[:, LENGTH] / TYPICAL_LENGTH_UM),
            torch.log(rows_[:, WIDTH] / TYPICAL_WIDTH_UM),
            rows_[:, COS2],
            rows_[:, SIN2],
        ],
        dim=1,
    )
    scale = torch.tensor([1.0, 1.0, 2.0, 2.0, 0.5, 0.5], device=output.device)
    slender = (1 - rows_[:, WIDTH] / rows_[:, LENGTH]).clamp(0.0, 0.5) * 2
    per = functional.smooth_l1_loss(picked[:, 2:8], wanted, reduction="none", beta=0.2) * scale
    per = torch.cat([per[:, :4], per[:, 4:] * slender[:, None]], dim=1)
    shape_loss = per.sum() / count
    spores = rows_[:, STATE] < 1.5
    state_loss = functional.binary_cross_entropy_with_logits(
        picked[spores, 8], rows_[spores, STATE], reduction="sum"
    ) / spores.sum().clamp(min=1)
    total = centre_loss + 0.5 * shape_loss + 0.4 * state_loss
    return total, {
        "centre": centre_loss.detach(),
        "shape": shape_loss.detach(),
        "state": state_loss.detach(),
    }
