"""What one photo is painted on and with: picture, scale, light, focus, spores so far."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from other_hands.illustrated.background import adhesive, lamp_light
from other_hands.illustrated.card import card_light
from other_hands.illustrated.conditions import HEIGHT_PX, SCALES, WIDTH_PX
from other_hands.illustrated.depth import Focus, draw_focus
from other_hands.illustrated.floor import Floor
from other_hands.illustrated.geometry import TAU, rotated
from other_hands.illustrated.look import SporeLook, draw_look


@dataclass(frozen=True)
class Pose:
    """Where a thing lies, and how it is turned (from +x towards +y)."""

    x_px: float
    y_px: float
    angle_rad: float = 0.0

    def place(self, points_um: np.ndarray, um_per_px: float) -> np.ndarray:
        """Points about the thing's middle, in um, as pixels of the picture."""
        return rotated(points_um, self.angle_rad) / um_per_px + [self.x_px, self.y_px]


@dataclass(frozen=True)
class Eyepiece:
    """The round field that a phone sees."""

    x_px: float
    y_px: float
    radius_px: float
    edge_px: float  # how soft its edge is

    def holds(self, x_px: float, y_px: float) -> bool:
        """Whether a place is well inside the field."""
        return math.hypot(x_px - self.x_px, y_px - self.y_px) < self.radius_px * 0.955


@dataclass(frozen=True)
class CardLamp:
    """Light from above, for a tape on a card."""

    direction_rad: float  # where shadows fall
    shadow: float
    shadow_um: float
    contrast: float  # scattered light takes the rest


@dataclass
class PaintedSpore:
    """A spore, or a fragment of one, as it was painted; `uncovered` falls as things cover it."""

    x_px: float
    y_px: float
    length_um: float
    width_um: float
    angle_deg: float
    state: str
    damage: str
    blur_px: float
    box: tuple[int, int, int, int]  # left, top, right, bottom of its layer on the picture
    transmission: np.ndarray  # (height, width, 3)
    cover: np.ndarray  # (height, width) share of each pixel that it takes
    area_px: float  # its whole area, with what lies outside the picture
    uncovered: np.ndarray  # (height, width) share of each pixel that nothing hides


@dataclass
class Scene:
    """One photo while it is painted; `picture` is linear light, (height, width, 3) float32."""

    rng: np.random.Generator
    condition: str
    um_per_px: float
    look: SporeLook
    focus: Focus
    lamp: CardLamp
    eyepiece: Eyepiece | None
    picture: np.ndarray
    floor: Floor
    spores: list[PaintedSpore] = field(default_factory=list)

    @property
    def on_card(self) -> bool:
        """Whether the tape lies on a card and is lit from above."""
        return self.condition == "card"

    @property
    def closed_condenser(self) -> bool:
        """Whether light comes through a narrow opening."""
        return self.condition == "condenser"

    @property
    def area_um2(self) -> float:
        """Area of the picture."""
        return WIDTH_PX * self.um_per_px * HEIGHT_PX * self.um_per_px

    def in_field(self, x_px: float, y_px: float) -> bool:
        """Whether a place lies in the round field, if there is one."""
        return self.eyepiece is None or self.eyepiece.holds(x_px, y_px)

    def anywhere(self, margin_px: float = 0) -> tuple[float, float]:
        """Draw a place at least `margin_px` inside the picture, or outside it if below 0."""
        while True:
            x = self.rng.uniform(margin_px, WIDTH_PX - 1 - margin_px)
            y = self.rng.uniform(margin_px, HEIGHT_PX - 1 - margin_px)
            if self.in_field(x, y):
                return x, y

    def depth_at(self, x_px: float, y_px: float) -> float:
        """Draw the depth of one thing."""
        return self.focus.depth_at(self.rng, x_px, y_px)


def set_up(rng: np.random.Generator, condition: str) -> Scene:
    """Draw all that the things of a photo share, and its empty background."""
    lowest, highest = SCALES[condition]
    um_per_px = float(np.exp(rng.uniform(np.log(lowest), np.log(highest))))
    closed = condition == "condenser"
    look = draw_look(rng, closed)
    focus = draw_focus(rng, um_per_px, closed)
    direction, shadow, shadow_um = rng.uniform(0, TAU), rng.uniform(0.25, 0.6), rng.uniform(1.5, 7)
    eyepiece = _draw_eyepiece(rng) if condition == "phone" else None
    light = card_light(rng, um_per_px, direction) if condition == "card" else lamp_light(rng)
    picture = (light * adhesive(rng, um_per_px)[..., None]).astype(np.float32)
    lamp = CardLamp(direction, shadow, shadow_um, contrast=rng.uniform(0.6, 0.95))
    floor = Floor(um_per_px)
    return Scene(rng, condition, um_per_px, look, focus, lamp, eyepiece, picture, floor)


def _draw_eyepiece(rng: np.random.Generator) -> Eyepiece:
    radius = rng.uniform(520, 900)
    x, y = WIDTH_PX / 2 + rng.normal(0, 90), HEIGHT_PX / 2 + rng.normal(0, 60)
    return Eyepiece(x, y, radius, edge_px=rng.uniform(1.5, 14))
