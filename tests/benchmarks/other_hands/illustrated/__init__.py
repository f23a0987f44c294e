"""Photos painted as an illustrator would: outlines, gradients and textures, layer upon layer.

Then a camera's faults in image space. `draw` gives one photo with its truth.
"""

from __future__ import annotations

from other_hands.illustrated.conditions import CONDITIONS
from other_hands.illustrated.picture import draw

__all__ = ["CONDITIONS", "draw"]
