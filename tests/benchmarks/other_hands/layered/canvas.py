"""The supersampled canvas on which densities of things add up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from other_hands.layered.look import Look
from other_hands.layered.optics import through_lens

WIDTH_PX, HEIGHT_PX = 1600, 1200

#: Left, top, right, bottom in canvas pixels, the last two not included; may reach out.
Box = tuple[int, int, int, int]

#: Focus is this much wilder for a few things that lie on the other side of the tape.
WILD_SHARE, WILD_FACTOR = 0.12, 3.5

#: Windows are cut off this far outside the canvas.
MARGIN_UM = 12


@dataclass(frozen=True)
class Window:
    """A piece of the canvas: x_um, y_um (h, w) float32 relative to a centre, and its box."""

    x_um: np.ndarray
    y_um: np.ndarray
    box: Box

    def turned(self, angle_rad: float) -> tuple[np.ndarray, np.ndarray]:
        """Give positions along and across an axis that is turned from +x towards +y."""
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        return self.x_um * c + self.y_um * s, -self.x_um * s + self.y_um * c


@dataclass(frozen=True)
class DrawnSpore:
    """A spore or a piece of one as it lies on the canvas, in the order of drawing."""

    density: np.ndarray  # (h, w, 3) float16, as the lens shows it
    box: Box
    mask: np.ndarray  # (h, w) bool, where it lies
    x_um: float
    y_um: float
    length_um: float
    width_um: float
    angle_deg: float
    state: str
    damage: str
    focus_um: float


class Canvas:
    """Densities of litter and of spores, and what has been drawn."""

    def __init__(self, rng: np.random.Generator, look: Look) -> None:
        self.rng = rng
        self.look = look
        self.um_per_px = look.optics.um_per_px
        self.pitch_um = look.optics.pitch_um
        self.width_px = int(WIDTH_PX * look.optics.supersampling)
        self.height_px = int(HEIGHT_PX * look.optics.supersampling)
        self.width_um = WIDTH_PX * self.um_per_px
        self.height_um = HEIGHT_PX * self.um_per_px
        self.litter = np.zeros((self.height_px, self.width_px, 3), np.float32)
        self.spores = np.zeros((self.height_px, self.width_px, 3), np.float32)
        self.drawn: list[DrawnSpore] = []

    def window(
        self, x_um: float, y_um: float, reach_um: float, reach_y_um: float | None = None
    ) -> Window | None:
        """Open a window around a point, cut off near the canvas; None if little of it is left."""
        left, top, right, bottom = self._box(x_um, y_um, reach_um, reach_y_um)
        margin = int(MARGIN_UM / self.pitch_um) + 4
        left, right = max(left, -margin), min(right, self.width_px + margin)
        top, bottom = max(top, -margin), min(bottom, self.height_px + margin)
        if right - left < 4 or bottom - top < 4:
            return None
        return self._open((left, top, right, bottom), x_um, y_um)

    def whole_window(self, x_um: float, y_um: float, reach_um: float) -> Window:
        """Open a window around a point that is not cut off where it leaves the canvas."""
        return self._open(self._box(x_um, y_um, reach_um), x_um, y_um)

    def _box(
        self, x_um: float, y_um: float, reach_um: float, reach_y_um: float | None = None
    ) -> Box:
        """Give the box around a point, as high as it is wide unless told otherwise."""
        reach_y_um = reach_um if reach_y_um is None else reach_y_um
        return (
            int(np.floor((x_um - reach_um) / self.pitch_um)),
            int(np.floor((y_um - reach_y_um) / self.pitch_um)),
            int(np.ceil((x_um + reach_um) / self.pitch_um)) + 1,
            int(np.ceil((y_um + reach_y_um) / self.pitch_um)) + 1,
        )

    def _open(self, box: Box, x_um: float, y_um: float) -> Window:
        """Open a window over a box, its positions relative to a point."""
        left, top, right, bottom = box
        across = ((np.arange(left, right) + 0.5) * self.pitch_um - x_um).astype(np.float32)
        down = ((np.arange(top, bottom) + 0.5) * self.pitch_um - y_um).astype(np.float32)
        x, y = np.broadcast_arrays(across[None, :], down[:, None])
        return Window(x, y, box)

    def coverage(self, inside_um: np.ndarray) -> np.ndarray:
        """Give the share of each pixel that lies within an outline, by distances to it."""
        return np.clip(inside_um / self.pitch_um + 0.5, 0, 1).astype(np.float32)

    def clipped(self, box: Box) -> Box:
        """Give the part of a box that lies on the canvas."""
        left, top, right, bottom = box
        return max(left, 0), max(top, 0), min(right, self.width_px), min(bottom, self.height_px)

    def add(self, layer: np.ndarray, box: Box, density: np.ndarray) -> None:
        """Add a density (h, w, 3) to a layer where its box lies on the canvas."""
        left, top, right, bottom = self.clipped(box)
        if right <= left or bottom <= top:
            return
        rows = slice(top - box[1], bottom - box[1])
        columns = slice(left - box[0], right - box[0])
        layer[top:bottom, left:right] += density[rows, columns]

    def lay_litter(
        self,
        box: Box,
        density: np.ndarray,
        path_um: np.ndarray,
        focus_um: float | None = None,
        strength: float = 1.0,
    ) -> None:
        """Lay a piece of litter, in a focus that is drawn unless it is given."""
        if focus_um is None:
            focus_um = self.draw_focus()
        shown = self.shown(density, path_um, focus_um)
        self.add(self.litter, box, shown * strength)

    def lay_spore(self, density: np.ndarray, spore: DrawnSpore) -> None:
        """Lay a spore whose density the lens has already shaped, and remember it."""
        self.add(self.spores, spore.box, density)
        self.drawn.append(spore)

    def shown(self, density: np.ndarray, path_um: np.ndarray, focus_um: float) -> np.ndarray:
        """Give the density that the lens shows of an object."""
        return through_lens(
            self.look.optics, density.astype(np.float32), path_um.astype(np.float32), focus_um
        )

    def draw_focus(self) -> float:
        """Draw how far a thing lies from the plane in focus."""
        away_um = self.rng.normal(0, self.look.optics.focus_sd_um)
        if self.rng.random() < WILD_SHARE:
            away_um *= WILD_FACTOR
        return self.look.optics.focus_um + away_um

    def anywhere(self) -> tuple[float, float]:
        """Draw a point of the picture in micrometres."""
        return self.rng.uniform(0, self.width_um), self.rng.uniform(0, self.height_um)

    def in_field(self, x_um: float, y_um: float) -> bool:
        """Tell whether a point lies in the bright field of the eyepiece, if there is one."""
        field = self.look.eyepiece
        if field is None:
            return True
        away_px = np.hypot(x_um / self.um_per_px - field.x_px, y_um / self.um_per_px - field.y_px)
        return bool(away_px < field.radius_px * 0.965 - field.softness_px)

    def in_picture(self, x_um: float, y_um: float) -> bool:
        """Tell whether a point lies in the picture and in its bright field."""
        inside = 0 <= x_um < self.width_um and 0 <= y_um < self.height_um
        return inside and self.in_field(x_um, y_um)
