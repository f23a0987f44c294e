"""The usual cautions with bleach, in the order in which they matter."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Never mix bleach with ammonia, acids (vinegar, toilet cleaner) or another cleaner: "
    "it gives off poisonous gas. If fumes are strong, leave the room.",
    "Open a window. Wear gloves and eye protection. In the eye: rinse with water for many "
    "minutes and get medical help.",
    "Keep product and bath out of the reach of children and animals.",
    "Read the label: plain bleach only, without scent or thickener, and in date. What it says "
    "goes before what is said here.",
    "Make the bath fresh, in cold water, and use it the same day; dirt uses it up. "
    "Bleach spoils cloth and steel.",
    "Rules differ by place, also on how to get rid of what is left: ask your authority and your "
    "programme.",
)

#: Said beside the practices, since they conflict.
NO_RECIPE = (
    "Advice conflicts, and there is no single right bath. What is listed is what is done, not "
    "what is proven; try it on a few eggs first. Percent is household bleach by volume."
)
