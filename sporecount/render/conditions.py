"""Named conditions under which photos are taken: plans for tests, benchmarks and samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from sporecount.errors import SettingsError
from sporecount.render.camera import CameraPlan
from sporecount.render.clutter.registry import KINDS
from sporecount.render.compose.plan import ComposePlan, random_compose
from sporecount.render.light import LightPlan, RoundField
from sporecount.render.optics import OpticsPlan
from sporecount.render.overlay import Label, OverlayPlan
from sporecount.render.plan import (
    ClutterPlan,
    FocusPlan,
    PicturePlan,
    SporePlan,
    random_clutter,
)
from sporecount.render.scatter import LONG_MARGIN_UM
from sporecount.render.spores.draw import STYLES
from sporecount.render.spores.look import SporeLook, random_look

#: Size of a picture where none is asked for.
SIZE_PX = (1000, 750)

#: Clutter that is there on nearly every tape, on a square millimetre.
USUAL_CLUTTER: tuple[tuple[str, float], ...] = (
    ("wing scale", 6.0),
    ("broken scale", 4.0),
    ("scale chip", 8.0),
    ("hair scale", 2.0),
    ("air bubble", 3.0),
    ("noise lump", 15.0),
    ("angular chip", 12.0),
    ("small ellipsoid spore", 4.0),
    ("spiny pollen", 1.0),
)

#: Those of them that are larger than a strong objective's picture.
LARGE_CLUTTER = ("wing scale", "broken scale", "hair scale", "air bubble")

_Change = Callable[[np.random.Generator, PicturePlan], PicturePlan]


def condition_plan(
    name: str, rng: np.random.Generator, size_px: tuple[int, int] = SIZE_PX
) -> PicturePlan:
    """Return a plan for a named condition, drawn at random within it.

    Parameters
    ----------
    name : str
        A key of ``CONDITIONS``.
    rng : Generator
        Source of chance.
    size_px : tuple of int
        (width, height).

    Raises
    ------
    SettingsError
        For an unknown condition.

    Examples
    --------
    >>> plan = condition_plan("4x", np.random.default_rng(1))
    >>> 1.0 <= plan.um_per_px <= 1.4
    True
    """
    if name not in CONDITIONS:
        raise SettingsError(
            f"condition {name!r}",
            "there is no such condition",
            f"take one of {', '.join(CONDITIONS)}",
        )
    low, high, change = CONDITIONS[name]
    plan = _usual(rng, size_px, float(rng.uniform(low, high)))
    return change(rng, plan)


def _usual(rng: np.random.Generator, size_px: tuple[int, int], um_per_px: float) -> PicturePlan:
    """Return a good photo of an ordinary tape, on which conditions build."""
    area_mm2 = size_px[0] * size_px[1] * (um_per_px / 1000) ** 2
    number = float(np.exp(rng.uniform(np.log(12), np.log(70))))
    look = _plain_look(rng)
    name = str(rng.choice(["absorb", "paint", "wave"], p=[0.45, 0.35, 0.2]))
    compose = random_compose(rng, name, um_per_px, card=False)
    return PicturePlan(
        size_px=size_px,
        um_per_px=um_per_px,
        spores=SporePlan(
            style=str(rng.choice(STYLES)),
            look=look,
            per_mm2=min(number / area_mm2, 2500.0),
            damaged=float(rng.uniform(0.02, 0.15)),
            broken=float(rng.uniform(0.0, 0.05)),
            clumped=float(rng.uniform(0.1, 0.35)),
            clump_size=(2, 5),
        ),
        clutter=_usual_clutter(rng, size_px, um_per_px),
        focus=FocusPlan(
            offset_um=float(rng.normal(0, 0.25) / compose.cone),
            spread_um=float(rng.uniform(0.1, 0.35) / compose.cone),
        ),
        compose=replace(compose, closure=float(rng.uniform(0.1, 0.5)), shadow=0.0),
        light=_usual_light(rng),
        optics=OpticsPlan(blur_px=float(rng.uniform(0.5, 1.0))),
        camera=_usual_camera(rng),
    )


def _usual_clutter(
    rng: np.random.Generator, size_px: tuple[int, int], um_per_px: float
) -> ClutterPlan:
    """Return what lies on nearly every tape; a scale and a dozen crumbs even on a small area."""
    level = float(np.exp(rng.normal(0, 0.3)))
    rates = []
    # Large things reach in from far outside: on a small area those few would bury it all.
    for wanted, large, edge_um in ((1.5, True, LONG_MARGIN_UM), (12.0, False, 0.0)):
        group = [(kind, rate) for kind, rate in USUAL_CLUTTER if (kind in LARGE_CLUTTER) == large]
        width_um, height_um = (n * um_per_px + 2 * edge_um for n in size_px)
        expected = width_um * height_um / 1e6 * sum(rate for _, rate in group)
        factor = level * max(1.0, wanted / expected)
        rates += [(kind, rate * factor) for kind, rate in group]
    return ClutterPlan(tuple(rates), over=0.4)


def _plain_look(rng: np.random.Generator) -> SporeLook:
    """Return amber to brown spores that a person would see at once."""
    brown = float(rng.uniform(0, 1))
    hue = (0.30 + 0.22 * brown, 0.58 + 0.17 * brown, 1.0)
    look = random_look(rng)
    return replace(
        look,
        tone=float(np.clip(look.tone, 0.4, 0.9)),
        core_tone=max(look.core_tone, 0.45),
        hue=hue,
    )


def _usual_light(rng: np.random.Generator) -> LightPlan:
    warmth = float(rng.normal(0, 0.04))
    return LightPlan(
        cast=(1.0, float(1 - abs(rng.normal(0, 0.02))), 1 - abs(warmth)),
        gradient=(float(rng.normal(0, 0.05)), float(rng.normal(0, 0.05))),
        vignette=float(rng.uniform(0.02, 0.2)),
        mottle=float(rng.uniform(0.0, 0.015)),
        mottle_px=float(rng.uniform(60, 300)),
        haze=float(rng.uniform(0.0, 0.05)),
        sensor_dust=int(rng.integers(0, 3)),
    )


def _usual_camera(rng: np.random.Generator) -> CameraPlan:
    return CameraPlan(
        exposure=float(rng.uniform(0.6, 0.85)),
        shot=float(rng.uniform(0.006, 0.02)),
        read=float(rng.uniform(0.002, 0.006)),
        noise_grain_px=float(rng.choice([0.0, 0.6])),
        gamma=float(rng.uniform(1.8, 2.3)),
        contrast=float(rng.uniform(0.95, 1.2)),
        saturation=float(rng.uniform(0.9, 1.2)),
        sharpen=float(rng.uniform(0.0, 0.7)),
        jpeg=(int(rng.integers(85, 97)),),
    )


def _as_it_is(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    return plan


def _phone(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    field = RoundField(
        radius=float(rng.uniform(0.75, 1.15)),
        centre=(float(rng.normal(0, 0.08)), float(rng.normal(0, 0.08))),
        edge_px=float(rng.uniform(2, 20)),
        fringe=float(rng.normal(0, 0.005)),
        black=float(rng.uniform(0.0, 0.02)),
    )
    optics = replace(
        plan.optics,
        corner_blur=float(rng.uniform(0.0, 1.5)),
        red_scale=1 + float(rng.normal(0, 0.001)),
        blue_scale=1 + float(rng.normal(0, 0.001)),
    )
    camera = replace(
        plan.camera, sharpen=float(rng.uniform(0.5, 1.6)), smear=float(rng.uniform(0.0, 0.5))
    )
    light = replace(plan.light, field=field)
    return replace(plan, light=light, optics=optics, camera=camera)


def _card(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    compose = random_compose(rng, str(rng.choice(["paint", "absorb"])), plan.um_per_px, card=True)
    light = replace(
        plan.light,
        card=float(rng.uniform(0.03, 0.08)),
        card_um=float(rng.uniform(6, 20)),
        haze=float(rng.uniform(0.0, 0.08)),
    )
    focus = FocusPlan(spread_um=0.25 / compose.cone)
    return replace(plan, compose=compose, light=light, focus=focus)


def _thick_scales(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    more = float(np.clip(rng.uniform(35, 90), 6 / plan.area_mm2, None))
    scales = (
        ("wing scale", more),
        ("folded scale", more / 5),
        ("broken scale", more / 2),
        ("scale chip", more),
        ("hair scale", more / 4),
    )
    return replace(plan, clutter=ClutterPlan(scales, over=0.5))


def _clumps(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    spores = replace(
        plan.spores,
        per_mm2=min(float(rng.uniform(90, 200)) / plan.area_mm2, 2500.0),
        clumped=0.95,
        clump_size=(5, 60),
        touching=float(rng.uniform(0.6, 0.95)),
        side_by_side=float(rng.uniform(0.2, 0.8)),
        pile=float(rng.uniform(0.0, 0.15)),
    )
    return replace(plan, spores=spores)


def _closed_condenser(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    compose = ComposePlan(
        name=str(rng.choice(["wave", "wave", "absorb"])),
        cone=plan.compose.cone,
        closure=float(rng.uniform(0.85, 1.0)),
        fringe=float(rng.uniform(1.0, 2.0)),
        phase_rad=float(rng.uniform(2.0, 5.0)),
    )
    side = float(rng.choice([-1.0, 1.0]))
    focus = FocusPlan(side * float(rng.uniform(3, 8)), float(rng.uniform(1, 3)))
    camera = replace(plan.camera, exposure=float(rng.uniform(0.35, 0.6)), contrast=1.2)
    return replace(plan, compose=compose, focus=focus, camera=camera)


def _chat(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    camera = replace(
        plan.camera,
        sensor_scale=float(rng.uniform(1.8, 2.4)),
        resize="area",
        sharpen=float(rng.uniform(0.3, 1.2)),
        jpeg=(int(rng.integers(85, 96)), int(rng.integers(55, 80))),
    )
    return replace(plan, camera=camera)


def _overlay(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    bar_um = 100.0 if plan.um_per_px > 0.4 else 20.0
    day, month = int(rng.integers(1, 29)), int(rng.integers(1, 13))
    labels = (
        Label(f"{bar_um:.0f} um", "bottom right", "white", 0.035, True, bar_um),
        Label(f"{day:02d}.{month:02d}.2031 14:{rng.integers(10, 60)}", "top left", "yellow", 0.045),
        Label(f"tape {rng.integers(1, 60)}", "bottom left", "black", 0.04),
    )
    return replace(plan, overlay=OverlayPlan(labels))


def _blank(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    more = random_clutter(rng, plan.area_mm2)
    level = max(1.0, 120.0 / max(1e-9, plan.area_mm2 * sum(rate for _, rate in more.per_mm2)))
    # No kind gets far beyond what is usual, or bubbles and fibres would bury the rest.
    rates = tuple(
        (name, min(rate * level, 1.5 * KINDS[name].usual_per_mm2[1])) for name, rate in more.per_mm2
    )
    clutter = ClutterPlan(plan.clutter.per_mm2 + rates, over=0.5, most=600)
    return replace(plan, spores=replace(plan.spores, count=0, broken=0.0), clutter=clutter)


def _trial(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    spores = replace(
        plan.spores,
        per_mm2=min(60.0 / plan.area_mm2, 2000.0),
        damaged=float(rng.uniform(0.25, 0.5)),
        broken=float(rng.uniform(0.2, 0.4)),
    )
    return replace(plan, spores=spores)


def _ruined_blur(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    blur_um = float(rng.uniform(11, 20))
    return replace(plan, optics=replace(plan.optics, blur_px=blur_um / plan.um_per_px))


def _ruined_motion(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    optics = replace(
        plan.optics,
        motion_px=float(rng.uniform(50, 90)) / plan.um_per_px,
        motion_deg=float(rng.uniform(0, 180)),
    )
    return replace(plan, optics=optics)


def _ruined_dark(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    camera = replace(
        plan.camera,
        exposure=float(rng.uniform(0.0015, 0.004)),
        read=0.006,
        shot=0.02,
        contrast=1.0,
        black=0.0,
    )
    return replace(plan, camera=camera)


def _ruined_glare(rng: np.random.Generator, plan: PicturePlan) -> PicturePlan:
    if rng.random() < 0.5:
        return replace(plan, camera=replace(plan.camera, exposure=float(rng.uniform(6, 12))))
    light = replace(plan.light, haze=float(rng.uniform(0.8, 1.2)), glare_spots=9, glare=2.5)
    return replace(plan, light=light, camera=replace(plan.camera, exposure=0.9))


#: Condition -> least and greatest um per pixel, and what it changes about a usual photo.
CONDITIONS: dict[str, tuple[float, float, _Change]] = {
    "4x": (1.0, 1.4, _as_it_is),
    "10x": (0.45, 0.8, _as_it_is),
    "40x": (0.15, 0.25, _as_it_is),
    "phone": (0.6, 1.2, _phone),
    "card": (0.6, 1.2, _card),
    "thick-scales": (0.5, 1.1, _thick_scales),
    "clumps": (0.45, 1.0, _clumps),
    "closed-condenser": (0.45, 0.9, _closed_condenser),
    "chat": (0.6, 1.1, _chat),
    "overlay": (0.45, 1.0, _overlay),
    "blank": (0.45, 1.1, _blank),
    "trial": (0.45, 0.8, _trial),
    "ruined-blur": (0.5, 1.1, _ruined_blur),
    "ruined-motion": (0.5, 1.1, _ruined_motion),
    "ruined-dark": (0.5, 1.1, _ruined_dark),
    "ruined-glare": (0.5, 1.1, _ruined_glare),
}

#: Conditions under which nobody could count.
RUINED: tuple[str, ...] = tuple(name for name in CONDITIONS if name.startswith("ruined"))
