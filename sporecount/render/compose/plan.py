"""How objects are laid together: the parameters of the three composers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Names of the composers.
COMPOSITIONS = ("absorb", "paint", "wave")


@dataclass(frozen=True)
class ComposePlan:
    """Parameters of a composer.

    Attributes
    ----------
    name : str
        One of ``COMPOSITIONS``.
    cone : float
        Blur radius per um of defocus: about the numerical aperture.
    kernel : str
        ``"disc"`` or ``"gauss"``: the shape of the blur (absorb).
    closure : float
        How far the condenser is closed: 0 open, 1 nearly shut.
    fringe : float
        Strength of the bright or dark rims of objects out of focus (absorb, paint).
    opacity : float
        0: colours multiply; 1: colours hide what lies below (paint).
    shadow : float
        Strength of shadows thrown on the ground (paint).
    shadow_um : tuple of float
        Where the shadow falls (paint).
    phase_rad : float
        Phase per unit of optical density (wave).
    density_gain : float
        Factor on all densities; light that passes twice doubles them.
    relief, relief_deg : float
        Oblique light: how much things glow on one side and darken on the other, and
        towards which side (absorb).
    """

    name: str
    cone: float = 0.25
    kernel: str = "gauss"
    closure: float = 0.3
    fringe: float = 0.5
    opacity: float = 0.6
    shadow: float = 0.0
    shadow_um: tuple[float, float] = (2.0, 2.0)
    phase_rad: float = 3.0
    density_gain: float = 1.0
    relief: float = 0.0
    relief_deg: float = 0.0


def random_compose(
    rng: np.random.Generator, name: str, um_per_px: float, *, card: bool
) -> ComposePlan:
    """Draw a composer's parameters at random; on a card, things throw shadows.

    Finer pictures come from objectives of higher aperture: 0.1 about 1.2 um per
    pixel, 0.65 about 0.15 (common practice, no source).
    """
    aperture = 0.16 * um_per_px**-0.65
    throws = rng.random() < (0.7 if card else 0.12)
    return ComposePlan(
        name=name,
        cone=float(np.clip(aperture * np.exp(rng.normal(0, 0.4)), 0.05, 0.8)),
        kernel="disc" if rng.random() < 0.4 else "gauss",
        closure=float(rng.beta(1.2, 1.8)),
        fringe=float(rng.gamma(1.5, 0.35)),
        opacity=float(rng.beta(1.2, 1.2)),
        shadow=float(rng.uniform(0.1, 0.7)) if throws else 0.0,
        shadow_um=(float(rng.normal(0, 4)), float(rng.normal(0, 4))),
        phase_rad=float(rng.normal(2.0, 2.0)),
        relief=float(rng.uniform(0.15, 0.8)) if rng.random() < 0.18 else 0.0,
        relief_deg=float(rng.uniform(0, 360)),
        density_gain=float(np.exp(rng.normal(0.25 if card else 0.0, 0.25))),
    )
