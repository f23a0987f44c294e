"""Where to take the photos of a slide: spread over the tape, not chosen by eye."""

from __future__ import annotations

import math
import random

#: Side of the tape, mm (common practice, no source).
SIDE_MM = 10.0

#: Kept free along the edge, so that a photo lies on the tape whole, mm.
EDGE_MM = 0.5

#: Few photos say little of how spores lie on a slide (common practice, no source).
LEAST_PHOTOS = 4


def photos_for(spores_per_slide: int, spores_per_photo: float) -> int:
    """Return how many photos of a slide are planned to reach a number of spores.

    Parameters
    ----------
    spores_per_slide : int
        Spores wanted.
    spores_per_photo : float
        What a photo usually shows, above 0.

    Examples
    --------
    >>> photos_for(50, 9), photos_for(10, 40)
    (6, 4)
    """
    return max(LEAST_PHOTOS, math.ceil(spores_per_slide / spores_per_photo))


def places(photos: int, draw: random.Random, side_mm: float = SIDE_MM) -> list[tuple[float, float]]:
    """Return places for the photos of one slide.

    The tape, without its edge, is parted into as many fields, alike in area, and the photo
    lies at the same random point of each: every place has the same chance, and none is near
    another.

    Parameters
    ----------
    photos : int
        How many, 1 or more.
    draw : random.Random
        Where chance comes from.
    side_mm : float
        Side of the tape.

    Returns
    -------
    list of (float, float)
        mm to the right of and down from the top left corner of the tape, row by row.

    Examples
    --------
    >>> spots = places(5, random.Random(1))
    >>> len(spots), all(0.5 <= x <= 9.5 and 0.5 <= y <= 9.5 for x, y in spots)
    (5, True)
    """
    inner = side_mm - 2 * EDGE_MM
    rows = max(1, round(math.sqrt(photos)))
    in_row = [photos * (row + 1) // rows - photos * row // rows for row in range(rows)]
    across, down = draw.random(), draw.random()
    spots, top = [], 0.0
    for columns in in_row:
        high = inner * columns / photos  # so that all fields have the same area
        spots += [
            (
                round(EDGE_MM + (column + across) * inner / columns, 1),
                round(EDGE_MM + top + down * high, 1),
            )
            for column in range(columns)
        ]
        top += high
    return spots


def place_words(place: tuple[float, float]) -> str:
    """Return a place as a person finds it.

    Examples
    --------
    >>> place_words((2.5, 7.0))
    '2.5 mm right, 7 mm down'
    """
    return f"{place[0]:g} mm right, {place[1]:g} mm down"
