"""Trained weights to ONNX files inside the package."""

from __future__ import annotations

from pathlib import Path

import torch
from torch import Tensor, nn

from sporecount.detect.inputs import BLOCK_PX
from sporecount.train.glance import GlanceNet
from sporecount.train.network import SearchNet, load_search


def fold_batch_norm(model: nn.Module) -> nn.Module:
    """Return the model with each batch normalisation folded into its convolution."""
    from torch.nn.utils.fusion import fuse_conv_bn_eval

    model.eval()
    for parent in model.modules():
        names = list(parent._modules)
        for first, second in zip(names, names[1:], strict=False):
            conv, norm = parent._modules[first], parent._modules[second]
            if isinstance(conv, nn.Conv2d) and isinstance(norm, nn.BatchNorm2d):
                parent._modules[first] = fuse_conv_bn_eval(conv, norm)
                parent._modules[second] = nn.Identity()
    return model


class _AsRun(nn.Module):
    """A network as it is run: blocks in, blocks out, channels last as processors like them."""

    def __init__(self, model: SearchNet | GlanceNet) -> None:
        super().__init__()
        self.model = model

    def forward(self, blocks: Tensor) -> Tensor:
        return self.model.on_blocks(blocks.permute(0, 3, 1, 2)).permute(0, 2, 3, 1)


def export_search(weights: Path, target: Path) -> None:
    """Write the search network, in floats, for fields of any size.

    Input (1, rows, columns, 48), twice the optical density of the pixels of each block
    (`sporecount.detect.inputs.blocks`), sides even; output (1, rows, columns, 36), the
    logits of the block's cells.
    """
    _export(load_search(weights), target)


def export_glance(weights: Path, target: Path) -> None:
    """Write the glance network, in floats, for fields of any size.

    Input as `export_search` has it, of the field at half the working scale; output
    (1, rows, columns, 1), the logits of the cells.
    """
    state = torch.load(weights, map_location="cpu")
    model = GlanceNet(**state["shape"])
    model.load_state_dict(state["model"])
    _export(model, target)


def _export(model: SearchNet | GlanceNet, target: Path) -> None:
    fold_batch_norm(model)
    torch.onnx.export(
        _AsRun(model),
        (torch.zeros(1, 16, 16, 3 * BLOCK_PX**2),),
        target,
        input_names=["blocks"],
        output_names=["logits"],
        dynamic_axes={
            "blocks": {1: "rows", 2: "columns"},
            "logits": {1: "rows", 2: "columns"},
        },
        dynamo=False,
        opset_version=17,
    )
