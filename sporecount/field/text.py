"""Burned-in text, scale bars and time stamps.

Software draws them in pure black, white or a vivid colour, in thin even strokes on a
common base line, or as exact rectangles along the picture's axes. Nothing on the glass
does all of that: spores are filled, scales are neither pure nor axis-aligned.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

#: Long side of the copy on which text is sought, pixels: legible text is larger than this loses.
_LONG_SIDE = 2000
#: Levels of pure black and white, and spread between channels of a vivid colour.
_BLACK, _WHITE, _VIVID = 26, 240, 165
#: White ink is sought on ground up to this bright, and stands out from it by this much:
#: on brighter ground it cannot pass for a spore, but noise would pass for ink.
_WHITE_GROUND, _WHITE_STEP = 225, 25
#: Every how manieth pixel tells the brightness of the ground.
_GROUND_STEP = 4
#: Below this long side letters are thin, and JPEG has washed out their colour.
_SMALL_SIDE = 1400
#: Heights of letters: from this many pixels up to this share of the shorter side.
_LETTER_PX, _LETTER_SHARE = 6, 0.09
#: Marks lie within this share of the picture's side from a border.
_BORDER_SHARE = 0.27
#: How much ink differs from the ground between the letters, in levels.
_LEAST_STEP = 25
#: Fewer pixels of an ink than this are no writing.
_LEAST_INK = 30
#: Place of the white ink among the masks, and its least size of a letter.
_WHITE_INK, _WHITE_LETTER_PX = 1, 8
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
    step = max(round(max(pixels.shape[:2]) / _LONG_SIDE), 1)
    # Every step-th pixel, not an average: averaging would grey the pure colours.
    height, width = (-(-side // step) for side in pixels.shape[:2])
    small = _every(pixels, step)
    boxes: list[Box] = []
    for number, (ink, strength) in enumerate(_inks(small)):
        pieces = _pieces(ink)
        solid = _rectangles(ink, pieces)
        # Broken bright rims of scales come in short rows of small pieces.
        if number == _WHITE_INK:
            pieces = pieces[np.maximum(pieces[:, 2], pieces[:, 3]) >= _WHITE_LETTER_PX]
        upright = _lines(ink, strength, pieces, least_signs=4 if number == _WHITE_INK else 3)
        # Writing up the side is rare, so more of it is asked for.
        turned = _lines(ink.T, strength.T, pieces[:, [1, 0, 3, 2, 4, 5]], least_signs=5)
        boxes += solid + upright
        boxes += [(top, left, bottom, right) for left, top, right, bottom in turned]
    boxes = [box for box in boxes if _near_border(box, width, height)]
    return [
        (
            float(max(left, 0) * step),
            float(max(top, 0) * step),
            float(min(right, width) * step),
            float(min(bottom, height) * step),
        )
        for left, top, right, bottom in boxes
    ]


def _every(pixels: NDArray[np.uint8], step: int) -> NDArray[np.uint8]:
    """Take every step-th pixel; the last rows and columns may be left out."""
    rows, columns = (max(side // step, 1) for side in pixels.shape[:2])
    whole = pixels[: rows * step, : columns * step]
    # OpenCV takes the top left pixel of each block, and is faster than slicing.
    small = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_NEAREST)
    return np.asarray(small, np.uint8).reshape(rows, columns, *pixels.shape[2:])


def _inks(small: NDArray[np.uint8]) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    """Return masks of black, white and vivid ink, each with the picture it was taken from.

    A mask that fills half the picture is no ink and comes back empty.
    """
    red, green, blue = cv2.split(small)
    top = cv2.max(cv2.max(red, green), blue)
    low = np.asarray(cv2.min(cv2.min(red, green), blue), np.uint8)
    # White on white cannot be read, and noise on a burnt-out ground looks like white ink.
    around = cv2.resize(_every(low, _GROUND_STEP), (16, 16), interpolation=cv2.INTER_AREA)
    around = cv2.resize(cv2.blur(around, (3, 3)), low.shape[::-1], interpolation=cv2.INTER_LINEAR)
    white = (low > _WHITE) & (cv2.subtract(low, around) > _WHITE_STEP) & (around < _WHITE_GROUND)
    spread = np.asarray(cv2.subtract(top, low), np.uint8)
    inks = [
        ((top < _BLACK).view(np.uint8), np.asarray(cv2.bitwise_not(top), np.uint8)),
        (white.view(np.uint8), low),
        ((spread > _VIVID).view(np.uint8), spread),
    ]
    if max(top.shape) < _SMALL_SIDE:
        inks.append((_odd_colour(small), spread))
    full = 0.5 * top.size
    return [(m if cv2.countNonZero(m) < full else np.zeros_like(m), s) for m, s in inks]


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
    """Return connected pieces as rows of left, top, width, height, area, label."""
    if cv2.countNonZero(ink) < _LEAST_INK:
        return np.empty((0, 6), np.int64)
    # On sparse ink this algorithm takes a third of the default's time (measured).
    _, _, stats, _ = cv2.connectedComponentsWithStatsWithAlgorithm(
        ink, 8, cv2.CV_32S, cv2.CCL_GRANA
    )
    rows = np.column_stack([stats[1:], np.arange(1, len(stats))]).astype(np.int64)
    return rows[rows[:, 4] >= 6]


def _rectangles(ink: NDArray[np.uint8], pieces: NDArray[np.int64]) -> list[Box]:
    """Bars and label boxes: pieces whose outline fills the sides of their bounding box."""
    height, width = ink.shape
    found: list[Box] = []
    large = pieces[(np.maximum(pieces[:, 2], pieces[:, 3]) >= 0.03 * max(ink.shape))]
    for left, top, wide, high, area, _ in large:
        thick, long = min(wide, high), max(wide, high)
        if thick < 2 or long < 3 * thick or thick > 0.16 * min(height, width):
            continue
        part = ink[top : top + high, left : left + wide]
        sides = [part[0].mean(), part[-1].mean(), part[:, 0].mean(), part[:, -1].mean()]
        if area >= 0.88 * wide * high or (min(sides) > 0.85 and area > 0.5 * wide * high):
            margin = max(3, int(0.2 * thick))
            found.append((left - margin, top - margin, left + wide + margin, top + high + margin))
    return found


def _lines(
    ink: NDArray[np.uint8],
    strength: NDArray[np.uint8],
    pieces: NDArray[np.int64],
    least_signs: int,
) -> list[Box]:
    """Rows of letters: thin-stroked pieces of like height on one base line."""
    most = _LETTER_SHARE * min(ink.shape)
    wide, high = pieces[:, 2], pieces[:, 3]
    letters = pieces[(high >= _LETTER_PX) & (high <= most) & (wide <= 12 * high)]
    if len(letters) < 2:
        return []
    if len(letters) > _MOST_LETTERS:
        letters = letters[np.argsort(-letters[:, 3])[:_MOST_LETTERS]]
    _, group = connected_components(_neighbours(letters), directed=False)
    order = np.bincount(group)
    found: list[Box] = []
    for number in np.flatnonzero(order >= 2):
        line = letters[group == number]
        if _is_text(ink, strength, line, least_signs):
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


def _neighbours(letters: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which pairs stand beside each other on one line."""
    left, top, wide, high = (letters[:, i].astype(np.float64) for i in range(4))
    right, bottom = left + wide, top + high
    tall = np.maximum(high[:, None], high[None])
    gap = np.maximum(left[:, None], left[None]) - np.minimum(right[:, None], right[None])
    alike = np.minimum(high[:, None], high[None]) > 0.55 * tall
    # On one base line, or both hanging from one height: "p" ends below "a" and "e".
    apart = np.minimum(np.abs(bottom[:, None] - bottom[None]), np.abs(top[:, None] - top[None]))
    level = apart < 0.15 * tall + 1
    return alike & level & (gap < 1.1 * tall) & (gap > -0.3 * tall)


