"""Text on pictures: the font that comes with Pillow, fitted to the room there is."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from PIL import ImageDraw, ImageFont

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@lru_cache(maxsize=32)
def font(size: int) -> Font:
    """Return Pillow's own font at a height in pixels."""
    return ImageFont.load_default(size)


def shorten_middle(text: str, most: int) -> str:
    """Shorten a text in its middle, where a file name matters least.

    Examples
    --------
    >>> shorten_middle("tray 4/butterfly 17 left.jpg", 15)
    'tray 4/…eft.jpg'
    """
    if len(text) <= most:
        return text
    if most <= 1:
        return "…"[:most]
    tail = (most - 1) // 2
    return f"{text[: most - 1 - tail]}…{text[len(text) - tail :]}"


def drawable(text: str) -> str:
    """Replace what the font has no shape for, so that a name never turns into boxes.

    Examples
    --------
    >>> drawable("Probe für é 🦋 3")
    'Probe fur e ? 3'
    """
    bare = "".join(
        letter if _has_shape(letter) else unicodedata.normalize("NFKD", letter) for letter in text
    )
    return "".join(
        letter if _has_shape(letter) else "?"
        for letter in bare
        if not unicodedata.combining(letter)
    )


def width(text: str, letters: Font) -> float:
    """Return how wide a text is, in pixels."""
    return letters.getlength(text)


def fit(text: str, letters: Font, room_px: float) -> str:
    """Shorten a text in its middle until it fits into a number of pixels."""
    most = len(text)
    while most > 1 and width(shorten_middle(text, most), letters) > room_px:
        most -= 1
    return shorten_middle(text, most)


def wrap(text: str, letters: Font, room_px: float) -> list[str]:
    """Break a text between words into lines that fit into a number of pixels."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, letters) <= room_px:
            lines[-1] = longer
        else:
            lines.append(fit(word, letters, room_px))
    return lines


def write(
    draw: ImageDraw.ImageDraw, xy: tuple[float, float], text: str, letters: Font, colour: str
) -> None:
    """Write a text with its left middle at a place."""
    draw.text(xy, text, font=letters, fill=colour, anchor="lm")


@lru_cache(maxsize=4096)
def _has_shape(letter: str) -> bool:
    if letter.isascii() or not letter.isprintable():
        return letter.isprintable()
    # A private character nobody designs: its shape is the font's "no such letter".
    missing = font(16).getmask("\U0010fffd")
    found = font(16).getmask(letter)
    return found.size != missing.size or bytes(found) != bytes(missing)
