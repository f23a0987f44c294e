"""Everything on a tape that is not a spore."""

from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.registry import FAMILIES, KINDS, draw_clutter

__all__ = ["FAMILIES", "KINDS", "ClutterKind", "draw_clutter"]
