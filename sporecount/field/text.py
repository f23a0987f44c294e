"""Burned-in text and scale bars.

Software draws them after the lens: in one flat colour, pure black, white or vivid, in
strokes of one width, several signs of like height on one base line, or as an exact level
bar; near the upper or lower edge. Dark scales, crumbs and their bright rims have one or
two of these traits, not all.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from sporecount.threads import on_threads

#: Long side of the copy on which text is sought, pixels: legible text is larger than this loses.
_LONG_SIDE = 2000
#: A picture with a side below this is no photo.
_LEAST_SIDE = 32
#: Marks lie within this share of the picture's height from the upper or lower edge.
_BAND_SHARE = 0.25
#: Levels of pure black and white, and spread between channels of a vivid colour.
_BLACK, _WHITE, _VIVID = 26, 242, 165
#: How much white ink stands out from the ground around it.
_WHITE_STEP = 12
#: Every how manieth pixel tells the brightness of the ground.
_GROUND_STEP = 4
#: Below this long side letters are thin, and JPEG has washed out their colour.
_SMALL_SIDE = 1400
#: Heights of letters: from this many pixels up to this share of the shorter side.
_LETTER_PX, _LETTER_SHARE = 7, 0.09
#: Letters below this height are hard to tell from specks: more of them are asked for.
_CLEAR_LETTER_PX, _LEAST_LETTERS, _LEAST_SMALL_LETTERS = 12, 3, 4
#: So many letters are writing even where their ground changes: the share kept where they
#: stand out from it by more than a step, and by less.
_MANY_LETTERS, _BOLD_STEP, _BOLD_EVEN, _FAINT_EVEN = 6, 90.0, 0.25, 0.5
#: How far base lines may differ, as a share of the height and in pixels, and for how many.
_LEVEL_SHARE, _LEVEL_PX, _LEVEL_LETTERS = 0.06, 1.0, 0.65
#: Least and greatest width of a stroke as a share of the height, and how far widths may differ.
_THIN_SHARE, _STROKE_SHARE, _STROKE_SPREAD = 0.13, 0.36, 0.22
#: The ground close around a mark begins beyond the soft edge of the ink, pixels.
_SOFT_EDGE_PX, _GROUND_PX = 2, 2
#: Least step from ink to ground, and the share of it that the ground keeps all around.
_LEAST_STEP, _EVEN_SHARE, _EVEN_PERCENTILE = 12.0, 0.8, 20
#: Fewer pixels of an ink than this are no writing, and of a piece no part of any.
_LEAST_INK, _LEAST_PIECE = 30, 6
#: Shortest bar as a share of the long side; share of its box that a bar fills, and of the step
#: to the ground that both sides keep; least step; share of a side that other ink may touch.
_BAR_SHARE, _BAR_FILL, _BAR_EVEN, _BAR_STEP, _BAR_TOUCHED = 0.03, 0.75, 0.7, 25.0, 0.1
#: A picture has one bar or two; more are the lines of a ruling.
_MOST_BARS = 2
#: Candidates beyond this number are not looked at: so many specks are not text.
_MOST_LETTERS = 1500

Box = tuple[float, float, float, float]


def find_text(pixels: NDArray[np.uint8]) -> list[Box]:
    """Find marks that software has drawn into a photo.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        The photo.

    Returns
    -------
    list of tuple of float
        Boxes (left, top, right, bottom) in photo pixels, margin included; right and
        bottom are exclusive.
    """
    height, width = pixels.shape[:2]
    if min(height, width) < _LEAST_SIDE:
        return []
    step = max(round(max(height, width) / _LONG_SIDE), 1)
    # Every step-th pixel, not an average: averaging would grey the pure colours.
    deep = min(-(-round(_BAND_SHARE * height) // step) * step, height)

    def search(start: int) -> list[Box]:
        band = _every(pixels[start : start + deep], step)
        return [
            (
                float(max(left, 0) * step),
                float(max(start + top * step, 0)),
                float(min(right * step, width)),
                float(min(start + bottom * step, height)),
            )
            for left, top, right, bottom in _marks(band, max(height, width) // step)
        ]

    above, below = on_threads(search, (0, height - deep))
    return above + below


def _every(pixels: NDArray[np.uint8], step: int) -> NDArray[np.uint8]:
    """Take every step-th pixel; the last rows and columns may be left out."""
    if step == 1:
        return pixels
    rows, columns = (max(side // step, 1) for side in pixels.shape[:2])
    whole = pixels[: rows * step, : columns * step]
    # OpenCV takes the top left pixel of each block, and is faster than slicing.
    small = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_NEAREST)
    return np.asarray(small, np.uint8).reshape(rows, columns, *pixels.shape[2:])


def _marks(band: NDArray[np.uint8], long_side: int) -> list[Box]:
    """Find lines of writing, bars and the boxes behind them in one band of the picture."""
    marks: list[Box] = []
    grounds: list[Box] = []
    for ink, strength in _inks(band, long_side):
        pieces = _pieces(ink)
        bars = _bars(ink, strength, pieces, long_side)
        marks += bars if len(bars) <= _MOST_BARS else []
        marks += _lines(ink, strength, pieces)
        grounds += _label_boxes(ink, pieces)
    return marks + [box for box in grounds if any(_holds(box, mark) for mark in marks)]


def _inks(
    band: NDArray[np.uint8], long_side: int
) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    """Return masks of black, white and vivid ink, each with the picture it was taken from.

    A mask that fills half the picture is no ink and comes back empty.
    """
    red, green, blue = cv2.split(band)
    top = cv2.max(cv2.max(red, green), blue)
    low = np.asarray(cv2.min(cv2.min(red, green), blue), np.uint8)
    spread = np.asarray(cv2.subtract(top, low), np.uint8)
    inks = [
        ((top < _BLACK).view(np.uint8), np.asarray(cv2.bitwise_not(top), np.uint8)),
        (_white(low).view(np.uint8), low),
        ((spread > _VIVID).view(np.uint8), spread),
    ]
    if long_side < _SMALL_SIDE:
        inks.append((_odd_colour(band), spread))
    full = 0.5 * top.size
    return [(m if cv2.countNonZero(m) < full else np.zeros_like(m), s) for m, s in inks]


def _white(low: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Pixels that are white and stand out from the ground around them."""
    white = np.asarray(low > _WHITE)
    if not white.any():
        return white
    around = cv2.resize(_every(low, _GROUND_STEP), (16, 4), interpolation=cv2.INTER_AREA)
    around = cv2.resize(cv2.blur(around, (3, 3)), low.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return white & (np.asarray(cv2.subtract(low, around)) > _WHITE_STEP)


def _odd_colour(small: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Pixels further from the background's hue than an amber or brown object can be.

    JPEG spreads the colour of thin letters over their neighbours, so in a small picture
    no pixel of a letter keeps a vivid colour. Excess of one or two channels over the
    rest still tells: an amber object has red over green over blue, in even steps.
    """
    red, green, blue = cv2.split(small.astype(np.int16))
    excess = {
        "red": (red - np.maximum(green, blue), 85),
        "green": (green - np.maximum(red, blue), 45),
        "blue": (blue - np.maximum(red, green), 55),
        "yellow": (np.minimum(red, green) - blue, 75),
        "magenta": (np.minimum(red, blue) - green, 60),
        "cyan": (np.minimum(green, blue) - red, 60),
    }
    odd = np.zeros(red.shape, bool)
    for over, least in excess.values():
        odd |= over - int(np.median(over[::4, ::4])) > least
    return odd.astype(np.uint8)


def _pieces(ink: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Return connected pieces as rows of left, top, width, height, area.

    Summed up over runs of ink along the rows, of which there are few: OpenCV's own sums
    look at every pixel and take five times as long as its search for pieces (measured).
    """
    if cv2.countNonZero(ink) < _LEAST_INK:
        return np.empty((0, 5), np.int64)
    # Mostly the ink is in one corner of the picture.
    first_x, first_y, wide, high = cv2.boundingRect(ink)
    ink = ink[first_y : first_y + high, first_x : first_x + wide]
    # On sparse ink this algorithm takes a third of the default's time (measured).
    count, labels = cv2.connectedComponentsWithAlgorithm(ink, 8, cv2.CV_32S, cv2.CCL_GRANA)
    edged = np.asarray(cv2.copyMakeBorder(ink, 0, 0, 1, 1, cv2.BORDER_CONSTANT, value=0), np.uint8)
    changes = np.flatnonzero(edged[:, 1:] != edged[:, :-1])
    row, start = np.divmod(changes[::2], ink.shape[1] + 1)
    length = changes[1::2] - changes[::2]
    piece = np.asarray(labels, np.int32)[row, start] - 1
    area = np.bincount(piece, length, count - 1).astype(np.int64)
    # Most pieces are specks: only the runs of others are summed up.
    kept = np.flatnonzero((area >= _LEAST_PIECE)[piece])
    row, start, length, piece = row[kept], start[kept], length[kept], piece[kept]
    left = np.full(count - 1, ink.shape[1], np.int64)
    top, right, bottom = (np.zeros(count - 1, np.int64) for _ in range(3))
    np.minimum.at(left, piece, start)
    np.maximum.at(right, piece, start + length)
    # Runs come row by row, and of several values the last one stays.
    bottom[piece] = row + 1
    top[piece[::-1]] = row[::-1]
    pieces = [left + first_x, top + first_y, right - left, bottom - top, area]
    return np.stack(pieces, axis=1)[area >= _LEAST_PIECE]


def _bars(
    ink: NDArray[np.uint8],
    strength: NDArray[np.uint8],
    pieces: NDArray[np.int64],
    long_side: int,
) -> list[Box]:
    """Level bars: pieces that fill their bounding box, on like ground above and below."""
    found: list[Box] = []
    for left, top, wide, high, area in pieces[pieces[:, 2] >= _BAR_SHARE * long_side]:
        if high < 2 or wide < 4 * high or area < _BAR_FILL * wide * high:
            continue
        box = (left, top, left + wide, top + high)
        margin = max(3, int(0.2 * high))
        if _stands_alone(ink, strength, box):
            bar = (left - margin, top - margin, box[2] + margin, box[3] + margin)
            found.append(_with_caption(bar, pieces))
    return found


def _stands_alone(
    ink: NDArray[np.uint8], strength: NDArray[np.uint8], bar: tuple[int, int, int, int]
) -> bool:
    """Whether there is like ground right above and below a bar: a stripe has others beside it."""
    left, top, right, bottom = bar
    level = float(np.median(strength[top:bottom, left:right]))
    steps = []
    for start in (top - _SOFT_EDGE_PX - _GROUND_PX, bottom + _SOFT_EDGE_PX):
        side = slice(max(start, 0), max(start + _GROUND_PX, 0)), slice(left, right)
        if ink[side].size == 0 or ink[side].mean() > _BAR_TOUCHED:
            return False
        steps.append(level - float(np.median(strength[side])))
    return min(steps) >= max(_BAR_STEP, _BAR_EVEN * max(steps))


def _with_caption(bar: Box, pieces: NDArray[np.int64]) -> Box:
    """Return a bar's box and the letters right above or below it: "5 um" is a short line."""
    wide, high = pieces[:, 2], pieces[:, 3]
    left, top = pieces[:, 0], pieces[:, 1]
    middle = left + wide / 2
    reach = 0.25 * (bar[2] - bar[0])
    letter = (high >= _LETTER_PX) & (high < 2 * reach) & (wide < 2 * high)
    near = letter & (middle > bar[0] - reach) & (middle < bar[2] + reach)
    near &= (top < bar[3] + 2 * high) & (top + high > bar[1] - 2 * high)
    if np.count_nonzero(near) < 2:
        return bar
    return (
        min(bar[0], float(left[near].min()) - 3),
        min(bar[1], float(top[near].min()) - 3),
        max(bar[2], float((left + wide)[near].max()) + 3),
        max(bar[3], float((top + high)[near].max()) + 3),
    )


def _label_boxes(ink: NDArray[np.uint8], pieces: NDArray[np.int64]) -> list[Box]:
    """Boxes of one colour whose four sides are straight: writing may stand on them."""
    found: list[Box] = []
    full = pieces[:, 4] > 0.5 * pieces[:, 2] * pieces[:, 3]
    for left, top, wide, high in pieces[full & (pieces[:, 3] >= 2 * _LETTER_PX), :4]:
        part = ink[top : top + high, left : left + wide]
        sides = [part[0].mean(), part[-1].mean(), part[:, 0].mean(), part[:, -1].mean()]
        if min(sides) > 0.8:
            found.append((left - 3, top - 3, left + wide + 3, top + high + 3))
    return found


def _holds(box: Box, mark: Box) -> bool:
    """Whether the middle of a mark lies in a box not much larger than it."""
    x, y = (mark[0] + mark[2]) / 2, (mark[1] + mark[3]) / 2
    inside = box[0] < x < box[2] and box[1] < y < box[3]
    return inside and box[3] - box[1] < 5 * (mark[3] - mark[1]) + 30


def _lines(
    ink: NDArray[np.uint8], strength: NDArray[np.uint8], pieces: NDArray[np.int64]
) -> list[Box]:
    """Rows of letters: thin-stroked pieces of like height on one base line."""
    most = _LETTER_SHARE * min(ink.shape[1], ink.shape[0] / _BAND_SHARE)
    wide, high = pieces[:, 2], pieces[:, 3]
    letters = pieces[(high >= _LETTER_PX) & (high <= most) & (wide <= 12 * high)]
    if len(letters) < _LEAST_LETTERS:
        return []
    if len(letters) > _MOST_LETTERS:
        letters = letters[np.argsort(-letters[:, 3])[:_MOST_LETTERS]]
    # Sparse from the start: scipy takes ten times as long to make it so (measured).
    pairs = _neighbours(letters)
    links = coo_array((np.ones(len(pairs[0])), pairs), shape=(len(letters), len(letters)))
    _, group = connected_components(links, directed=False)
    order = np.bincount(group)
    found: list[Box] = []
    for number in np.flatnonzero(order >= _LEAST_LETTERS):
        line = letters[group == number]
        if _is_text(ink, strength, line):
            found.append(_whole_line(line, pieces))
    return found


def _whole_line(line: NDArray[np.int64], pieces: NDArray[np.int64]) -> Box:
    """Return the box around a line and the signs beside it that were not linked to it."""
    high = float(np.median(line[:, 3]))
    left, top = pieces[:, 0], pieces[:, 1]
    right, bottom = left + pieces[:, 2], top + pieces[:, 3]
    x0, y0 = float(line[:, 0].min()), float(line[:, 1].min())
    x1, y1 = (float((line[:, i] + line[:, i + 2]).max()) for i in (0, 1))
    middle = (top + bottom) / 2
    beside = (pieces[:, 3] < 2 * high) & (middle > y0 - 0.3 * high) & (middle < y1 + 0.3 * high)
    for _ in range(3):  # a few signs at either end, not a chain of specks across the picture
        near = beside & (right > x0 - 1.2 * high) & (left < x1 + 1.2 * high)
        grown = min(x0, float(left[near].min())), max(x1, float(right[near].max()))
        if grown == (x0, x1):
            break
        x0, x1 = grown
    y0, y1 = min(y0, float(top[near].min())), max(y1, float(bottom[near].max()))
    margin = max(3.0, 0.3 * high)
    return x0 - margin, y0 - margin, x1 + margin, y1 + margin


def _neighbours(letters: NDArray[np.int64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pairs that stand beside each other on one line."""
    high = letters[:, 3]
    top, bottom = (edge.astype(np.int32) for edge in (letters[:, 1], letters[:, 1] + high))
    # On one base line, or both hanging from one height: "p" ends below "a" and "e".
    most = int(_LEVEL_SHARE * high.max() + _LEVEL_PX)
    near = np.abs(bottom[:, None] - bottom) <= most
    near |= np.abs(top[:, None] - top) <= most
    # Few pairs are level even with the tallest: only those are looked at closer.
    one, other = np.nonzero(near)
    apart = np.minimum(np.abs(bottom[one] - bottom[other]), np.abs(top[one] - top[other]))
    left, right = letters[:, 0], letters[:, 0] + letters[:, 2]
    tall, low = np.maximum(high[one], high[other]), np.minimum(high[one], high[other])
    gap = np.maximum(left[one], left[other]) - np.minimum(right[one], right[other])
    beside = (low > 0.55 * tall) & (apart < _LEVEL_SHARE * tall + _LEVEL_PX)
    beside &= (gap < 1.1 * tall) & (gap > -0.3 * tall)
    return one[beside], other[beside]


def _is_text(ink: NDArray[np.uint8], strength: NDArray[np.uint8], line: NDArray[np.int64]) -> bool:
    """Whether a row of pieces has the number, the level, the strokes and the ground of text."""
    middle, tall = float(np.median(line[:, 3])), float(line[:, 3].max())
    span = float((line[:, 0] + line[:, 2]).max() - line[:, 0].min())
    least = _LEAST_LETTERS if middle >= _CLEAR_LETTER_PX else _LEAST_SMALL_LETTERS
    if len(line) < least or span < 1.6 * tall:
        return False
    bottoms = line[:, 1] + line[:, 3]
    level = np.abs(bottoms - np.median(bottoms)) <= _LEVEL_SHARE * tall + _LEVEL_PX
    if level.mean() < _LEVEL_LETTERS or not _even_strokes(ink, line):
        return False
    right = int((line[:, 0] + line[:, 2]).max())
    box = (int(line[:, 0].min()), int(line[:, 1].min()), right, int(bottoms.max()))
    step, even = _ground(ink, strength, box)
    if len(line) >= _MANY_LETTERS:
        return step >= _LEAST_STEP and even >= (_BOLD_EVEN if step > _BOLD_STEP else _FAINT_EVEN)
    return step >= _LEAST_STEP and even >= _EVEN_SHARE


def _even_strokes(ink: NDArray[np.uint8], line: NDArray[np.int64]) -> bool:
    """Whether the pieces of a line are drawn in thin strokes of one width."""
    widths = np.empty(len(line))
    for number, (left, top, wide, high) in enumerate(line[:, :4]):
        part = ink[top : top + high, left : left + wide]
        edged = cv2.copyMakeBorder(part, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
        widths[number] = 2.0 * cv2.distanceTransform(edged, cv2.DIST_L2, 3).max() - 1.0
    middle = float(np.median(widths))
    spread = float(np.abs(widths - middle).mean())
    share = middle / float(np.median(line[:, 3]))
    return _THIN_SHARE <= share <= _STROKE_SHARE and spread <= _STROKE_SPREAD * (middle + 1.0)


def _ground(
    ink: NDArray[np.uint8], strength: NDArray[np.uint8], box: tuple[int, int, int, int]
) -> tuple[float, float]:
    """Return a mark's step from the ground close around it, and the share that is kept all round.

    The bright rim of a dark crumb has the crumb on one side, and the stripes of a dark
    scale have their like beside them.
    """
    far = _SOFT_EDGE_PX + _GROUND_PX
    left, top = max(box[0] - far, 0), max(box[1] - far, 0)
    part = ink[top : box[3] + far, left : box[2] + far]
    levels = strength[top : box[3] + far, left : box[2] + far]
    near, wide = (
        cv2.dilate(part, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        for reach in (_SOFT_EDGE_PX, far)
    )
    ground = levels[wide > near]
    if ground.size == 0:
        return 0.0, 0.0
    steps = float(np.median(levels[part > 0])) - ground.astype(np.float32)
    step = float(np.median(steps))
    return step, float(np.percentile(steps, _EVEN_PERCENTILE)) / max(step, 1e-9)
