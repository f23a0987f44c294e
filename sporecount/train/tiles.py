"""Training tiles: random pictures, evened as photos are, with their truth in working pixels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import SEARCH_UM_PER_PX
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.clutter.registry import KINDS
from sporecount.render.picture import Rendered, render
from sporecount.render.plan import ClutterPlan, PicturePlan, random_plan
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings
from sporecount.train.objects import object_rows

#: Camera scales of training pictures, um per pixel.
SCALES_UM_PER_PX = (0.15, 1.4)

#: People's scales are a little wrong: spread of its logarithm.
SCALE_ERROR = 0.03


@dataclass(frozen=True, eq=False)
class Tile:
    """A square of a rendered picture as the networks see it.

    Attributes
    ----------
    field : Field
        At the working scale, at least ``side`` in both directions.
    rows : ndarray, shape (n, 8), float32
        Its objects (`sporecount.train.objects`).
    rendered : Rendered
        What it was made from.
    """

    field: Field
    rows: NDArray[np.float32]
    rendered: Rendered


def draw_tile(rng: np.random.Generator, side: int, um_per_px: float, **plan_options) -> Tile:  # type: ignore[no-untyped-def]
    """Draw one tile.

    Parameters
    ----------
    rng : Generator
    side : int
        Side in working pixels.
    um_per_px : float
        Scale of the rendered photo.
    **plan_options
        Passed to `sporecount.render.plan.random_plan`.
    """
    n = int(np.ceil((side + 2) * SEARCH_UM_PER_PX / um_per_px))
    plan = lesson(random_plan(rng, (n, n), um_per_px, **plan_options), rng)
    rendered = render(plan, rng)
    return tile_of(rendered, float(np.exp(rng.normal(0.0, SCALE_ERROR))))


def lesson(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Shift a random plan towards what is hard to learn.

    Spore-sized litter and tapes thick with scales come more often than by chance, and
    an eyepiece's black surround, which teaches nothing, less often.
    """
    if plan.light.field is not None and rng.random() < 0.75:
        plan = replace(plan, light=replace(plan.light, field=None))
    kind = rng.random()
    if kind < 0.38:
        litter = [name for name, k in KINDS.items() if k.family not in ("scales", "fibres")]
        small = [name for name in litter if KINDS[name].family.startswith(("litter", "mould"))]
        names = rng.choice(small, int(rng.integers(3, 9)), replace=False).tolist()
        names += rng.choice(litter, 3, replace=False).tolist()
        total = float(np.exp(rng.uniform(np.log(10), np.log(90))))
        share = rng.dirichlet(np.ones(len(names)))
        rates = tuple((n, total * s / plan.area_mm2) for n, s in zip(names, share, strict=True))
        plan = replace(plan, clutter=replace(plan.clutter, per_mm2=plan.clutter.per_mm2 + rates))
        if rng.random() < 0.5:
            few = 0 if rng.random() < 0.6 else int(rng.integers(1, 6))
            plan = replace(plan, spores=replace(plan.spores, count=few, broken=0.0))
    elif kind < 0.5:
        scales = [name for name, k in KINDS.items() if k.family == "scales"]
        total = float(rng.uniform(3, 16))
        share = rng.dirichlet(np.ones(len(scales)))
        rates = tuple((n, total * s / plan.area_mm2) for n, s in zip(scales, share, strict=True))
        over = float(rng.random())
        plan = replace(plan, clutter=ClutterPlan(plan.clutter.per_mm2 + rates, over=over))
    return plan


def noise_of(density: NDArray[np.float32]) -> float:
    """Return the pixel noise of a picture: robust spread of its finest differences."""
    grey = density.mean(axis=2)
    fine = grey[:-1, :-1] + grey[1:, 1:] - grey[:-1, 1:] - grey[1:, :-1]
    return float(np.median(np.abs(fine))) * 1.4826 / 2.0


def tile_of(rendered: Rendered, scale_error: float = 1.0) -> Tile:
    """Even out a rendered picture, and put its truth into working pixels."""
    photo = Photo("tile", rendered.pixels, sha256="")
    calibration = Calibration(rendered.plan.um_per_px * scale_error, "rendered")
    field = make_field(photo, calibration, FieldSettings())
    truth = rendered.truth
    xy = field.to_work_px(truth[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2))
    rows = object_rows(truth, xy[:, 0], xy[:, 1], noise_of(field.density))
    return Tile(field, rows, rendered)


def draw_scale(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a camera scale, even in its logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def square(density: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Crop or pad (with clear ground) to a square."""
    out = np.zeros((side, side, 3), np.float32)
    part = density[:side, :side]
    out[: part.shape[0], : part.shape[1]] = part
    return out
