"""What a spore looks like, apart from how a style draws it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

Hue = tuple[float, float, float]

# Shares of the peak density taken from red, green and blue. No published spectra:
# chosen by eye around amber, with neighbours on all sides of it.
_HUES: tuple[tuple[float, Hue], ...] = (
    (0.37, (0.32, 0.60, 1.00)),  # amber
    (0.18, (0.48, 0.72, 1.00)),  # brown
    (0.10, (0.66, 0.82, 1.00)),  # grey-brown
    (0.10, (0.30, 0.71, 1.00)),  # reddish
    (0.07, (0.34, 1.00, 0.88)),  # rose
    (0.06, (0.52, 0.58, 1.00)),  # olive
    (0.05, (0.16, 0.38, 1.00)),  # yellow
    (0.05, (0.90, 0.95, 1.00)),  # nearly neutral
)

LENGTH_RANGE_UM = (9.0, 17.0)
SLENDERNESS_RANGE = (0.52, 0.77)
TONE_RANGE = (0.12, 1.2)


@dataclass(frozen=True)
class SporeLook:
    """The looks of one spore, read by every style in its own way.

    Attributes
    ----------
    length_um : float
        Tip to tip, 9 to 17.
    slenderness : float
        Width over length, 0.52 to 0.77 and mostly 0.55 to 0.75.
    tip : float
        0 for a rounded ellipse, 1 for a lemon with nipple-like ends.
    wall_um : float
        Thickness of the wall as it shows.
    wall_tone, core_tone : float
        Density of wall and core; the larger of the two is 1.
    tone : float
        Optical density at the darkest place in the most absorbed colour.
    hue : tuple of float
        Optical density of red, green and blue; the largest is 1.
    grain : float
        Amplitude of the texture inside, as a share of the density.
    grain_um : float
        Size of that texture's spots.
    rim : float
        Optical density of the halo about the outline: positive is bright.
    asymmetry : float
        How much fuller one end is than the other, -1 to 1.
    bend : float
        Sag of the long axis as a share of the length; negative bends the other way.
    """

    length_um: float = 13.0
    slenderness: float = 0.64
    tip: float = 0.5
    wall_um: float = 0.8
    wall_tone: float = 1.0
    core_tone: float = 0.6
    tone: float = 0.5
    hue: Hue = (0.32, 0.60, 1.00)
    grain: float = 0.1
    grain_um: float = 1.0
    rim: float = 0.03
    asymmetry: float = 0.0
    bend: float = 0.0


def random_look(rng: np.random.Generator) -> SporeLook:
    """Return the base look of one slide.

    Parameters
    ----------
    rng : Generator
        Source of chance.

    Returns
    -------
    SporeLook
        Somewhere around the plausible middle, or beyond it.

    Examples
    --------
    >>> look = random_look(np.random.default_rng(1))
    >>> 9 <= look.length_um <= 17
    True
    """
    wall, core = _random_wall_and_core(rng)
    return SporeLook(
        length_um=_clipped(rng.normal(13.0, 1.5), LENGTH_RANGE_UM),
        slenderness=_clipped(rng.normal(0.645, 0.045), (0.55, 0.75)),
        tip=float(rng.beta(1.3, 1.2)),
        wall_um=float(np.exp(rng.uniform(np.log(0.4), np.log(1.6)))),
        wall_tone=wall,
        core_tone=core,
        tone=_seen_tone(float(np.exp(rng.normal(np.log(0.45), 0.5))), core),
        hue=_random_hue(rng),
        grain=float(rng.beta(1.2, 4.0) * 0.6),
        grain_um=float(np.exp(rng.uniform(np.log(0.5), np.log(2.5)))),
        rim=_clipped(rng.normal(0.02, 0.05), (-0.11, 0.16)),
        asymmetry=_clipped(rng.normal(0.0, 0.08), (-0.25, 0.25)),
        bend=_clipped(rng.normal(0.0, 0.015), (-0.05, 0.05)),
    )


def vary_look(rng: np.random.Generator, look: SporeLook) -> SporeLook:
    """Return the look of one spore among the others of its slide.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    look : SporeLook
        The slide's base look.

    Returns
    -------
    SporeLook
        The base look, changed as one spore differs from the next.
    """
    wall = look.wall_tone * float(np.exp(rng.normal(0.0, 0.12)))
    core = max(0.03, look.core_tone * float(np.exp(rng.normal(0.0, 0.15))) + rng.normal(0.0, 0.04))
    peak = max(wall, core)
    return replace(
        look,
        length_um=_clipped(look.length_um * rng.normal(1.0, 0.065), LENGTH_RANGE_UM),
        slenderness=_clipped(look.slenderness + rng.normal(0.0, 0.03), SLENDERNESS_RANGE),
        tip=_clipped(look.tip + rng.normal(0.0, 0.12), (0.0, 1.0)),
        wall_um=_clipped(look.wall_um * float(np.exp(rng.normal(0.0, 0.12))), (0.3, 1.9)),
        wall_tone=wall / peak,
        core_tone=core / peak,
        tone=_seen_tone(look.tone * float(np.exp(rng.normal(0.0, 0.18))), core / peak),
        hue=_shifted_hue(rng, look.hue, 0.04),
        grain=_clipped(look.grain * float(np.exp(rng.normal(0.0, 0.3))), (0.0, 0.6)),
        grain_um=_clipped(look.grain_um * float(np.exp(rng.normal(0.0, 0.15))), (0.4, 3.0)),
        rim=_clipped(look.rim + rng.normal(0.0, 0.015), (-0.12, 0.18)),
        asymmetry=_clipped(look.asymmetry + rng.normal(0.0, 0.06), (-0.3, 0.3)),
        bend=_clipped(look.bend + rng.normal(0.0, 0.015), (-0.06, 0.06)),
    )


def _random_wall_and_core(rng: np.random.Generator) -> tuple[float, float]:
    """Choose a dark wall about a lighter core, an even body, or a dark core."""
    kind = rng.random()
    if kind < 0.60:
        wall, core = 1.0, rng.uniform(0.35, 0.85)
    elif kind < 0.72:
        wall, core = 1.0, rng.uniform(0.12, 0.35)
    else:
        wall, core = rng.uniform(0.45, 1.05), 1.0
    peak = max(wall, core)
    return float(wall / peak), float(core / peak)


def _random_hue(rng: np.random.Generator) -> Hue:
    shares = np.array([share for share, _ in _HUES])
    base = _HUES[int(rng.choice(len(_HUES), p=shares / shares.sum()))][1]
    return _shifted_hue(rng, base, 0.12)


def _shifted_hue(rng: np.random.Generator, hue: Hue, spread: float) -> Hue:
    red, green, blue = np.asarray(hue) * np.exp(rng.normal(0.0, spread, 3))
    if hue[1] > hue[2]:
        # Rose: green is the most absorbed, and blue not much less.
        return float(min(red, 0.55)), 1.0, float(min(max(blue, 0.7), 0.99))
    # Blue stays the most absorbed and green lies between: no blue or green spores.
    red = min(red, 0.93)
    green = min(max(green, 1.03 * red), 0.53 + 0.46 * red)
    return float(red), float(green), 1.0


def _seen_tone(tone: float, core_tone: float) -> float:
    """Keep a spore with a clear core from passing for an emptied one."""
    faintest = TONE_RANGE[0] if core_tone > 0.45 else 0.32
    return _clipped(tone, (faintest, TONE_RANGE[1]))


def _clipped(value: float, bounds: tuple[float, float]) -> float:
    return float(min(max(value, bounds[0]), bounds[1]))
