"""Teach the second look from chunks of mined candidates."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from sporecount.train.learn import tint, unpack
from sporecount.train.loss import look_loss
from sporecount.train.network import LookNet
from sporecount.train.objects import COS2, SIN2, X, Y


class Store:
    """Mined candidates, kept on the training device as bytes."""

    def __init__(self, folder: Path, device: str) -> None:
        self.folder, self.device = folder, device
        self.seen: set[str] = set()
        self.parts: list[tuple[Tensor, Tensor, Tensor, Tensor]] = []

    def refresh(self, most: int = 400) -> int:
        """Take in new chunks, at most so many at once; return the number of candidates."""
        new = [p for p in sorted(self.folder.glob("*.npz")) if p.name not in self.seen]
        for path in [p for p in new if not p.name.endswith(".tmp.npz")][:most]:
            self.seen.add(path.name)
            with np.load(path) as chunk:
                arrays = [chunk[key] for key in ("close", "around", "labels", "known")]
            self.parts.append(tuple(torch.from_numpy(a).to(self.device) for a in arrays))  # type: ignore[arg-type]
        return sum(len(part[3]) for part in self.parts)

    def batch(self, rng: np.random.Generator, size: int) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Draw candidates from several random chunks."""
        per = 64
        drawn = []
        for _ in range(size // per):
            part = self.parts[int(rng.integers(len(self.parts)))]
            pick = torch.from_numpy(rng.integers(len(part[3]), size=per)).to(self.device)
            drawn.append([tensor[pick] for tensor in part])
        return tuple(torch.cat(column) for column in zip(*drawn, strict=True))  # type: ignore[return-value]


def turn_views(
    close: Tensor, around: Tensor, labels: Tensor, which: int
) -> tuple[Tensor, Tensor, Tensor]:
    """Apply one of the eight flips and quarter turns about the candidate."""
    labels = labels.clone()
    if which & 1:
        close, around = close.flip(-1), around.flip(-1)
        labels[:, X], labels[:, SIN2] = -labels[:, X], -labels[:, SIN2]
    if which & 2:
        close, around = close.flip(-2), around.flip(-2)
        labels[:, Y], labels[:, SIN2] = -labels[:, Y], -labels[:, SIN2]
    if which & 4:
        close, around = close.transpose(-1, -2), around.transpose(-1, -2)
        labels[:, [X, Y]] = labels[:, [Y, X]]
        labels[:, COS2] = -labels[:, COS2]
    return close, around, labels


def train_look(
    folder: Path,
    out: Path,
    *,
    seconds: float,
    steps: int | None = None,
    device: str = "cuda",
    batch: int = 1024,
    rate: float = 2e-3,
    seed: int = 0,
    least: int = 20_000,
    start_from: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> nn.Module:
    """Train for a stated time (or number of steps) and save the averaged weights."""
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    store = Store(folder, device)
    while store.refresh() < least:
        time.sleep(1)
    model = LookNet().to(device).to(memory_format=torch.channels_last)
    if start_from is not None:
        model.load_state_dict(torch.load(start_from, map_location=device)["model"])
    average = copy.deepcopy(model)
    optimiser = torch.optim.AdamW(model.parameters(), lr=rate, weight_decay=3e-3)
    rng = np.random.default_rng(seed)
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    began = refreshed = time.monotonic()
    step, mean_loss = 0, None
    while True:
        now = time.monotonic()
        used = step / steps if steps is not None else (now - began) / max(seconds, 1e-9)
        if used >= 1.0:
            break
        if now - refreshed > 10:
            store.refresh(60)
            refreshed = now
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, (step + 1) / 200) * (
                0.49 * (1 + math.cos(math.pi * used)) + 0.02
            )
        close_bytes, around_bytes, labels, known = store.batch(rng, batch)
        close, around, labels = turn_views(
            unpack(close_bytes), unpack(around_bytes), labels, int(rng.integers(8))
        )
        both = int(rng.integers(2**31))
        # The same tint for both views: they show the same light.
        close = tint(close, generator.manual_seed(both)).contiguous(
            memory_format=torch.channels_last
        )
        around = tint(around, generator.manual_seed(both)).contiguous(
            memory_format=torch.channels_last
        )
        with torch.autocast(device.split(":")[0], dtype=torch.bfloat16):
            output = model(close, around)
        loss = look_loss(output, labels, known)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        decay = min(0.998, (step + 1) / (step + 20))
        with torch.no_grad():
            for mean, new in zip(average.parameters(), model.parameters(), strict=True):
                mean.lerp_(new, 1 - decay)
            for mean, new in zip(average.buffers(), model.buffers(), strict=True):
                mean.copy_(new)
        mean_loss = loss.detach() if mean_loss is None else 0.99 * mean_loss + 0.01 * loss.detach()
        if step % 500 == 0:
            kept = sum(len(part[3]) for part in store.parts)
            say(f"look step {step} at {now - began:.0f} s, {kept} candidates: {float(mean_loss):.4f}")
            torch.save({"model": average.state_dict(), "shape": {}}, out)
    torch.save({"model": average.state_dict(), "shape": {}, "steps": step}, out)
    say(f"look done after {step} steps")
    return average
