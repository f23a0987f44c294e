"""Training tiles: random pictures, evened as photos are, with their truth in working pixels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import SEARCH_UM_PER_PX
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.clutter.registry import KINDS
from sporecount.render.compose.plan import random_compose
from sporecount.render.picture import Rendered, render
from sporecount.render.plan import PicturePlan, random_plan
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings
from sporecount.train.objects import object_rows
from sporecount.train.undecided import undecided_rows

#: People's scales are a little wrong: spread of its logarithm.
SCALE_ERROR = 0.03

#: From this scale on a spore is but ten pixels long, um per pixel.
FEW_PIXELS_UM = 1.0


@dataclass(frozen=True, eq=False)
class Tile:
    """A square of a rendered picture as the networks see it.

    Attributes
    ----------
    field : Field
        At the working scale, at least ``side`` in both directions.
    rows : ndarray, shape (n, 8), float32
        Its objects (`sporecount.train.objects`), and the litter that nobody could tell from
        a spore (`sporecount.train.undecided`).
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

    Spore-sized litter without spores, tapes thick with scales, heavy clumps, slides of damaged
    spores, spores with clear middles, black and pale ones, spores on other things and shadows
    come more often than by chance, and an eyepiece's black surround, which teaches nothing, less
    often.
    """
    if plan.light.field is not None and rng.random() < 0.75:
        plan = replace(plan, light=replace(plan.light, field=None))
    chance = np.cumsum([share for share, _ in _LESSONS])
    number = int(np.searchsorted(chance, rng.random(), side="right"))
    return _LESSONS[number][1](plan, rng) if number < len(_LESSONS) else plan


def _litter(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Strew litter of a spore's size, many kinds at once."""
    litter = [name for name, k in KINDS.items() if k.family not in ("scales", "fibres")]
    small = [name for name in litter if KINDS[name].family.startswith(("litter", "mould"))]
    names = rng.choice(small, int(rng.integers(5, 17)), replace=False).tolist()
    names += rng.choice(litter, 3, replace=False).tolist()
    return _with_more(plan, rng, names, float(np.exp(rng.uniform(np.log(10), np.log(90)))))


