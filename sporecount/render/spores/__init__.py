"""Drawings of the parasite's spores, in styles that share no looks."""

from sporecount.render.spores.draw import STATES, STYLES, draw_fragments, draw_spore
from sporecount.render.spores.look import SporeLook, random_look, vary_look

__all__ = [
    "STATES",
    "STYLES",
    "SporeLook",
    "draw_fragments",
    "draw_spore",
    "random_look",
    "vary_look",
]
