"""How the spores of one photo look: colour, density, wall, shape and size."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

#: Optical densities of red, green, blue: amber, brown, orange-red, pale amber, dark brown.
PIGMENTS = (
    (0.30, 0.70, 1.40),
    (0.50, 0.86, 1.22),
    (0.33, 0.88, 1.30),
    (0.24, 0.50, 1.0),
    (0.56, 0.80, 1.02),
)

#: How often each of them is drawn.
PIGMENT_SHARES = (0.3, 0.27, 0.16, 0.15, 0.12)


@dataclass(frozen=True)
class SporeLook:
    """What the spores of a photo share; each spore strays a little from it."""

    pigment: np.ndarray  # (3,) optical density of red, green, blue
    density: float
    density_sd: float  # of the logarithm
    hue_sd: float
    end_power: float  # 0.5 blunt ends, 1 pointed
    fullness: float  # exponent of the outline's belly
    nub: float  # how far the ends stick out
    wall: float
    wall_um: float
    length_um: float
    length_sd_um: float
    aspect: float  # width over length
    halo: float  # bright line around the outline
    core: float  # bright lens in the middle; below 0 dark
    flat: float  # 1: equally dark all over, 0: dark where thick
    grain: float
    drops: float  # pale drops and dark grains inside

    def size_um(self, rng: np.random.Generator) -> tuple[float, float]:
        """Draw the length and width of one spore."""
        length = float(np.clip(rng.normal(self.length_um, self.length_sd_um), 9, 17))
        return length, length * float(np.clip(rng.normal(self.aspect, 0.03), 0.565, 0.73))

    def own_density(self, rng: np.random.Generator) -> float:
        """Draw how much denser one spore is than the rest."""
        return float(np.exp(rng.normal(0, self.density_sd)))


def tinted(rng: np.random.Generator, pigment: np.ndarray, spread: float) -> np.ndarray:
    """Shift a pigment along amber, brown and red, never to green or pink."""
    a, b = rng.normal(0, spread, 2)
    shifted = pigment * np.exp(np.array([a * 0.8, -a * 0.3 + b * 0.4, -a * 0.5 - b * 0.6]))
    shifted[1] = max(shifted[1], 1.38 * shifted[0])
    shifted[2] = max(shifted[2], 1.22 * shifted[1])
    return shifted


def draw_look(rng: np.random.Generator, closed_condenser: bool) -> SporeLook:
    """Draw the look of a photo's spores; a closed condenser gives dark rims and bright cores."""
    family = rng.choice(5, p=PIGMENT_SHARES)
    look = SporeLook(
        pigment=tinted(rng, np.array(PIGMENTS[family]), 0.1),
        density=float(np.exp(rng.uniform(np.log(0.45), np.log(1.9)))),
        density_sd=rng.uniform(0.12, 0.45),
        hue_sd=rng.uniform(0.03, 0.1),
        end_power=rng.uniform(0.52, 0.85),
        fullness=rng.uniform(1.85, 2.3),
        nub=rng.choice([0, 0, 0.4, 0.8]),
        wall=rng.uniform(0.35, 1.3),
        wall_um=rng.uniform(0.35, 0.75),
        length_um=rng.uniform(11.2, 13.8),
        length_sd_um=rng.uniform(0.5, 1.3),
        aspect=rng.uniform(0.58, 0.72),
        halo=rng.uniform(0.02, 0.2),
        core=rng.uniform(-0.1, 0.35),
        flat=rng.uniform(0.35, 0.9),
        grain=rng.uniform(0.02, 0.2),
        drops=rng.choice([0.0, 0.0, 0.35, 0.7]),
    )
    if not closed_condenser:
        return look
    return replace(
        look,
        halo=rng.uniform(0.15, 0.4),
        core=rng.uniform(0.5, 1.2),
        wall=rng.uniform(0.9, 2.2),
        wall_um=rng.uniform(0.6, 1.1),
    )
