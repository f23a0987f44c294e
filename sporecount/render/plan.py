"""Every parameter of one picture, in one frozen value, and how to draw it at random."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from sporecount.render.camera import CameraPlan, random_camera
from sporecount.render.clutter.registry import KINDS
from sporecount.render.compose.plan import COMPOSITIONS, ComposePlan, random_compose
from sporecount.render.light import LightPlan, random_light
from sporecount.render.optics import OpticsPlan, random_optics
from sporecount.render.overlay import OverlayPlan, random_overlay
from sporecount.render.spores.draw import STYLES
from sporecount.render.spores.look import SporeLook, random_look


@dataclass(frozen=True)
class SporePlan:
    """Which spores lie on the tape, and how.

    Attributes
    ----------
    style : str
        Drawing style.
    look : SporeLook
        The slide's base look.
    count : int or None
        Exact number of spores in one piece with their centre in the picture;
        where None, ``per_mm2`` decides.
    per_mm2 : float
        Mean number of spores in one piece on a square millimetre.
    damaged : float
        Share of them that is damaged.
    broken : float
        Share of all spores that fell to pieces; these come on top of ``count``.
    clumped : float
        Share that lies in clusters.
    clump_size : tuple of int
        Smallest and largest cluster.
    touching, side_by_side : float
        Share of neighbours in a cluster that touch, and that lie parallel.
    pile : float
        Overlap that is let happen in a cluster, 0 (none) to 0.7 (centres 3 to 5 um apart).
    on_litter : float
        Share of the clusters, and of the spores by themselves, that lie on, under or at the
        rim of something else.
    """

    style: str = "profile"
    look: SporeLook = field(default_factory=SporeLook)
    count: int | None = None
    per_mm2: float = 50.0
    damaged: float = 0.1
    broken: float = 0.03
    clumped: float = 0.2
    clump_size: tuple[int, int] = (2, 5)
    touching: float = 0.5
    side_by_side: float = 0.4
    pile: float = 0.05
    on_litter: float = 0.0


@dataclass(frozen=True)
class ClutterPlan:
    """What else lies on the tape.

    Attributes
    ----------
    per_mm2 : tuple of (str, float)
        Mean number on a square millimetre for each kind.
    over : float
        Share that lies over the spores.
    most : int
        Greatest number of objects drawn.
    """

    per_mm2: tuple[tuple[str, float], ...] = ()
    over: float = 0.5
    most: int = 4000


@dataclass(frozen=True)
class FocusPlan:
    """How deep things lie: distances from the plane in focus, um, of both signs.

    Attributes
    ----------
    offset_um : float
        Mean of everything.
    spread_um : float
        Standard deviation from spore to spore.
    tilt_um : float
        Change from the left edge to the right one.
    clutter_spread : float
        Factor on ``spread_um`` for clutter.
    """

    offset_um: float = 0.0
    spread_um: float = 1.0
    tilt_um: float = 0.0
    clutter_spread: float = 2.0


@dataclass(frozen=True)
class PicturePlan:
    """Everything that decides a picture, apart from chance.

    Attributes
    ----------
    size_px : tuple of int
        (width, height) of the finished picture.
    um_per_px : float
        Scale of the finished picture.
    """

    size_px: tuple[int, int]
    um_per_px: float
    spores: SporePlan = field(default_factory=SporePlan)
    clutter: ClutterPlan = field(default_factory=ClutterPlan)
    focus: FocusPlan = field(default_factory=FocusPlan)
    compose: ComposePlan = field(default_factory=lambda: ComposePlan("absorb"))
    light: LightPlan = field(default_factory=LightPlan)
    optics: OpticsPlan = field(default_factory=OpticsPlan)
    camera: CameraPlan = field(default_factory=CameraPlan)
    overlay: OverlayPlan = field(default_factory=OverlayPlan)

    @property
    def area_mm2(self) -> float:
        """Area of tape that the picture shows."""
        return self.size_px[0] * self.size_px[1] * (self.um_per_px / 1000) ** 2


def random_plan(
    rng: np.random.Generator,
    size_px: tuple[int, int],
    um_per_px: float,
    leave_out: Sequence[str] = (),
) -> PicturePlan:
    """Draw a whole plan at random, wide around the plausible.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    size_px : tuple of int
        (width, height) of the finished picture.
    um_per_px : float
        Its scale.
    leave_out : sequence of str
        Spore styles, compositions, clutter families or kinds that must not occur.

    Examples
    --------
    >>> plan = random_plan(np.random.default_rng(1), (64, 48), 0.9, leave_out=["wave"])
    >>> plan.size_px, plan.compose.name != "wave"
    ((64, 48), True)
    """
    area_mm2 = size_px[0] * size_px[1] * (um_per_px / 1000) ** 2
    light = random_light(rng, (size_px[1], size_px[0]))
    weights = {"absorb": 0.4, "paint": 0.35, "wave": 0.25}
    names = [name for name in COMPOSITIONS if name not in leave_out]
    share = np.array([weights[name] for name in names])
    name = str(rng.choice(names, p=share / share.sum()))
    compose = random_compose(rng, name, um_per_px, card=light.card > 0)
    overlay = OverlayPlan()
    if rng.random() < 0.15:
        overlay = random_overlay(rng, size_px[0] * um_per_px)
    return PicturePlan(
        size_px=size_px,
        um_per_px=um_per_px,
        spores=random_spores(rng, area_mm2, leave_out),
        clutter=random_clutter(rng, area_mm2, leave_out),
        focus=random_focus(rng, compose.cone),
        compose=compose,
        light=light,
        optics=random_optics(rng),
        camera=random_camera(rng),
        overlay=overlay,
    )


def random_spores(
    rng: np.random.Generator, area_mm2: float, leave_out: Sequence[str] = ()
) -> SporePlan:
    """Draw the spores of a picture: often none, a few, or many."""
    kind = rng.random()
    if kind < 0.15:
        number = 0.0
    elif kind < 0.5:
        number = float(np.exp(rng.uniform(np.log(1), np.log(8))))
    elif kind < 0.9:
        number = float(np.exp(rng.uniform(np.log(8), np.log(60))))
    else:
        number = float(np.exp(rng.uniform(np.log(60), np.log(200))))
    heavy = rng.random() < 0.2
    low = int(rng.integers(2, 7)) if heavy else 2
    return SporePlan(
        style=str(rng.choice([style for style in STYLES if style not in leave_out])),
        look=random_look(rng),
        count=0 if number == 0 else None,
        # Above 3000 on a square millimetre they would pile up.
        per_mm2=min(number / area_mm2, 3000.0),
        damaged=float(rng.beta(0.8, 3.0)),
        broken=float(rng.beta(0.6, 6.0)) if rng.random() < 0.6 else 0.0,
        clumped=float(rng.beta(0.8, 1.6)),
        clump_size=(low, low + int(rng.integers(1, 5 if not heavy else 55))),
        touching=float(rng.beta(1.5, 1.0)),
        side_by_side=float(rng.beta(1.0, 1.0)),
        pile=float(rng.beta(1.0, 4.0) * 0.5),
    )


def random_clutter(
    rng: np.random.Generator, area_mm2: float, leave_out: Sequence[str] = ()
) -> ClutterPlan:
    """Draw the clutter of a picture: from clean to a mess, some kinds of many."""
    names = [
        name
        for name, kind in KINDS.items()
        if name not in leave_out and kind.family not in leave_out
    ]
    chosen = rng.permutation(names)[: int(rng.integers(2, max(3, len(names) // 2)))]
    level = float(np.exp(rng.normal(np.log(0.5), 1.2)))
    rates: list[tuple[str, float]] = []
    for name in chosen:
        low, high = KINDS[str(name)].usual_per_mm2
        usual = np.exp(rng.uniform(np.log(max(low, 0.1)), np.log(max(high, 0.2))))
        # A picture of a small area must hold something too: half an object at the least.
        rate = level * max(float(usual), 0.5 * float(rng.random()) / area_mm2)
        rates.append((str(name), rate))
    total = sum(rate for _, rate in rates) * area_mm2
    most = 20 + 120 * float(rng.random())
    shrink = min(1.0, most / total) if area_mm2 < 0.5 and total > 0 else 1.0
    return ClutterPlan(
        per_mm2=tuple((name, rate * shrink) for name, rate in rates),
        over=float(rng.random()),
    )


def random_focus(rng: np.random.Generator, cone: float) -> FocusPlan:
    """Draw depths so that the blur of a spore stays below about its width."""
    offset_blur_um = float(np.clip(rng.normal(0, 0.8), -2.5, 2.5))
    spread_blur_um = float(min(rng.gamma(1.2, 0.5), 2.0))
    return FocusPlan(
        offset_um=offset_blur_um / cone,
        spread_um=spread_blur_um / cone,
        tilt_um=float(rng.normal(0, 1.0) / cone) if rng.random() < 0.2 else 0.0,
        clutter_spread=float(rng.uniform(0.5, 3.0)),
    )
