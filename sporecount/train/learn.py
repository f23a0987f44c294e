"""Teach the networks that see whole tiles, search and glance, from a growing pool of them."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable
from pathlib import Path

import torch
from torch import Tensor, nn

from sporecount.train.develop import develop
from sporecount.train.pool import MOST_OBJECTS, Pool
from sporecount.train.vary import cut, lay_over, tint, turn, unpack

#: Wanted of a network's output, given the objects: loss, its parts, and how hard each tile was.
Loss = Callable[[Tensor, Tensor], tuple[Tensor, dict[str, Tensor], Tensor]]

#: Share of the batches that are of coarse tiles.
COARSE_SHARE = 0.75

#: Weight of the past in the averaged network, and how often it is brought up to date.
AVERAGE_DECAY, AVERAGE_EVERY = 0.99, 5

#: Steps between two reports.
SAY_EVERY = 1000

#: Steps of the warm-up of the learning rate.
WARM_STEPS = 300


class Step:
    """One step of training on batches of one shape, replayed as a whole on a GPU.

    A small network spends more time in starting its many operations than in doing
    them; a recorded graph starts them all at once.
    """

    def __init__(
        self,
        model: nn.Module,
        loss: Loss,
        optimiser: torch.optim.Optimizer,
        batch: int,
        side: int,
        device: str,
    ) -> None:
        self.model, self.loss, self.optimiser, self.device = model, loss, optimiser, device
        self.x = torch.zeros((batch, 3, side, side), device=device).contiguous(
            memory_format=torch.channels_last
        )
        self.objects = torch.zeros((batch, 2 * MOST_OBJECTS, 8), device=device)
        self.objects[..., 6] = -1.0
        self.parts: dict[str, Tensor] = {}
        self.hardness = torch.zeros(batch, device=device)
        self.graph: torch.cuda.CUDAGraph | None = None
        self.runs = 0

    def _run(self) -> None:
        with torch.autocast(self.device.split(":")[0], dtype=torch.bfloat16, cache_enabled=False):
            output = self.model(self.x * 2.0)
        loss, self.parts, self.hardness = self.loss(output, self.objects)
        loss.backward()
        nn.utils.clip_grad_norm_(self.model.parameters(), 2.0, foreach=True)
        self.optimiser.step()

    def __call__(self, x: Tensor, objects: Tensor) -> None:
        """Learn from one batch; ``parts`` and ``hardness`` tell how it went."""
        self.x.copy_(x)
        self.objects.copy_(objects)
        if self.graph is not None:
            self.graph.replay()
            return
        self.runs += 1
        if not self.device.startswith("cuda") or self.runs <= 3:
            self.optimiser.zero_grad(set_to_none=True)
            self._run()
            return
        torch.cuda.synchronize()
        self.optimiser.zero_grad(set_to_none=True)
        graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(graph):
            # Gradients are made anew inside the graph, from its own memory.
            self._run()
        self.graph = graph
        self.graph.replay()


def train(
    model: nn.Module,
    loss: Loss,
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

    ``shape``, what the network is built from, is saved beside its weights. The learning
    rate follows the share of the time used, so that a run ends annealed however fast the
    machine is.
    """
    torch.backends.cudnn.benchmark = True
    model = model.to(device)
    if start_from is not None:
        model.load_state_dict(torch.load(start_from, map_location=device)["model"])
    model = model.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    average = copy.deepcopy(model)
    on_gpu = device.startswith("cuda")
    speed = torch.tensor(rate, device=device) if on_gpu else rate
    optimiser = torch.optim.AdamW(
        model.parameters(), lr=speed, weight_decay=1e-4, capturable=on_gpu, foreach=True
    )
    pools = [Pool(folder, device, allowed) for folder in folders]
    while any(pool.refresh() < least for pool in pools):
        time.sleep(2)
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    choices = torch.Generator()
    choices.manual_seed(seed + 1)
    stages = [
        Step(model, loss, optimiser, size, pool.tiles.shape[1], device)  # type: ignore[union-attr]
        for pool, size in zip(pools, (batch, batch * 4), strict=False)
    ]
    began, step, refreshed = time.monotonic(), 0, time.monotonic()
    totals: dict[str, Tensor] = {}
    while True:
        used = (
            step / steps if steps is not None else (time.monotonic() - began) / max(seconds, 1e-9)
        )
        if used >= 1.0:
            break
        if time.monotonic() - refreshed > 15 and steps is None:
            for pool in pools:
                pool.refresh()
            refreshed = time.monotonic()
        warm = min(1.0, (step + 1) / WARM_STEPS)
        now = rate * warm * (0.5 * (1 + math.cos(math.pi * used)) * 0.99 + 0.01)
        for group in optimiser.param_groups:
            if on_gpu:
                group["lr"].fill_(now)
            else:
                group["lr"] = now
        which = int(float(torch.rand((), generator=choices)) >= COARSE_SHARE) % len(pools)
        pool, stage = pools[which], stages[which]
        numbers = pool.pick(stage.x.shape[0], generator)
        x, objects = unpack(pool.tiles[numbers]), pool.objects[numbers]  # type: ignore[index]
        x, objects = turn(x, objects, generator)
        x, objects = lay_over(x, objects, generator)
        x, objects = cut(tint(develop(x, generator), generator), objects, generator)
        stage(x, objects)
        pool.hardness[numbers] = stage.hardness  # type: ignore[index]
        step += 1
        if step % AVERAGE_EVERY == 0:
            _average(average, model, min(AVERAGE_DECAY, step / (step + 20)))
        for key, part in stage.parts.items():
            totals[key] = 0.99 * totals[key] + 0.01 * part if key in totals else part.clone()
        if step % SAY_EVERY == 0:
            text = " ".join(f"{key} {float(value):.3f}" for key, value in totals.items())
            sizes = "+".join(str(pool.size) for pool in pools)
            say(f"step {step} at {time.monotonic() - began:.0f} s, tiles {sizes}: {text}")
            torch.save({"model": average.state_dict(), "shape": shape or {}}, out)
    torch.save({"model": average.state_dict(), "shape": shape or {}, "steps": step}, out)
    say(f"done after {step} steps")
    return average


@torch.no_grad()
def _average(average: nn.Module, model: nn.Module, decay: float) -> None:
    torch._foreach_lerp_(list(average.parameters()), list(model.parameters()), 1.0 - decay)
    for mean, new in zip(average.buffers(), model.buffers(), strict=True):
        mean.copy_(new)
