"""Teach the search network from a growing pool of tiles."""

from __future__ import annotations

import copy
import math
import queue
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from sporecount.detect.inputs import DENSITY_BOUNDS
from sporecount.train.loss import search_loss
from sporecount.train.network import SearchNet
from sporecount.train.objects import COS2, SIN2, X, Y
from sporecount.train.pool import Pool


def unpack(tiles: Tensor) -> Tensor:
    """Bytes (n, rows, columns, 3) to scaled optical density (n, 3, rows, columns)."""
    low, high = DENSITY_BOUNDS
    density = tiles.permute(0, 3, 1, 2).float() * ((high - low) / 255.0) + low
    return density * 2.0


def turn(x: Tensor, objects: Tensor, which: int) -> tuple[Tensor, Tensor]:
    """Apply one of the eight flips and quarter turns to tiles and their objects."""
    objects = objects.clone()
    side = x.shape[-1]
    if which & 1:
        x = x.flip(-1)
        objects[..., X] = side - 1 - objects[..., X]
        objects[..., SIN2] = -objects[..., SIN2]
    if which & 2:
        x = x.flip(-2)
        objects[..., Y] = side - 1 - objects[..., Y]
        objects[..., SIN2] = -objects[..., SIN2]
    if which & 4:
        x = x.transpose(-1, -2)
        objects[..., [X, Y]] = objects[..., [Y, X]]
        objects[..., COS2] = -objects[..., COS2]
    return x, objects


def tint(x: Tensor, generator: torch.Generator) -> Tensor:
    """Vary depth of tone and channel balance a little: the camera is varied already."""
    n = x.shape[0]
    draw = torch.rand((n, 6, 1, 1), generator=generator, device=x.device)
    gain = torch.exp((draw[:, :1] - 0.5) * 0.5)
    balance = torch.exp((draw[:, 1:4] - 0.5) * 0.24)
    grey = (draw[:, 4:5] < 0.06).float()
    x = x * gain * balance
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    return x + (draw[:, 5:6] - 0.5) * 0.04


class Feeder:
    """Draws batches in a thread, so that the GPU never waits for the disk."""

    def __init__(self, pools: list[Pool], shares: list[float], sizes: list[int], seed: int) -> None:
        self.pools, self.shares, self.sizes = pools, shares, sizes
        self.rng = np.random.default_rng(seed)
        self.ready: queue.Queue[tuple[Tensor, Tensor]] = queue.Queue(maxsize=6)
        self.stopped = False
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def _run(self) -> None:
        last = 0.0
        while not self.stopped:
            if time.monotonic() - last > 15:
                for pool in self.pools:
                    pool.refresh()
                last = time.monotonic()
            which = int(self.rng.choice(len(self.pools), p=self.shares))
            tiles, objects = self.pools[which].batch(self.rng, self.sizes[which])
            pair = (torch.from_numpy(tiles), torch.from_numpy(objects))
            if torch.cuda.is_available():
                pair = (pair[0].pin_memory(), pair[1].pin_memory())
            while not self.stopped:
                try:
                    self.ready.put(pair, timeout=1.0)
                    break
                except queue.Full:
                    continue


def train_search(
    folders: list[Path],
    out: Path,
    *,
    seconds: float,
    steps: int | None = None,
    device: str = "cuda",
    batch: int = 64,
    rate: float = 3e-3,
    seed: int = 0,
    shape: dict[str, int] | None = None,
    allowed: Callable | None = None,
    least: int = 512,
    start_from: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> nn.Module:
    """Train for a stated time (or number of steps) and save the averaged weights.

    The learning rate follows the share of the time used, so that a run ends annealed
    however fast the machine is.
    """
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    model = SearchNet(**(shape or {})).to(device).to(memory_format=torch.channels_last)
    if start_from is not None:
        model.load_state_dict(torch.load(start_from, map_location=device)["model"])
    average = copy.deepcopy(model)
    optimiser = torch.optim.AdamW(model.parameters(), lr=rate, weight_decay=1e-4)
    pools = [Pool(folder, allowed) for folder in folders]
    while any(pool.refresh() < least for pool in pools):
        time.sleep(2)
    shares = [0.75, 0.25][: len(pools)]
    shares = [share / sum(shares) for share in shares]
    feeder = Feeder(pools, shares, [batch, batch * 4][: len(pools)], seed)
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    turns = np.random.default_rng(seed + 1)
    began, step = time.monotonic(), 0
    totals: dict[str, Tensor] = {}
    while True:
        used = (
            step / steps if steps is not None else (time.monotonic() - began) / max(seconds, 1e-9)
        )
        if used >= 1.0:
            break
        warm = min(1.0, (step + 1) / 300)
        for group in optimiser.param_groups:
            group["lr"] = rate * warm * (0.5 * (1 + math.cos(math.pi * used)) * 0.98 + 0.02)
        tiles, objects = feeder.ready.get()
        x = unpack(tiles.to(device, non_blocking=True))
        objects = objects.to(device, non_blocking=True)
        x, objects = turn(x, objects, int(turns.integers(8)))
        x = tint(x, generator).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.split(":")[0], dtype=torch.bfloat16):
            output = model(x)
        loss, parts = search_loss(output, objects)
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
        for key, part in parts.items():
            totals[key] = 0.99 * totals[key] + 0.01 * part if key in totals else part
        if step % 500 == 0:
            tiles_seen = sum(len(u) for pool in pools for u in pool.usable)
            text = " ".join(f"{key} {float(value):.3f}" for key, value in totals.items())
            say(f"step {step} at {time.monotonic() - began:.0f} s, pool {tiles_seen}: {text}")
            torch.save({"model": average.state_dict(), "shape": shape or {}}, out)
    feeder.stopped = True
    torch.save({"model": average.state_dict(), "shape": shape or {}, "steps": step}, out)
    say(f"done after {step} steps")
    return average
