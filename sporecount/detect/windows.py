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
    boxes = _blocks(cells)
    before = len(boxes) + 1
    while len(boxes) < before:
        before = len(boxes)
        parts = [boxes[start : start + _AT_ONCE] for start in range(0, before, _AT_ONCE)]
        boxes = np.concatenate([boxes[:0], *(_merged(part, margin) for part in parts)])
    found = [Window(*box) for box in boxes.tolist()]
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


def _blocks(cells: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the wanted part of each block, trimmed: rows of top, left, bottom, right."""
    rows, columns = (-(-side // BLOCK_CELLS) for side in cells.shape)
    whole = np.zeros((rows * BLOCK_CELLS, columns * BLOCK_CELLS), bool)
    whole[: cells.shape[0], : cells.shape[1]] = cells
    blocks = whole.reshape(rows, BLOCK_CELLS, columns, BLOCK_CELLS)
    down = np.asarray(blocks.any(axis=3)).swapaxes(1, 2)
    across = np.asarray(blocks.any(axis=1))
    row, column = np.nonzero(across.any(axis=2))
    ends = []
    for filled, start in ((down[row, column], row), (across[row, column], column)):
        first, beyond = filled.argmax(axis=1), BLOCK_CELLS - filled[:, ::-1].argmax(axis=1)
        ends.append(np.stack([first, beyond]) + start * BLOCK_CELLS)
    (top, bottom), (left, right) = ends
    return np.stack([top, left, bottom, right], axis=1)


def _merged(boxes: NDArray[np.intp], margin: int) -> NDArray[np.intp]:
    """Join windows two by two, those first that save most; each is joined once at most."""
    top, left, bottom, right = boxes.T
    high, wide = (
        np.maximum(end[:, None], end) - np.minimum(start[:, None], start)
        for start, end in ((top, bottom), (left, right))
    )
    joined = (high + 2 * margin) * (wide + 2 * margin)
    alone = np.diagonal(joined)
    saved = np.triu(alone[:, None] + alone + _START_CELLS - joined, 1)
    one, other = np.nonzero((saved > 0) & (high <= MOST_CELLS) & (wide <= MOST_CELLS))
    order = np.argsort(-saved[one, other], kind="stable")
    partner = list(range(len(boxes)))
    for a, b in zip(one[order].tolist(), other[order].tolist()):
        if partner[a] == a and partner[b] == b:
            partner[a], partner[b] = b, a
    paired = boxes[partner]
    around = [np.minimum(boxes[:, :2], paired[:, :2]), np.maximum(boxes[:, 2:], paired[:, 2:])]
    return np.concatenate(around, axis=1)[partner >= np.arange(len(boxes))]
