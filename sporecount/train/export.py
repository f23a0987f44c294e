"""Trained weights to ONNX files inside the package."""

from __future__ import annotations

from pathlib import Path

import torch
from torch import nn

from sporecount.train.network import SearchNet


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


def export_search(weights: Path, target: Path) -> None:
    """Write the search network, for pictures of any size that is a multiple of 8."""
    state = torch.load(weights, map_location="cpu")
    model = SearchNet(**state["shape"])
    model.load_state_dict(state["model"])
    fold_batch_norm(model)
    torch.onnx.export(
        model,
        (torch.zeros(1, 3, 64, 64),),
        target,
        input_names=["density"],
        output_names=["logits"],
        dynamic_axes={
            "density": {0: "n", 2: "rows", 3: "columns"},
            "logits": {0: "n", 2: "rows2", 3: "columns2"},
        },
        dynamo=False,
        opset_version=17,
    )
