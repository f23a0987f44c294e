"""Parts of a field at another size: where its spots would look like spores if they were so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import SEARCH_UM_PER_PX
from sporecount.detect.search import TYPICAL_LENGTH_UM, Candidates, search
from sporecount.detect.spots import SPORE_PX, spots
from sporecount.field.field import Field
from sporecount.scale.plausible import LEAST_SPORES
from sporecount.threads import on_threads

#: Factors on the picture's size: what scales are commonly wrong by.
FACTORS = (0.25, 0.4, 0.5, 2.0, 2.5, 4.0)

#: Heat from which on a find at another scale is taken for a spore.
SURE_HEAT = 0.75

#: Largest picture, in pixels, that is searched at another scale.
MOST_PX = 400_000

#: So many spots are looked at on each scale first, on so wide a view, pixels.
VIEWS, VIEW_PX = 16, 48

#: Working pixels per pixel of the picture that shows where most is to be seen.
_COARSE = 4


@dataclass(frozen=True)
class Part:
    """A part of the field, in working pixels, and the factor on its size it is looked at with."""

    factor: float
    top: int
    left: int
    height: int
    width: int

    def taken(self, picture: NDArray[Any], step: int = 1) -> NDArray[Any]:
        """Return the part of a picture of the whole field, of ``step`` working pixels a pixel."""
        rows, columns = (
            slice(first // step, -(-(first + side) // step))
            for first, side in ((self.top, self.height), (self.left, self.width))
        )
        return picture[rows, columns]

    def about(self, x: int, y: int) -> Part:
        """Return what is seen about a place, within the part: `VIEW_PX` wide when resized."""
        side = min(round(VIEW_PX / self.factor), self.height, self.width)
        top = min(max(y - side // 2, self.top), self.top + self.height - side)
        left = min(max(x - side // 2, self.left), self.left + self.width - side)
        return Part(self.factor, top, left, side, side)

    def resized(self, field: Field) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Return its density and what of it is examined, at the other size."""
        size = max(8, round(self.width * self.factor)), max(8, round(self.height * self.factor))
        way = cv2.INTER_AREA if self.factor < 1 else cv2.INTER_LINEAR
        density = cv2.resize(self.taken(field.density), size, interpolation=way)
        examined = cv2.resize(self.taken(field.examined).view(np.uint8), size, interpolation=0)
        return np.asarray(density, np.float32), np.asarray(examined, bool)


def sure(there: Candidates) -> NDArray[np.bool_]:
    """Return which finds are surely taken for spores."""
    return (there.spore >= SURE_HEAT) & (there.spore > there.fragment)


def parts_like_spores(field: Field) -> list[Part]:
    """Return the parts to search at another size, as some spots look like spores there.

    A few spots of each size, side by side on one sheet, cost a small part of a search. One
    that looks like a spore when smaller, or larger, speaks for all smaller, or larger, sizes.

    Parameters
    ----------
    field : Field
        The sample.

    Returns
    -------
    list of Part
        Each of `FACTORS` below 1, above 1, both or none, in their order.
    """
    rows, columns = field.examined.shape
    size = max(1, columns // _COARSE), max(1, rows // _COARSE)
    whole = field.density[: size[1] * _COARSE, : size[0] * _COARSE]
    shrunk = cv2.resize(whole, size, interpolation=cv2.INTER_AREA).reshape(*size[::-1], 3)
    coarse = np.ascontiguousarray(shrunk[..., 2], np.float32)
    parts = _liveliest(field, coarse)
    spots_of_parts = on_threads(lambda part: _spots_of(part, field, coarse), parts)
    views = [
        (part, *part.about(x, y).resized(field))
        for part, at in zip(parts, spots_of_parts)
        for x, y in at.tolist()
    ]
    if not views:
        return []
    across = math.ceil(len(views) ** 0.5)
    sheet = np.zeros((across * VIEW_PX, across * VIEW_PX, 3), np.float32)
    shown = np.zeros(sheet.shape[:2], bool)
    for number, (_, density, examined) in enumerate(views):
        top, left = (VIEW_PX * at for at in divmod(number, across))
        high, wide = (min(side, VIEW_PX) for side in examined.shape)
        sheet[top : top + high, left : left + wide] = density[:high, :wide]
        shown[top : top + high, left : left + wide] = examined[:high, :wide]
    there = search(sheet, shown, SURE_HEAT)
    column, row = np.clip(np.rint(there.xy_work[sure(there)]) // VIEW_PX, 0, across - 1).T
    hit = set((row * across + column).astype(int).tolist())
    smaller = {part.factor < 1 for number, (part, *_) in enumerate(views) if number in hit}
    return [part for part in parts if (part.factor < 1) in smaller]


def _spots_of(part: Part, field: Field, coarse: NDArray[np.float32]) -> NDArray[np.intp]:
    """Return spots of each strength, (k, 2) in working pixels; none where they are too few."""
    zoom = part.factor * SPORE_PX * SEARCH_UM_PER_PX / TYPICAL_LENGTH_UM
    size = max(1, round(part.width * zoom)), max(1, round(part.height * zoom))
    if zoom * _COARSE > 1:
        blue = cv2.extractChannel(part.taken(field.density), 2)
        small = cv2.resize(blue, size, interpolation=cv2.INTER_LINEAR)
    else:
        small = cv2.resize(part.taken(coarse, _COARSE), size, interpolation=cv2.INTER_AREA)
    at = spots(np.asarray(small, np.float32).reshape(size[::-1]))
    at = ((at + 0.5) * (part.width / size[0], part.height / size[1])).astype(int)
    at += (part.left, part.top)
    at = at[field.examined[at[:, 1], at[:, 0]]]
    if len(at) < LEAST_SPORES:
        return at[:0]
    # From the darkest to the palest: litter may be either.
    return at[((np.arange(VIEWS) + 0.5) * (len(at) / VIEWS)).astype(int)]


def _liveliest(field: Field, coarse: NDArray[np.float32]) -> list[Part]:
    """Return, for each of `FACTORS`, the part of the field where most is to be seen."""
    rows, columns = field.examined.shape
    high, wide = coarse.shape
    examined = field.examined[::_COARSE, ::_COARSE][:high, :wide]
    seen = ((coarse > 0.08) & examined).view(np.uint8)
    # Spots in their number, not the area of one wing scale: edges count.
    total = cv2.integral(cv2.morphologyEx(seen, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)))
    parts = []
    for factor in FACTORS:
        side = int(MOST_PX**0.5 / factor)
        height, width = min(rows, side), min(columns, side)
        top = left = 0
        if (height, width) != (rows, columns):
            h, w = (min(max(1, n // _COARSE), most) for n, most in ((height, high), (width, wide)))
            sums = total[h:, w:] - total[:-h, w:] - total[h:, :-w] + total[:-h, :-w]
            y, x = np.unravel_index(int(np.argmax(sums)), sums.shape)
            top = min(_COARSE * int(y), rows - height)
            left = min(_COARSE * int(x), columns - width)
        parts.append(Part(factor, top, left, height, width))
    return parts
