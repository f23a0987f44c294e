"""What a program burns into a picture: a scale bar, lines of text, an arrow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX
from other_hands.layered.chance import pick

Colour = tuple[int, int, int, int]

WHITE: Colour = (255, 255, 255, 255)
BLACK: Colour = (0, 0, 0, 255)
INKS: tuple[Colour, ...] = (
    WHITE,
    BLACK,
    (255, 230, 40, 255),
    (220, 30, 30, 255),
    (30, 60, 220, 255),
)
PLATES: tuple[Colour, ...] = (BLACK, WHITE, (0, 0, 0, 120))

#: Lengths of scale bars, and how long they may be on the picture.
BARS_UM = (10, 20, 50, 100, 200, 500)
BAR_LENGTHS_PX = (170, 560)

#: Opacity from which on what lies beneath cannot be seen.
COVERING = 60


@dataclass(frozen=True)
class Overlay:
    """Ink over a picture: (h, w, 4) float32, red, green, blue and opacity, 0 to 255."""

    ink: np.ndarray

    @property
    def covered(self) -> np.ndarray:
        """Where the picture cannot be seen, (h, w) bool."""
        return self.ink[..., 3] > COVERING

    def over(self, image: np.ndarray) -> np.ndarray:
        """Lay the ink over an 8-bit RGB picture."""
        opacity = self.ink[..., 3:] / 255
        return (image * (1 - opacity) + self.ink[..., :3] * opacity + 0.5).astype(np.uint8)


def draw_overlay(rng: np.random.Generator, um_per_px: float) -> Overlay:
    """Draw an overlay for a picture of a scale."""
    image = Image.new("RGBA", (WIDTH_PX, HEIGHT_PX), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    ink = pick(rng, INKS)
    font = ImageFont.load_default(size=int(rng.integers(20, 46)))
    ink = _draw_bar(rng, image, pen, font, ink, um_per_px)
    _draw_lines(rng, pen, font, ink)
    if rng.random() < 0.2:
        _draw_arrow(rng, pen, ink)
    return Overlay(np.asarray(image).astype(np.float32))


def _draw_bar(
    rng: np.random.Generator,
    image: Image.Image,
    pen: ImageDraw.ImageDraw,
    font: ImageFont.FreeTypeFont,
    ink: Colour,
    um_per_px: float,
) -> Colour:
    """Draw a scale bar with its length over it, some on a plate; give the ink that it took."""
    rng.random()  # was to choose the bar's height; kept, as all draws after it would change
    at_left = rng.random() < 0.5
    fitting = [um for um in BARS_UM if BAR_LENGTHS_PX[0] < um / um_per_px < BAR_LENGTHS_PX[1]]
    bar_um = pick(rng, fitting or [100])
    length = bar_um / um_per_px
    thickness = int(rng.integers(4, 14))
    left = rng.uniform(30, 80) if at_left else WIDTH_PX - length - rng.uniform(30, 80)
    top = HEIGHT_PX - rng.uniform(40, 90)
    text = f"{bar_um} " + pick(rng, ["um", "um", "microns"])
    if rng.random() < 0.35:
        plate = [left - 20, top - 70, left + length + 20, top + thickness + 16]
        pen.rectangle(plate, fill=pick(rng, PLATES))
        dark = image.getpixel((int(left - 10), int(top - 60)))[0] == 0
        ink = WHITE if dark else BLACK
    pen.rectangle([left, top, left + length, top + thickness], fill=ink)
    text_left = left + (length - pen.textlength(text, font=font)) / 2
    pen.text((text_left, top - font.size - 12), text, font=font, fill=ink)
    if rng.random() < 0.4:
        for end in (left, left + length):
            pen.line([end, top - 9, end, top + thickness + 9], fill=ink, width=3)
    return ink


def _draw_lines(
    rng: np.random.Generator,
    pen: ImageDraw.ImageDraw,
    font: ImageFont.FreeTypeFont,
    ink: Colour,
) -> None:
    """Draw one to three lines: name of the sample, date and time, magnification."""
    magnification = pick(rng, ["4x", "10x", "40x", "100X", "obj 10", "Zoom 2.0"])
    sample = pick(rng, ["Sample ", "Monarch #", "ID ", "Tape "]) + str(int(rng.integers(1, 400)))
    year, month, day = rng.integers(15, 26), rng.integers(1, 13), rng.integers(1, 29)
    hour, minute = rng.integers(7, 20), rng.integers(0, 60)
    moment = f"20{year}-{month:02d}-{day:02d}  {hour:02d}:{minute:02d}"
    number = int(rng.integers(1, 4))
    top = 16.0 if rng.random() < 0.75 else HEIGHT_PX - 170 - 40 * number
    left = 18 if rng.random() < 0.6 else WIDTH_PX - 340
    for line in [sample, moment, magnification][:number]:
        pen.text((left, top), line, font=font, fill=ink)
        top += font.size + 8


def _draw_arrow(rng: np.random.Generator, pen: ImageDraw.ImageDraw, ink: Colour) -> None:
    """Draw a line to a dot somewhere in the middle of the picture."""
    tail = (int(rng.uniform(300, WIDTH_PX - 300)), int(rng.uniform(250, HEIGHT_PX - 250)))
    head = (tail[0] + int(rng.normal(0, 110)), tail[1] + int(rng.normal(0, 90)))
    pen.line([tail, head], fill=ink, width=4)
    pen.ellipse([head[0] - 7, head[1] - 7, head[0] + 7, head[1] + 7], fill=ink)
