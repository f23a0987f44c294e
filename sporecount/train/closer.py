"""Teach the closer network from a growing pool of crops."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from sporecount.detect.closer import CLASSES, CLOSER_UM_PER_PX, SIDE, soft_disc
from sporecount.train.closer_network import CloserNet
from sporecount.train.crops import ANGLE, CLASS, TONES, CropPool
from sporecount.train.develop import develop
from sporecount.train.vary import tint, unpack

#: Shares of a batch: intact, damaged, fragment, neither.
SHARES = (0.27, 0.31, 0.16, 0.26)

#: The search's error, as it was measured on drawn photos and a little more: of the centre
#: along x and y, um; of the long axis, rad, and how often that is anything at all.
CENTRE_UM, AXIS, AXIS_LOST = 0.6, 0.15, 0.08

#: Spread of the sizes, as a logarithm.
SIZE_SPREAD = 0.04

#: Spread of the tones beside other spores, and how often there are none to compare with.
TONE_SPREAD, TONE_LOST = 0.08, 0.15

#: Some damage can't be seen; a loss that the network could only learn by heart counts less,
#: by its own chance to this power in the end.
FORGIVENESS = 0.5

#: One crop in so many is kept back to see how it goes.
HELD_BACK = 25

AVERAGE_DECAY, AVERAGE_EVERY, SAY_EVERY, WARM_STEPS = 0.99, 5, 500, 200


def turned_windows(crops: Tensor, angle: Tensor, vary: torch.Generator | None) -> Tensor:
    """Cut the network's windows out of crops, turned to the long axis as the search sees it.

    Parameters
    ----------
    crops : Tensor, shape (n, 3, m, m)
        Optical density, upright.
    angle : Tensor, shape (n,)
        Long axes, rad.
    vary : Generator or None
        Source of errors of place, axis and size; None for none.
    """
    n, m = crops.shape[0], crops.shape[-1]
    flip = torch.ones(n, device=crops.device)
    size = torch.ones(n, device=crops.device)
    shift = torch.zeros((n, 2), device=crops.device)
    if vary is not None:
        draw = torch.rand((n, 6), generator=vary, device=crops.device)
        noise = torch.randn((n, 4), generator=vary, device=crops.device)
        angle = angle + AXIS * noise[:, 0]
        angle = torch.where(draw[:, 0] < AXIS_LOST, draw[:, 1] * torch.pi, angle)
        angle = angle + torch.pi * (draw[:, 2] < 0.5)
        flip = torch.where(draw[:, 3] < 0.5, 1.0, -1.0)
        size = torch.exp(SIZE_SPREAD * noise[:, 1])
        far = CENTRE_UM / CLOSER_UM_PER_PX * noise[:, 2:].clamp(-2.5, 2.5)
        shift = far * (2.0 / m)
    zoom = SIDE / m / size
    cos, sin = torch.cos(angle) * zoom, torch.sin(angle) * zoom
    back = torch.stack(
        [
            torch.stack([cos, -sin * flip, shift[:, 0]], dim=1),
            torch.stack([sin, cos * flip, shift[:, 1]], dim=1),
        ],
        dim=1,
    )
    grid = functional.affine_grid(back, [n, 3, SIDE, SIDE], align_corners=False)
    seen = functional.grid_sample(crops, grid, align_corners=False, padding_mode="border")
    return seen * torch.from_numpy(soft_disc()).to(seen)


def varied_tones(tones: Tensor, generator: torch.Generator) -> Tensor:
    """Make tones beside other spores less exact, or unknown."""
    n = len(tones)
    lost = torch.rand((n, 1), generator=generator, device=tones.device) < TONE_LOST
    noise = torch.randn((n, 1), generator=generator, device=tones.device) * TONE_SPREAD
    varied = torch.cat([tones[:, :-1] + noise * (tones[:, -1:] > 0), tones[:, -1:]], dim=1)
    return torch.where(lost, torch.zeros_like(varied), varied)


def closer_loss(logits: Tensor, classes: Tensor, forgiveness: float) -> Tensor:
    """Cross entropy that lets go of damage which can't be seen."""
    log_p = functional.log_softmax(logits.float(), dim=1)
    each = -log_p.gather(1, classes[:, None])[:, 0]
    power = torch.where(classes == 1, forgiveness, 0.0)
    return (each * torch.exp(-each.detach()) ** power).mean()


