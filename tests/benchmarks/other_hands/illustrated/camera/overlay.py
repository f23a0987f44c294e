"""Text and a scale bar that a program burned into the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

FONTS = (
    "DejaVuSans.ttf",
    "DejaVuSans-Bold.ttf",
    "DejaVuSansMono.ttf",
    "DejaVuSansCondensed-Oblique.ttf",
    "DejaVuSerif-Bold.ttf",
)

#: White, black, red, yellow, blue, green, and how often each is drawn.
INKS = (
    (255, 255, 255),
    (0, 0, 0),
    (230, 30, 30),
    (255, 230, 0),
    (20, 60, 220),
    (0, 160, 60),
)
INK_SHARES = (0.25, 0.4, 0.12, 0.1, 0.08, 0.05)

#: Lengths that a scale bar stands for.
BAR_UM = np.array([5, 10, 20, 25, 50, 100, 150, 200, 250, 300, 500])


class _Sheet:
    """The picture, and a mask of all that is drawn on it."""

    def __init__(self, picture: np.ndarray):
        height, width = picture.shape[:2]
        self.picture = Image.fromarray((picture * 255 + 0.5).astype(np.uint8))
        self.mask = Image.new("L", (width, height), 0)
        self._on_picture, self._on_mask = ImageDraw.Draw(self.picture), ImageDraw.Draw(self.mask)

    def rectangle(self, box: list[float], ink: tuple[int, int, int]) -> None:
        self._on_picture.rectangle(box, fill=ink)
        self._on_mask.rectangle(box, fill=255)

    def line(self, ends: list[float], ink: tuple[int, int, int], width: int) -> None:
        self._on_picture.line(ends, fill=ink, width=width)
        self._on_mask.line(ends, fill=255, width=width)

    def text(self, x: float, y: float, text: str, pen: _Pen) -> None:
        self._on_picture.text((x, y), text, fill=pen.ink, font=pen.font)
        self._on_mask.text((x, y), text, fill=255, font=pen.font)

    def reach(self, text: str, pen: _Pen) -> tuple[float, float, float]:
        """Left, right and lower end of a text that is begun at (0, 0)."""
        left, _, right, bottom = self._on_picture.textbbox((0, 0), text, font=pen.font)
        return left, right, bottom


@dataclass(frozen=True)
class _Pen:
    ink: tuple[int, int, int]
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont


@dataclass(frozen=True)
class _Bar:
    """Where the scale bar lies."""

    y_px: float
    at_right: bool


def overlaid(
    rng: np.random.Generator, picture: np.ndarray, um_per_px: float
) -> tuple[np.ndarray, np.ndarray]:
    """Burn a scale bar and some lines of text into a picture.

    Parameters
    ----------
    picture
        (height, width, 3), 0 to 1.

    Returns
    -------
    numpy.ndarray
        The picture, 0 to 1, float32.
    numpy.ndarray
        (height, width) float32: 1 where it hides what was there.
    """
    sheet = _Sheet(picture)
    ink = INKS[rng.choice(6, p=INK_SHARES)]
    pen = _Pen(ink, _draw_font(rng, rng.uniform(20, 52)))
    bar = _draw_bar(rng, sheet, pen, um_per_px)
    _write_notes(rng, sheet, pen, bar)
    hidden = np.asarray(sheet.mask).astype(np.float32) / 255
    return np.asarray(sheet.picture).astype(np.float32) / 255, hidden


def _draw_font(
    rng: np.random.Generator, size_px: float
) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """One of the fonts that are installed; Pillow's own where none is."""
    for name in rng.permutation(FONTS):
        try:
            return ImageFont.truetype(str(name), int(size_px))
        except OSError:
            continue
    return ImageFont.load_default(int(size_px))


def _draw_bar(rng: np.random.Generator, sheet: _Sheet, pen: _Pen, um_per_px: float) -> _Bar:
    width, height = sheet.picture.size
    target_um = rng.uniform(0.1, 0.28) * width * um_per_px
    length_um = int(BAR_UM[np.argmin(abs(np.log(BAR_UM / target_um)))])
    length = length_um / um_per_px
    thickness = max(3, int(rng.uniform(3, 14)))
    at_right, at_bottom = rng.random() < 0.65, rng.random() < 0.8
    x = width - 40 - length if at_right else 40
    y = height - 50 if at_bottom else 80
    label = f"{length_um} " + ("\N{MICRO SIGN}m" if rng.random() < 0.8 else "um")
    label_left, label_right, label_height = sheet.reach(label, pen)
    label_width = label_right - label_left
    if rng.random() < 0.35:  # on a plate of its own
        right = x + max(length, label_width) + 14
        plate = (255, 255, 255) if sum(pen.ink) < 380 else (0, 0, 0)
        sheet.rectangle([x - 14, y - label_height - 18, right, y + thickness + 12], plate)
    sheet.rectangle([x, y, x + length, y + thickness], pen.ink)
    if rng.random() < 0.4:  # end marks
        for end in (x, x + length):
            mark = [end, y - 9, end, y + thickness + 9]
            sheet.line(mark, pen.ink, max(2, thickness // 2))
    label_x = x + (length - label_width) / 2 if length > label_width else x
    sheet.text(label_x, y - label_height - 8, label, pen)
    return _Bar(y, at_right)


def _write_notes(rng: np.random.Generator, sheet: _Sheet, pen: _Pen, bar: _Bar) -> None:
    """Write up to three notes along the left and right edge, where the bar leaves room."""
    width, height = sheet.picture.size
    taken = set()
    notes = rng.permutation(_possible_notes(rng))[: rng.integers(1, 4)]
    for note in map(str, notes):
        _, note_width, note_height = sheet.reach(note, pen)
        x = 30 if rng.random() < 0.6 else width - 30 - note_width
        y = rng.choice([24, 24 + note_height * 1.3, height - 40 - note_height])
        at_left = x < width / 2
        beside_bar = abs(y - bar.y_px) < 130 and at_left != bar.at_right
        if beside_bar or (at_left, int(y)) in taken:
            continue
        taken.add((at_left, int(y)))
        sheet.text(x, y, note, pen)


def _possible_notes(rng: np.random.Generator) -> list[str]:
    year, month, day = rng.integers(2012, 2026), rng.integers(1, 13), rng.integers(1, 29)
    hour, minute = rng.integers(7, 20), rng.integers(0, 60)
    return [
        f"{year}-{month:02d}-{day:02d} {hour:02d}:{minute:02d}",
        f"{rng.choice([4, 10, 20, 40])}X",
        f"Monarch #{rng.integers(1, 400)}",
        f"tape {rng.integers(1, 60)} abdomen",
        f"slide {rng.integers(1, 30)}{rng.choice(list('ABC'))}",
        "O.e. check",
        f"IMG_{rng.integers(1000, 9999)}",
    ]
