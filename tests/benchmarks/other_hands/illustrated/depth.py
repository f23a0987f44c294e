"""Focus: how deep things lie, how far that blurs them, and the fringes it gives them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.geometry import TAU


@dataclass(frozen=True)
class Focus:
    """Where the plane of focus lies, and how strongly light interferes.

    Depths have no unit: at 1 an outline is blurred by about 0.9 um.
    """

    um_per_px: float
    coherence: float  # strength of fringes; high with a closed condenser
    spread: float  # of depths among the things of a photo
    offset: float
    tilt: np.ndarray  # (2,) depth gained from the middle to the right and lower edge

    def depth_at(self, rng: np.random.Generator, x_px: float, y_px: float) -> float:
        """Draw the depth of one thing; a few lie far off."""
        plane = (
            self.offset
            + self.tilt[0] * (x_px / WIDTH_PX - 0.5) * 2
            + self.tilt[1] * (y_px / HEIGHT_PX - 0.5) * 2
        )
        return plane + rng.normal(0, self.spread) * (1 if rng.random() > 0.06 else 2.6)

    def blur_px(self, depth: float) -> float:
        """Spread of the blur of a thing at this depth."""
        return 0.9 * abs(depth) ** 1.25 / self.um_per_px

    def fringes(self, distance_um: np.ndarray, depth: float, strength: float) -> np.ndarray:
        """Rings along an outline that grow with defocus.

        Parameters
        ----------
        distance_um
            (height, width) distance to the outline, above 0 inside.

        Returns
        -------
        numpy.ndarray
            (height, width) optical density to add; below 0 where the ring is bright.
        """
        far = abs(depth)
        period_um = 0.9 + 1.1 * far + 0.6 * self.um_per_px
        decay_um = period_um * (0.55 + 0.5 * far)
        rings = (
            self.coherence
            * strength
            * (0.25 + 0.5 * min(far, 1.4))
            * np.cos(TAU * (distance_um + period_um * 0.45) / period_um)
            * np.exp(-np.abs(distance_um + 0.2) / decay_um)
        )
        return -rings * (0.7 if depth < 0 else 1)


def draw_focus(rng: np.random.Generator, um_per_px: float, closed_condenser: bool) -> Focus:
    """Draw the focus of a photo; a strong objective has the lesser depth of field."""
    coherence = rng.uniform(0.5, 1.1) if closed_condenser else rng.uniform(0.08, 0.45)
    spread = rng.uniform(0.15, 0.75) * (1.25 if um_per_px < 0.3 else 1.0)
    offset = rng.normal(0, 0.25) * spread
    return Focus(um_per_px, coherence, spread, offset, rng.normal(0, 0.4, 2) * spread)
