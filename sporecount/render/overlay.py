"""What programs burn into a picture: text, scale bars, time stamps."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

_INK = {"white": (255, 255, 255), "black": (0, 0, 0), "yellow": (255, 230, 0), "red": (230, 30, 20)}
_CORNERS = ("top left", "top right", "bottom left", "bottom right")


@dataclass(frozen=True)
class Label:
    """One burned-in mark.

    Attributes
    ----------
    text : str
        What is written.
    corner : str
        ``"top left"``, ``"top right"``, ``"bottom left"`` or ``"bottom right"``.
    ink : str
        ``"white"``, ``"black"``, ``"yellow"`` or ``"red"``.
    height : float
        Height of the letters, as a share of the picture's height.
    box : bool
        Whether a box stands behind it.
    bar_um : float
        Length of a scale bar above the text; 0 for none.
    """

    text: str
    corner: str
    ink: str = "white"
    height: float = 0.04
    box: bool = False
    bar_um: float = 0.0


@dataclass(frozen=True)
class OverlayPlan:
    """All burned-in marks of a picture."""

    labels: tuple[Label, ...] = ()


def random_overlay(rng: np.random.Generator, width_um: float) -> OverlayPlan:
    """Draw one to three marks, each in a corner of its own."""
    corners = list(rng.permutation(_CORNERS))[: int(rng.integers(1, 4))]
    return OverlayPlan(tuple(_random_label(rng, str(corner), width_um) for corner in corners))


def _random_label(rng: np.random.Generator, corner: str, width_um: float) -> Label:
    kind = rng.random()
    bar_um = 0.0
    if kind < 0.4:
        steps = np.array([5, 10, 20, 25, 50, 100, 200, 250, 500, 1000])
        fitting = steps[(steps > 0.06 * width_um) & (steps < 0.4 * width_um)]
        bar_um = float(rng.choice(fitting)) if len(fitting) else 0.0
        text = f"{bar_um:.0f} um" if bar_um and rng.random() < 0.8 else ""
    elif kind < 0.7:
        text = (
            f"{rng.integers(1, 29):02d}.{rng.integers(1, 13):02d}.20{rng.integers(20, 40)} "
            f"{rng.integers(0, 24):02d}:{rng.integers(0, 60):02d}"
        )
    else:
        text = str(rng.choice(["tape", "jar", "slide", "no.", "x10", "obj 4"]))
        text += f" {rng.integers(1, 200)}"
    return Label(
        text=text,
        corner=corner,
        ink=str(rng.choice(list(_INK))),
        height=float(rng.uniform(0.02, 0.06)),
        box=bool(rng.random() < 0.35),
        bar_um=bar_um,
    )


def burn_in(
    pixels: NDArray[np.uint8], um_per_px: float, plan: OverlayPlan
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return the picture with its marks, and where they hide the sample.

    Parameters
    ----------
    pixels : ndarray, shape (h, w, 3), uint8
        RGB picture; left as it is.
    um_per_px : float
        Scale of the picture, for the bars.
    plan : OverlayPlan
        The marks.

    Returns
    -------
    pixels : ndarray, shape (h, w, 3), uint8
    hidden : ndarray, shape (h, w), bool
    """
    hidden = np.zeros(pixels.shape[:2], bool)
    if not plan.labels:
        return pixels, hidden
    out = pixels.copy()
    for label in plan.labels:
        _burn(out, hidden, label, um_per_px)
    return out, hidden


def _burn(
    out: NDArray[np.uint8], hidden: NDArray[np.bool_], label: Label, um_per_px: float
) -> None:
    """Write one mark onto a picture and its mask, which belong to the caller."""
    height, width = out.shape[:2]
    letter = max(6, round(label.height * height))
    scale, thick = letter / 22.0, max(1, letter // 10)
    font = cv2.FONT_HERSHEY_SIMPLEX
    text_w, text_h = cv2.getTextSize(label.text, font, scale, thick)[0] if label.text else (0, 0)
    bar_w = round(label.bar_um / um_per_px)
    bar_h = max(2, letter // 4) if bar_w else 0
    gap = max(3, letter // 3)
    block_w, block_h = max(text_w, bar_w), text_h + bar_h + (gap if bar_w and text_h else 0)
    if not block_w:
        return
    left = gap if "left" in label.corner else width - block_w - gap
    top = gap if "top" in label.corner else height - block_h - gap
    ink = _INK[label.ink]
    if label.box:
        ground = (0, 0, 0) if sum(ink) > 300 else (255, 255, 255)
        corner, other = (left - gap, top - gap), (left + block_w + gap, top + block_h + gap)
        cv2.rectangle(out, corner, other, ground, -1)
    if bar_w:
        x0 = left + (block_w - bar_w) // 2
        cv2.rectangle(out, (x0, top), (x0 + bar_w - 1, top + bar_h - 1), ink, -1)
    if text_h:
        place = (left + (block_w - text_w) // 2, top + block_h)
        cv2.putText(out, label.text, place, font, scale, ink, thick, cv2.LINE_AA)
    edge = gap if label.box else 1
    hidden[
        max(0, top - edge) : top + block_h + edge, max(0, left - edge) : left + block_w + edge
    ] = True