class _Picker:
    """Numbers of the crops of each class, some of them kept back."""

    def __init__(self, facts: NDArray[np.float32], device: str) -> None:
        number = np.arange(len(facts))
        back = number % HELD_BACK == 0
        self.taught = [
            torch.from_numpy(number[(facts[:, CLASS] == code) & ~back]).to(device)
            for code in range(len(CLASSES))
        ]
        self.held = torch.from_numpy(number[back]).to(device)
        self.classes = torch.from_numpy(facts[:, CLASS].astype(np.int64)).to(device)
        self.tones = torch.from_numpy(facts[:, TONES:].copy()).to(device)
        self.angles = torch.from_numpy(facts[:, ANGLE].copy()).to(device)

    def pick(self, batch: int, generator: torch.Generator) -> Tensor:
        parts = []
        for own, share in zip(self.taught, SHARES, strict=True):
            if len(own):
                size = (max(round(batch * share), 1),)
                at = torch.randint(len(own), size, generator=generator, device=own.device)
                parts.append(own[at])
        return torch.cat(parts)


def train_closer(
    folder: Path,
    out: Path,
    *,
    seconds: float,
    steps: int | None = None,
    device: str = "cuda",
    batch: int = 768,
    rate: float = 3e-3,
    seed: int = 0,
    shape: dict[str, int] | None = None,
    allowed: Callable | None = None,
    least: int = 4000,
    start_from: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> nn.Module:
    """Train for a stated time (or number of steps) and save the averaged weights."""
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    model: nn.Module = CloserNet(**(shape or {})).to(device)
    if start_from is not None:
        model.load_state_dict(torch.load(start_from, map_location=device)["model"])
    average = copy.deepcopy(model)
    on_gpu = device.startswith("cuda")
    optimiser = torch.optim.AdamW(model.parameters(), lr=rate, weight_decay=1e-3)
    pool = CropPool(folder, device, allowed)
    while pool.refresh() < least:
        time.sleep(2)
    picker = _Picker(pool.facts, device)
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    began = refreshed = time.monotonic()
    step, running = 0, torch.zeros((), device=device)
    while True:
        used = step / steps if steps is not None else (time.monotonic() - began) / seconds
        if used >= 1.0:
            break
        if steps is None and time.monotonic() - refreshed > 15:
            pool.refresh()
            picker = _Picker(pool.facts, device)
            refreshed = time.monotonic()
        for group in optimiser.param_groups:
            warm = min(1.0, (step + 1) / WARM_STEPS)
            group["lr"] = rate * warm * (0.5 * (1 + math.cos(math.pi * used)) * 0.99 + 0.01)
        numbers = picker.pick(batch, generator)
        x = unpack(pool.crops[numbers])  # type: ignore[index]
        x = tint(develop(x, generator), generator)
        x = turned_windows(x, picker.angles[numbers], generator)
        with torch.autocast(device.split(":")[0], dtype=torch.bfloat16, enabled=on_gpu):
            logits = model(x * 2.0, varied_tones(picker.tones[numbers], generator))
        loss = closer_loss(logits, picker.classes[numbers], FORGIVENESS * min(1.0, 3 * used))
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        running = 0.99 * running + 0.01 * loss.detach()
        if step % AVERAGE_EVERY == 0:
            _average(average, model, min(AVERAGE_DECAY, step / (step + 20)))
        if step % SAY_EVERY == 0:
            say(
                f"step {step} at {time.monotonic() - began:.0f} s, crops {pool.size}: "
                f"loss {float(running):.3f}; {_progress(average, pool, picker)}"
            )
            torch.save({"model": average.state_dict(), "shape": shape or {}}, out)
    torch.save({"model": average.state_dict(), "shape": shape or {}, "steps": step}, out)
    say(f"done after {step} steps: {_progress(average, pool, picker)}")
    return average


@torch.no_grad()
def _progress(average: nn.Module, pool: CropPool, picker: _Picker) -> str:
    """Say how often each class is called right on crops kept back, and of intact at 99 %."""
    average.eval()
    numbers = picker.held[-8192:]
    x = unpack(pool.crops[numbers])  # type: ignore[index]
    x = 2.0 * turned_windows(x, picker.angles[numbers], None)
    p = torch.softmax(average(x, picker.tones[numbers]).float(), 1)
    average.train()
    classes = picker.classes[numbers]
    right = [float((p.argmax(1) == c)[classes == c].float().mean()) for c in range(len(CLASSES))]
    odds = p[:, 1] / (p[:, 0] + p[:, 1])
    intact, damaged = odds[classes == 0], odds[classes == 1]
    if not len(intact) or not len(damaged):
        return "too few crops"
    cut = torch.quantile(intact, 0.99)
    at_99 = float((damaged > cut).float().mean())
    names = " ".join(f"{name} {r:.3f}" for name, r in zip(CLASSES, right, strict=True))
    return f"right {names}, damaged with 1 % of intact lost {at_99:.3f}"


@torch.no_grad()
def _average(average: nn.Module, model: nn.Module, decay: float) -> None:
    torch._foreach_lerp_(list(average.parameters()), list(model.parameters()), 1.0 - decay)
    for mean, new in zip(average.buffers(), model.buffers(), strict=True):
        mean.copy_(new)
