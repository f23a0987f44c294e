"""The shape of one whole spore: a lemon with tips, bends and a wall that is not quite even."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from other_hands.layered.chance import wave
from other_hands.layered.look import SporeLook

#: Lengths, and widths by length, beyond which there are no spores.
LENGTHS_UM = (9, 17)
SLENDERNESSES = (0.55, 0.75)


@dataclass(frozen=True)
class Spore:
    """What tells one spore from the next."""

    length_um: float
    width_um: float
    tip: float  # exponent of the outline: 0.5 is blunt, 1 is pointed
    fullness: float  # exponent of the position along the axis
    nipple: float  # swelling near the tips, by half the width
    bend: float  # of the axis, by half the length
    asymmetry: float  # one half wider than the other
    seed: int
    density: float  # by that of the photograph's spores
    tint: np.ndarray  # (3,) by that of the photograph's spores
    angle_rad: float

    @property
    def half_length_um(self) -> float:
        """Half the length."""
        return self.length_um / 2

    @property
    def half_width_um(self) -> float:
        """Half the width."""
        return self.width_um / 2


def draw_spore_shape(rng: np.random.Generator, look: SporeLook) -> Spore:
    """Draw one spore of those on a photograph."""
    length_um = float(np.clip(rng.normal(look.length_um, look.length_sd_um), *LENGTHS_UM))
    slenderness = float(np.clip(rng.normal(look.slenderness, 0.03), *SLENDERNESSES))
    return Spore(
        length_um=length_um,
        width_um=length_um * slenderness,
        tip=float(np.clip(rng.normal(look.tip, 0.08), 0.5, 1.0)),
        fullness=rng.uniform(1.9, 2.4),
        nipple=max(0.0, rng.normal(0.0, 0.035)),
        bend=rng.normal(0, 0.035),
        asymmetry=rng.normal(0, 0.05),
        seed=int(rng.integers(1 << 30)),
        density=float(np.exp(rng.normal(0, look.density_sd))),
        tint=np.exp(rng.normal(0, 0.032, 3)),
        angle_rad=rng.uniform(0, np.pi),
    )


def outline_and_height(
    spore: Spore, u_um: np.ndarray, v_um: np.ndarray, unevenness: float = 0.012
) -> tuple[np.ndarray, np.ndarray]:
    """Measure a whole spore.

    Parameters
    ----------
    spore
        Which one.
    u_um, v_um
        (h, w) positions along and across its axis.
    unevenness
        How much the width sways along the axis.

    Returns
    -------
    inside_um, height_um
        (h, w) float32: distance to the outline, positive inside, and height over the plane.
    """
    # By its own seed: the same spore is measured several times, whole and in pieces.
    rng = np.random.default_rng(spore.seed)
    a, b = spore.half_length_um, spore.half_width_um
    t = np.clip(u_um / a, -1.6, 1.6)
    v_um = v_um - spore.bend * a * (t * t - 0.35)
    body = np.clip(1 - np.abs(t) ** spore.fullness, 0, None)
    half_um = b * (body**spore.tip) * (1 + spore.asymmetry * t)
    swelling = np.exp(-(((np.abs(t) - 0.93) / 0.08) ** 2))
    half_um = half_um + b * spore.nipple * swelling * (np.abs(t) < 1)
    half_um = half_um * (1 + wave(rng, t * 2.4 + np.sign(v_um) * 0.7, 3, unevenness))
    # Across the axis the distance is too long where the outline is steep.
    slope = (
        b
        / a
        * spore.tip
        * spore.fullness
        * np.clip(np.abs(t), 0, 1) ** (spore.fullness - 1)
        * (body + 0.03) ** (spore.tip - 1)
    )
    inside_um = (half_um - np.abs(v_um)) / np.sqrt(1 + np.minimum(slope, 4) ** 2)
    beyond = np.minimum(inside_um, (1 - np.abs(t)) * a)
    inside_um = np.where(np.abs(t) > 1, beyond, inside_um)
    height_um = np.sqrt(np.clip(1 - (v_um / (half_um + 1e-4)) ** 2, 0, 1)) * half_um
    return inside_um.astype(np.float32), height_um.astype(np.float32)
