"""What a kind of clutter is: a name, a family, how to draw it, how common it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sporecount.render.clutter.canvas import Picture


@dataclass(frozen=True)
class ClutterKind:
    """One kind of thing on a tape that is not a spore.

    Attributes
    ----------
    name : str
        Unique among all kinds, such as ``"air bubble"``.
    family : str
        Name of the file that draws it. Kinds of different families share no
        generator, so that one family can be left out of training as a test.
    draw : callable
        ``draw(rng, um_per_px)`` gives the optical density on a patch and the
        object's centre.
    usual_per_mm2 : tuple of float
        Plausible least and greatest number on one square millimetre of tape
        that holds this kind at all (common practice, no source).
    told_um_per_px : float
        Coarsest scale at which marks within the outline, such as cross walls, tell it from
        a spore; a spore's outline is no reason to draw it again there. 0 where it has none.
    """

    name: str
    family: str
    draw: Callable[[np.random.Generator, float], Picture]
    usual_per_mm2: tuple[float, float]
    told_um_per_px: float = 0.0
