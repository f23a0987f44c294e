"""The body in space that style "solid" projects."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.look import SporeLook

Volume = NDArray[np.floating]
Keep = Callable[[Volume, Volume, Volume], Volume]
Plane = Callable[[Volume, Volume], Volume]
Warp = Callable[[Volume, Volume], tuple[Volume, Volume, Volume | None]]
BINS = 256


@dataclass(frozen=True, eq=False)
class Body:
    """A spore in space: axis along x, y across it in the plane, z towards the viewer.

    ``keep`` are signed distances (um) of what is left; ``dents`` are places, depths and
    lengths by which the radius shrinks; ``folds`` are heights, paces, slants and phases
    of ripples; ``spill`` are balls of content (x, y, z, r); ``slips`` are planes (normal
    x and y, offset) and how far (um) the two sides slid along them; ``seams`` are slabs
    whose middle shows as a dark line, and that line's strength.

    What follows is a matter of the plane alone, along and across the axis: ``warp`` tells
    where a place was before the body was bent or parted, and its distance (um) into what
    is left; ``reach_um`` is how far that may stretch the body; ``veil`` and ``filling``
    are factors on all density and on the content's; ``filled_crack`` is the density of
    what has gone. ``sheen`` and ``glint`` are light gathered by content and shell.
    """

    half_um: float
    radius_um: NDArray[np.float32]  # by place along the axis, -half to half
    shell_um: float
    tone: float
    shell_tone: float
    content_tone: float
    tilt: float
    refraction: float = 1.0
    folds: tuple[tuple[float, float, float, float], ...] = ()
    keep: tuple[Keep, ...] = ()
    dents: tuple[tuple[NDArray[np.float64], float, float], ...] = ()
    granules: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 4)))
    granule_gain: float = 0.0
    spill: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 4)))
    slips: tuple[tuple[float, float, float, float], ...] = ()
    seams: tuple[tuple[Keep, float], ...] = ()
    warp: Warp | None = None
    reach_um: float = 0.0
    veil: Plane | None = None
    filling: Plane | None = None
    filled_crack: float = 0.0
    sheen: float = 0.0
    glint: float = 0.0


def random_body(rng: np.random.Generator, look: SporeLook) -> Body:
    """Choose an intact body for a look."""
    half = 0.5 * look.length_um
    thick = half * look.slenderness
    s = np.linspace(-1.0, 1.0, BINS)
    # An ellipsoid, a spindle of circular arcs and two end cones, in shares given by the tip.
    ellipsoid = np.sqrt(1.0 - s**2)
    sag = float(rng.uniform(0.4, 0.6))
    arc = (1.0 + sag**2) / (2.0 * sag)
    spindle = (np.sqrt(arc**2 - s**2) - (arc - sag)) / sag
    cones = rng.uniform(0.1, 0.2) * np.minimum(1.0, (1.0 - np.abs(s)) / 0.10) ** 0.5
    pointed = np.maximum(spindle, cones)
    share = min(1.0, 1.25 * look.tip)
    rho = (1.0 - share) * ellipsoid + share * pointed
    rho = rho * (1.0 + look.asymmetry * s - 0.4 * look.asymmetry * s**2)
    fate = rng.random()
    tilt = rng.normal(0.0, 0.12) if fate < 0.96 else rng.normal(0.0, 0.45)
    shell = look.wall_um * 0.8
    count = int(rng.integers(3, 26)) if rng.random() < 0.6 else 0
    places = rng.normal(0.0, 0.38, (count, 3)) * (half * 0.85, thick * 0.8, thick * 0.8)
    sizes = rng.uniform(0.35, 1.1, (count, 1)) * np.sqrt(look.grain_um)
    return Body(
        half_um=half,
        radius_um=(rho / rho.max() * thick).astype(np.float32),
        shell_um=min(shell, 0.45 * thick),
        tone=look.tone,
        shell_tone=look.wall_tone,
        content_tone=look.core_tone,
        tilt=float(np.clip(tilt, -1.4, 1.4)),
        granules=np.hstack([places, sizes]),
        granule_gain=float(rng.choice((-1.0, 1.0), p=(0.35, 0.65)) * (0.15 + 1.5 * look.grain)),
    )
