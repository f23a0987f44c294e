"""Targets and loss of the search network, in shapes that do not depend on the data."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from sporecount.detect.inputs import CELL_PX
from sporecount.detect.search import TYPICAL_LENGTH_UM, TYPICAL_WIDTH_UM
from sporecount.train.objects import COS2, LENGTH, SIN2, STATE, WEIGHT, WIDTH, X, Y

#: Spread of the centre heat, in cells, and reach of the window it is drawn in.
HEAT_SIGMA, HEAT_REACH = 0.9, 3

#: Weights of the parts of the loss.
FRAGMENT_WEIGHT, SHAPE_WEIGHT, STATE_WEIGHT = 0.7, 0.5, 0.6


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


def search_loss(output: Tensor, objects: Tensor) -> tuple[Tensor, dict[str, Tensor], Tensor]:
    """Penalty-reduced focal loss on centres, smooth L1 on shapes, cross entropy on state.

    Returns
    -------
    loss : Tensor
        To be made small.
    parts : dict of Tensor
        Its parts, for people.
    hardness : Tensor, shape (n,)
        Loss on the centres of each tile, by which hard tiles are picked again.
    """
    n, channels, rows, columns = output.shape
    heat, mask = heat_maps(objects, rows, columns)
    logit = output[:, :2].float()
    p = torch.sigmoid(logit)
    log_p, log_q = functional.logsigmoid(logit), functional.logsigmoid(-logit)

    cx = (objects[..., X] + 0.5) / CELL_PX - 0.5
    cy = (objects[..., Y] + 0.5) / CELL_PX - 0.5
    ix, iy = cx.round(), cy.round()
    valid = (objects[..., STATE] >= 0) & (objects[..., WEIGHT] > 0.5)
    valid &= (ix >= 0) & (ix < columns) & (iy >= 0) & (iy < rows)
    taught = valid.float()
    cell = iy.clamp(0, rows - 1).long() * columns + ix.clamp(0, columns - 1).long()
    which = (objects[..., STATE] > 1.5).long()
    centre = torch.zeros((n, 2 * rows * columns), device=output.device)
    centre.scatter_reduce_(1, which * rows * columns + cell, taught, "amax")
    centre = centre.view(n, 2, rows, columns)

    positive = -centre * (1 - p) ** 2 * log_p
    negative = -(1 - centre) * mask * (1 - heat) ** 4 * p**2 * log_q
    count = taught.sum().clamp(min=1.0)
    each = (positive + negative).sum((2, 3))
    each = each[:, 0] + FRAGMENT_WEIGHT * each[:, 1]
    centre_loss = each.sum() / count

    picked = output.flatten(2).gather(2, cell[:, None, :].expand(-1, channels, -1)).float()
    picked = picked.transpose(1, 2)
    length, width = objects[..., LENGTH].clamp(min=0.1), objects[..., WIDTH].clamp(min=0.1)
    wanted = torch.stack(
        [
            cx - ix,
            cy - iy,
            torch.log(length / TYPICAL_LENGTH_UM),
            torch.log(width / TYPICAL_WIDTH_UM),
            objects[..., COS2],
            objects[..., SIN2],
        ],
        dim=-1,
    )
    # A round object has no angle worth teaching.
    slender = ((1 - width / length).clamp(0.0, 0.5) * 2)[..., None].expand(-1, -1, 2)
    per = functional.smooth_l1_loss(picked[..., 2:8], wanted, reduction="none", beta=0.2)
    per = torch.cat([per[..., :2], per[..., 2:4] * 2.0, per[..., 4:] * slender * 0.5], dim=-1)
    shape_loss = (per * taught[..., None]).sum() / count
    spores = taught * (objects[..., STATE] < 1.5).float()
    state = functional.binary_cross_entropy_with_logits(
        picked[..., 8], objects[..., STATE].clamp(0.0, 1.0), reduction="none"
    )
    state_loss = (state * spores).sum() / spores.sum().clamp(min=1.0)
    total = centre_loss + SHAPE_WEIGHT * shape_loss + STATE_WEIGHT * state_loss
    parts = {
        "centre": centre_loss.detach(),
        "shape": shape_loss.detach(),
        "state": state_loss.detach(),
    }
    return total, parts, each.detach() / (taught.sum(1) + 4.0)
