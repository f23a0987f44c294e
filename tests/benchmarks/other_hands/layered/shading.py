"""Turns outline and height of an object into its density."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from other_hands.layered.canvas import Canvas


def shade(
    canvas: Canvas,
    inside_um: np.ndarray,
    height: np.ndarray,
    full_height: float,
    tint: Sequence[float] | np.ndarray,
    body: float,
    wall: float = 0.0,
    wall_um: float = 0.8,
    *,
    rim: float | None = None,
    core: float = 0.0,
) -> np.ndarray:
    """Give the density (h, w, 3) of an object.

    Parameters
    ----------
    canvas
        Where it will lie.
    inside_um
        (h, w) distance to the outline, positive inside.
    height
        (h, w), in the unit of full_height.
    full_height
        Height at which the density is that of the body.
    tint
        Densities of red, green and blue relative to each other.
    body
        Density through the full height.
    wall
        Density that is added along the outline, wall_um wide.
    wall_um
        Width of the wall; never less than a canvas pixel can show.
    rim
        Grey density along the outline, of light that is bent out of the lens; of all edges on
        this photograph if None.
    core
        Light gathered in the middle.
    """
    spores = canvas.look.spores
    wall_um = max(wall_um, 0.8 * canvas.pitch_um)
    rim = spores.rim if rim is None else rim
    depth_um = np.maximum(inside_um, 0)
    full = np.clip(height / full_height, 0, 1)
    coloured = body * full + wall * np.exp(-((depth_um / wall_um) ** 2))
    rim_um = max(spores.rim_um, canvas.pitch_um)
    grey = rim * np.exp(-((depth_um / rim_um) ** 2)) - core * full**3
    density = coloured[..., None] * np.asarray(tint, np.float32) + grey[..., None]
    return density * canvas.coverage(inside_um)[..., None]
