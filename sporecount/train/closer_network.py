"""The closer network: a small classifier of turned close-ups, optical density in, logits out."""

from __future__ import annotations

from pathlib import Path

import torch
from torch import Tensor, nn

from sporecount.detect.closer import CLASSES, SIDE, TONE_SHARES
from sporecount.train.network import _conv, _Residual


class CloserNet(nn.Module):
    """Intact, damaged, fragment or neither, of what lies in the middle of a close-up.

    Input (n, 3, SIDE, SIDE), as `sporecount.detect.closer.windows` gives it, and (n, 3), as
    `relative_tones` there does; output (n, len(CLASSES)).
    """

    def __init__(self, stem: int = 16, body: int = 32, deep: int = 48, last: int = 48) -> None:
        super().__init__()
        self.features = nn.Sequential(
            _conv(3, stem, 5, 2),
            _conv(stem, body, 3, 2),
            _Residual(body),
            _conv(body, deep, 3, 2),
            _Residual(deep),
        )
        # Each channel looks where it likes: a bite counts at the edge, a fold in the middle.
        cells = -(-SIDE // 8)
        self.look = nn.Conv2d(deep, 2 * deep, cells, groups=deep, bias=False)
        self.norm = nn.BatchNorm2d(2 * deep)
        self.join = nn.Linear(3 * deep + len(TONE_SHARES) + 1, last)
        self.out = nn.Linear(last, len(CLASSES))

    def forward(self, x: Tensor, tones: Tensor) -> Tensor:
        seen = self.features(x)
        looked = torch.relu(self.norm(self.look(seen))).flatten(1)
        joined = torch.cat([looked, seen.amax((2, 3)), tones], dim=1)
        return self.out(torch.relu(self.join(joined)))


def export_closer(weights: Path, target: Path) -> None:
    """Write the closer network, for any number of close-ups."""
    from sporecount.train.export import fold_batch_norm

    state = torch.load(weights, map_location="cpu")
    model = CloserNet(**state["shape"])
    model.load_state_dict(state["model"])
    fold_batch_norm(model)
    torch.onnx.export(
        model,
        (torch.zeros(2, 3, SIDE, SIDE), torch.zeros(2, len(TONE_SHARES) + 1)),
        target,
        input_names=["density", "tones"],
        output_names=["logits"],
        dynamic_axes={"density": {0: "n"}, "tones": {0: "n"}, "logits": {0: "n"}},
        dynamo=False,
        opset_version=17,
    )