def _litter_alone(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Strew litter of a spore's size where there are no or few spores."""
    few = 0 if rng.random() < 0.6 else int(rng.integers(1, 6))
    plan = _litter(plan, rng)
    return replace(plan, spores=replace(plan.spores, count=few, broken=0.0))


def _thick_scales(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Cover the tape with scales."""
    scales = [name for name, k in KINDS.items() if k.family == "scales"]
    plan = _with_more(plan, rng, scales, float(rng.uniform(3, 16)))
    spores = replace(plan.spores, on_litter=float(rng.uniform(0.0, 0.6)))
    return replace(plan, spores=spores, clutter=replace(plan.clutter, over=float(rng.random())))


def _clumps(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Heap spores 3 to 6 um apart, centre to centre."""
    small = int(rng.integers(3, 12))
    spores = replace(
        plan.spores,
        count=int(np.exp(rng.uniform(np.log(15), np.log(150)))),
        damaged=0.3 * plan.spores.damaged,
        clumped=0.95,
        clump_size=(small, small + int(rng.integers(5, 60))),
        touching=1.0,
        pile=float(rng.uniform(0.4, 0.68)),
    )
    return replace(plan, spores=spores)


def _trial_slide(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Mix intact spores with many damaged ones and fragments."""
    spores = replace(
        plan.spores,
        count=int(np.exp(rng.uniform(np.log(6), np.log(50)))),
        damaged=float(rng.uniform(0.25, 0.85)),
        broken=float(rng.uniform(0.1, 0.4)),
        clumped=0.5 * plan.spores.clumped,
    )
    return replace(plan, spores=spores)


def _shadows(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Let spores throw shadows beside them, as on a card."""
    turn, far_um = rng.uniform(0.0, 2 * np.pi), rng.uniform(3.0, 12.0)
    compose = random_compose(rng, "paint", plan.um_per_px, card=True)
    compose = replace(
        compose,
        shadow=float(rng.uniform(0.15, 0.7)),
        shadow_um=(float(far_um * np.cos(turn)), float(far_um * np.sin(turn))),
    )
    count = int(np.exp(rng.uniform(np.log(4), np.log(40))))
    return replace(plan, compose=compose, spores=replace(plan.spores, count=count))


def _on_litter(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Lay spores on, under and at the rim of bubbles, pollen, flakes, scales and fibres."""
    large = [name for name, k in KINDS.items() if not k.family.startswith(("litter", "mould"))]
    names = rng.choice(large, int(rng.integers(2, 7)), replace=False).tolist()
    plan = _with_more(plan, rng, names, float(rng.uniform(3, 25)))
    spores = replace(
        plan.spores,
        count=int(np.exp(rng.uniform(np.log(4), np.log(60)))),
        on_litter=float(rng.uniform(0.5, 1.0)),
    )
    return replace(plan, spores=spores)


def _clear_middles(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Give every spore a dark rim round a clear middle, as a closed condenser does."""
    look = replace(
        plan.spores.look,
        wall_um=float(rng.uniform(0.5, 1.4)),
        wall_tone=1.0,
        core_tone=float(rng.uniform(0.02, 0.25)),
        tone=float(rng.uniform(0.35, 1.2)),
        rim=float(rng.uniform(-0.02, 0.15)),
    )
    # An emptied spore would look like the others.
    spores = replace(plan.spores, look=look, damaged=0.3 * plan.spores.damaged)
    closed = replace(
        plan.compose, closure=float(rng.uniform(0.5, 1.0)), fringe=float(rng.uniform(0.3, 2.0))
    )
    return replace(plan, spores=spores, compose=closed)


def _hard_light(plan: PicturePlan, rng: np.random.Generator) -> PicturePlan:
    """Make spores as good as black and touching, or pale in a noisy picture; fringe colours."""
    spores, camera = plan.spores, plan.camera
    if rng.random() < 0.5:
        look = replace(spores.look, tone=float(rng.uniform(0.8, 1.2)))
        spores = replace(spores, look=look, clumped=0.8, clump_size=(2, 9), touching=0.8)
    else:
        tone = max(spores.look.tone * float(rng.uniform(0.3, 0.7)), 0.12)
        spores = replace(spores, look=replace(spores.look, tone=tone))
        camera = replace(
            camera,
            shot=min(camera.shot * float(rng.uniform(1.5, 3.5)), 0.05),
            noise_grain_px=float(rng.choice([0.0, 0.6, 1.0])),
        )
    spores = replace(spores, count=int(np.exp(rng.uniform(np.log(4), np.log(60)))))
    red, blue = rng.normal(0.0, 0.7, 2), rng.normal(0.0, 0.7, 2)
    optics = replace(
        plan.optics,
        red_shift=(float(red[0]), float(red[1])),
        blue_shift=(float(blue[0]), float(blue[1])),
    )
    return replace(plan, spores=spores, camera=camera, optics=optics)


#: Shares of the tiles that teach one thing, and how; the rest stay as they were drawn.
_LESSONS: tuple[tuple[float, Callable[[PicturePlan, np.random.Generator], PicturePlan]], ...] = (
    (0.20, _litter_alone),
    (0.08, _litter),
    (0.10, _thick_scales),
    (0.09, _clumps),
    (0.16, _trial_slide),
    (0.05, _clear_middles),
    (0.06, _hard_light),
    (0.09, _on_litter),
    (0.04, _shadows),
)


def _with_more(
    plan: PicturePlan, rng: np.random.Generator, names: list[str], total: float
) -> PicturePlan:
    """Add about ``total`` objects of the kinds named, in random shares."""
    share = rng.dirichlet(np.ones(len(names)))
    # A tile holds the same number of them at any scale.
    rates = tuple((n, total * s / plan.area_mm2) for n, s in zip(names, share, strict=True))
    return replace(plan, clutter=replace(plan.clutter, per_mm2=plan.clutter.per_mm2 + rates))


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
    noise = noise_of(field.density)
    rows = object_rows(truth, xy[:, 0], xy[:, 1], noise)
    undecided = undecided_rows(field.density, rows, noise)
    return Tile(field, np.concatenate([rows, undecided]), rendered)


def draw_scale(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a camera scale, even in its logarithm, and one in five where pixels are few."""
    if high > FEW_PIXELS_UM and rng.random() < 0.2:
        low = FEW_PIXELS_UM
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def square(density: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Crop or pad (with clear ground) to a square."""
    out = np.zeros((side, side, 3), np.float32)
    part = density[:side, :side]
    out[: part.shape[0], : part.shape[1]] = part
    return out
