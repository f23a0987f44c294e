"""Which parts of a field the search network is run on, from the cells that need it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Cells along the side of the blocks that windows are put together from.
BLOCK_CELLS = 12
#: Longest side of a window in cells, margin not counted: memory grows with its area.
MOST_CELLS = 56
#: What starting a run costs, in cells.
_START_CELLS = 12

#: So many windows at a time are compared, each with each.
_AT_ONCE = 256


@dataclass(frozen=True)
class Window:
    """A rectangle of cells: rows top to bottom and columns left to right, ends exclusive."""

    top: int
    left: int
    bottom: int
    right: int

    def cost(self, margin: int) -> int:
        """Return the cells that a run on it takes, with ``margin`` cells around it."""
        area = (self.bottom - self.top + 2 * margin) * (self.right - self.left + 2 * margin)
        return area + _START_CELLS

    def joined(self, other: Window) -> Window:
        """Return the smallest window around two."""
        return Window(
            min(self.top, other.top),
            min(self.left, other.left),
            max(self.bottom, other.bottom),
            max(self.right, other.right),
        )


def windows(cells: NDArray[np.bool_], margin: int) -> tuple[list[Window], NDArray[np.int32]]:
    """Cover the wanted cells with windows that cost little together.

    Parameters
    ----------
    cells : ndarray, shape (rows, columns), bool
        The cells wanted.
    margin : int
        Cells that a run needs around each window.

    Returns
    -------
    list of Window
    owner : ndarray, shape (rows, columns), int32
        Index of the one window that answers for each wanted cell; -1 for the others.

    Examples
    --------
    >>> cells = np.zeros((40, 40), bool)
    >>> cells[3:5, 4:6] = cells[30, 30] = True
    >>> [(w.top, w.left, w.bottom, w.right) for w in windows(cells, 2)[0]]
    [(3, 4, 5, 6), (30, 30, 31, 31)]
    """
    found = _blocks(cells)
    before = len(found) + 1
    while len(found) < before:
        before = len(found)
        found = [
            one
            for start in range(0, before, _AT_ONCE)
            for one in _merged(found[start : start + _AT_ONCE], margin)
        ]
    even = _even_tiles(cells)
    if sum(one.cost(margin) for one in even) < sum(one.cost(margin) for one in found):
        found = even
    owner = np.full(cells.shape, -1, np.int32)
    for number, one in enumerate(found):
        part = slice(one.top, one.bottom), slice(one.left, one.right)
        owner[part][cells[part]] = number
    return found, owner


def _even_tiles(cells: NDArray[np.bool_]) -> list[Window]:
    """Return equal tiles over all of a crowded field, without those that hold nothing wanted."""
    rows, columns = (
        np.linspace(0, side, -(-side // MOST_CELLS) + 1).round().astype(int).tolist()
        for side in cells.shape
    )
    return [
        Window(top, left, bottom, right)
        for top, bottom in zip(rows, rows[1:])
        for left, right in zip(columns, columns[1:])
        if cells[top:bottom, left:right].any()
    ]


def _blocks(cells: NDArray[np.bool_]) -> list[Window]:
    """Return the wanted part of each block, trimmed."""
    found = []
    for top in range(0, cells.shape[0], BLOCK_CELLS):
        for left in range(0, cells.shape[1], BLOCK_CELLS):
            part = cells[top : top + BLOCK_CELLS, left : left + BLOCK_CELLS]
            rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
            if len(rows):
                found.append(
                    Window(
                        top + int(rows[0]),
                        left + int(columns[0]),
                        top + int(rows[-1]) + 1,
                        left + int(columns[-1]) + 1,
                    )
                )
    return found


def _merged(found: list[Window], margin: int) -> list[Window]:
    """Join windows two by two, those first that save most; each is joined once at most."""
    box = np.array([(w.top, w.left, w.bottom, w.right) for w in found], np.int32).reshape(-1, 4)
    low = np.minimum(box[:, None, :2], box[None, :, :2])
    high = np.maximum(box[:, None, 2:], box[None, :, 2:])
    sides = high - low
    cost = np.array([w.cost(margin) for w in found])
    saved = cost[:, None] + cost[None] - (sides + 2 * margin).prod(axis=2) - _START_CELLS
    saved[(sides > MOST_CELLS).any(axis=2)] = 0
    one, other = np.nonzero(np.triu(saved, 1) > 0)
    order = np.argsort(-saved[one, other], kind="stable")
    partner: dict[int, int] = {}
    for a, b in zip(one[order].tolist(), other[order].tolist()):
        if a not in partner and b not in partner:
            partner[a], partner[b] = b, a
    return [
        window.joined(found[partner[number]]) if number in partner else window
        for number, window in enumerate(found)
        if partner.get(number, number) >= number
    ]
