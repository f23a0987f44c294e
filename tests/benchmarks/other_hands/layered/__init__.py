"""Photographs of which every object is a height field and a density, and densities add up.

Each object is an outline, a height over it and a tint. They give it a density in three colours
and an optical path; the lens carries its light to the plane in focus, and what it then shows is
added, as a density, to a supersampled canvas. Light, lens, camera and file follow.
"""

from other_hands.layered.photographer import draw
from other_hands.layered.recipe import CONDITIONS

__all__ = ["CONDITIONS", "draw"]
