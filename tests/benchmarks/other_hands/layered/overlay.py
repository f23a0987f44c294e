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


@dataclass(frozen=True)
class Pen:
    """Draws on the image of an overlay, in one font."""

    image: Image.Image
    draw: ImageDraw.ImageDraw
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont
    font_px: int


def draw_overlay(rng: np.random.Generator, um_per_px: float) -> Overlay:
    """Draw an overlay for a picture of a scale."""
    image = Image.new("RGBA", (WIDTH_PX, HEIGHT_PX), (0, 0, 0, 0))
    ink = pick(rng, INKS)
    font_px = int(rng.integers(20, 46))
    pen = Pen(image, ImageDraw.Draw(image), ImageFont.load_default(size=font_px), font_px)
    ink = _draw_bar(rng, pen, ink, um_per_px)
    _draw_lines(rng, pen, ink)
    if rng.random() < 0.2:
        _draw_arrow(rng, pen, ink)
    return Overlay(np.asarray(image).astype(np.float32))


def _draw_bar(rng: np.random.Generator, pen: Pen, ink: Colour, um_per_px: float) -> Colour:
    """Draw a scale bar with its length over it, some on a plate; give the ink that it took."""
    rng.random()  # decides nothing, but without it all later draws would be others
    at_left = rng.random() < 0.5
    fitting = [um for um in BARS_UM if BAR_LENGTHS_PX[0] < um / um_per_px < BAR_LENGTHS_PX[1]]
    bar_um = pick(rng, fitting or [100])
    length = bar_um / um_per_px
    thickness = int(rng.integers(4, 14))
    left = rng.uniform(30, 80) if at_left else WIDTH_PX - length - rng.uniform(30, 80)
    right, top = left + length, HEIGHT_PX - rng.uniform(40, 90)
    text = f"{bar_um} " + pick(rng, ["um", "um", "microns"])
    if rng.random() < 0.35:
        plate = [left - 20, top - 70, right + 20, top + thickness + 16]
        pen.draw.rectangle(plate, fill=pick(rng, PLATES))
        dark = np.asarray(pen.image)[int(top - 60), int(left - 10), 0] == 0
        ink = WHITE if dark else BLACK
    pen.draw.rectangle([left, top, right, top + thickness], fill=ink)
    text_left = left + (length - pen.draw.textlength(text, font=pen.font)) / 2
    pen.draw.text((text_left, top - pen.font_px - 12), text, font=pen.font, fill=ink)
    if rng.random() < 0.4:
        for end in (left, right):
            pen.draw.line([end, top - 9, end, top + thickness + 9], fill=ink, width=3)
    return ink


def _draw_lines(rng: np.random.Generator, pen: Pen, ink: Colour) -> None:
    """Draw one to three lines: name of the sample, date and time, magnification."""
    magnification = pick(rng, ["4x", "10x", "40x", "100X", "obj 10", "Zoom 2.0"])
    sample = pick(rng, ["Sample ", "Monarch #", "ID ", "Tape "]) + str(int(rng.integers(1, 400)))
    year, month, day = rng.integers(15, 26), rng.integers(1, 13), rng.integers(1, 29)
    hour, minute = rng.integers(7, 20), rng.integers(0, 60)
    moment = f"20{year}-{month:02d}-{day:02d}  {hour:02d}:{minute:02d}"
    number = int(rng.integers(1, 4))
    top = 16 if rng.random() < 0.75 else HEIGHT_PX - 170 - 40 * number
    left = 18 if rng.random() < 0.6 else WIDTH_PX - 340
    for line in [sample, moment, magnification][:number]:
        pen.draw.text((left, top), line, font=pen.font, fill=ink)
        top += pen.font_px + 8


def _draw_arrow(rng: np.random.Generator, pen: Pen, ink: Colour) -> None:
    """Draw a line to a dot somewhere in the middle of the picture."""
    tail = (int(rng.uniform(300, WIDTH_PX - 300)), int(rng.uniform(250, HEIGHT_PX - 250)))
    head = (tail[0] + int(rng.normal(0, 110)), tail[1] + int(rng.normal(0, 90)))
    pen.draw.line([tail, head], fill=ink, width=4)
    pen.draw.ellipse([head[0] - 7, head[1] - 7, head[0] + 7, head[1] + 7], fill=ink)