def _is_text(
    ink: NDArray[np.uint8],
    strength: NDArray[np.uint8],
    line: NDArray[np.int64],
    least_signs: int,
) -> bool:
    """Whether a row of pieces has the number, the strokes and the spread of text."""
    high = float(np.median(line[:, 3]))
    signs = np.maximum(line[:, 2] / (0.75 * high), 1.0).round().sum()
    span = float((line[:, 0] + line[:, 2]).max() - line[:, 0].min())
    if signs < least_signs or span < 1.6 * high:
        return False
    left, top = line[:, 0].min(), line[:, 1].min()
    bottom, right = (line[:, 1] + line[:, 3]).max(), (line[:, 0] + line[:, 2]).max()
    part, ground = ink[top:bottom, left:right], strength[top:bottom, left:right]
    # Noise about the limit makes ragged rows of specks that hardly differ from their ground.
    if ground[part > 0].mean() - ground[part == 0].mean() < _LEAST_STEP:
        return False
    inside = cv2.distanceTransform(
        cv2.copyMakeBorder(np.ascontiguousarray(part), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0),
        cv2.DIST_L2,
        3,
    )[1:-1, 1:-1]
    strokes = [
        inside[y - top : y - top + h, x - left : x - left + w].max() for x, y, w, h in line[:, :4]
    ]
    return bool(np.median(strokes) <= 0.19 * high + 0.6)


def _near_border(box: Box, width: int, height: int) -> bool:
    """Whether the middle of a box is near one side of the picture."""
    x, y = (box[0] + box[2]) / 2 / width, (box[1] + box[3]) / 2 / height
    return min(x, y, 1 - x, 1 - y) < _BORDER_SHARE
