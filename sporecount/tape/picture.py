"""The layout as a picture: photos in their places, seams, numbers, spores, a scale bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from sporecount.detect.table import FRAGMENT, STATES
from sporecount.report.lettering import drawable, font, width, wrap
from sporecount.report.strips import round_length_um
from sporecount.report.strokes import STROKES, draw_stroke, grow
from sporecount.tape.tape import Tape
from sporecount.tape.union import Region
from sporecount.tape.view import View

#: Longest side of the picture, pixels, and its finest scale, um per pixel.
_MOST_PX, _FINEST_UM_PER_PX = 2400, 0.9

#: Narrowest picture: the text needs room.
_LEAST_PX = 900

#: Gap between parts that are not joined, pixels.
_GAP_PX = 28

_GROUND, _INK, _QUIET, _ALERT = "#16202c", "#f4f6f8", "#aab7c4", "#ffcf5c"
_GROUND_RGB, _SEAM, _CASING = (22, 32, 44), (255, 255, 255), (12, 24, 48)


@dataclass(frozen=True)
class _Panel:
    """Where a group's map goes on the picture."""

    region: Region
    left: int
    top: int
    um_per_px: float

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        factor = self.region.um_per_px / self.um_per_px
        rows, columns = self.region.owner.shape
        return max(1, round(columns * factor)), max(1, round(rows * factor))

    def to_px(self, xy_um: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring points, shape (n, 2), from the group's frame to the picture."""
        return (xy_um - self.region.corner_um) / self.um_per_px - 0.5 + (self.left, self.top)


def draw_layout(views: Sequence[View], tape: Tape) -> NDArray[np.uint8]:
    """Draw the photos of a tape in their places, with what was found.

    Each place is shown as the photo shows it to which it belongs; parts that are not
    joined stand side by side, and parts that are not counted are pale.

    Parameters
    ----------
    views : sequence of View
        The photos, as given to `sporecount.tape.tape.assemble`.
    tape : Tape
        What came of them.

    Returns
    -------
    ndarray, shape (rows, columns, 3), uint8
        RGB, at most about 2400 pixels wide or high, strips not included.
    """
    regions = [region for region in tape.regions if (region.owner >= 0).any()]
    panels = _arranged(regions)
    wide = max([_LEAST_PX, *(panel.left + panel.size_px[0] + _GAP_PX for panel in panels)])
    high = max([_GAP_PX, *(panel.top + panel.size_px[1] + _GAP_PX for panel in panels)])
    canvas = np.full((high, wide, 3), _GROUND_RGB, np.uint8)
    counted = set(tape.fields.loc[tape.fields["counted"], "group"])
    size = int(np.clip(wide / 62, 15, 34))
    for panel in panels:
        owner = _paint(canvas, panel, views, tape, pale=panel.region.group not in counted)
        _seams(canvas, panel, owner, max(1, size // 12))
        own = tape.detections[tape.detections["group"] == panel.region.group]
        _marks(canvas, panel, own, views, tape)
        _numbers(canvas, panel, owner, views, size)
    bar_um_per_px = panels[0].um_per_px if panels else None
    return np.vstack([_header(tape, wide, size), canvas, _footer(tape, wide, size, bar_um_per_px)])


def _arranged(regions: list[Region]) -> list[_Panel]:
    """Place the groups' maps in rows, at one scale."""
    if not regions:
        return []
    sizes = [np.array(region.owner.shape[::-1]) * region.um_per_px for region in regions]
    row_um = max(1.25 * float(np.sqrt(sum(np.prod(size) for size in sizes))),
                 max(float(size[0]) for size in sizes))  # fmt: skip
    rows: list[list[int]] = [[]]
    filled = 0.0
    for number, size in enumerate(sizes):
        if rows[-1] and filled + size[0] > row_um * 1.02:
            rows.append([])
            filled = 0.0
        rows[-1].append(number)
        filled += float(size[0])
    wide = max(sum(float(sizes[n][0]) for n in row) for row in rows)
    high = sum(max(float(sizes[n][1]) for n in row) for row in rows)
    scale = max(_FINEST_UM_PER_PX, wide / _MOST_PX, high / _MOST_PX)
    panels, top = [], _GAP_PX
    for row in rows:
        left, tallest = _GAP_PX, 0
        for n in row:
            panel = _Panel(regions[n], left, top, scale)
            panels.append(panel)
            left += panel.size_px[0] + _GAP_PX
            tallest = max(tallest, panel.size_px[1])
        top += tallest + _GAP_PX
    return panels


def _paint(
    canvas: NDArray[np.uint8], panel: _Panel, views: Sequence[View], tape: Tape, *, pale: bool
) -> NDArray[np.int16]:
    """Lay each photo on the places it owns; return the owners at the picture's scale."""
    columns, rows = panel.size_px
    # Cells are numbers of photos: to be picked, never mixed.
    owner = cv2.resize(panel.region.owner, (columns, rows), interpolation=cv2.INTER_NEAREST)
    owner = np.asarray(owner, np.int16).reshape(rows, columns)
    part = canvas[panel.top : panel.top + rows, panel.left : panel.left + columns]
    for n in np.unique(owner[owner >= 0]).tolist():
        view = views[n]
        matrix = tape.layout.poses[n].matrix_px(view.um_per_px, panel.um_per_px)
        matrix[:, 2] -= np.array(panel.region.corner_um) / panel.um_per_px
        picture = view.picture
        factor = view.um_per_px / panel.um_per_px
        if factor < 0.7:
            picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.4 / factor), np.uint8)
        laid = cv2.warpAffine(picture, matrix, (columns, rows), flags=cv2.INTER_LINEAR,
                              borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        own = owner == n
        part[own] = np.asarray(laid, np.uint8)[own]
    if pale:
        shown = owner >= 0
        part[shown] = (0.35 * part[shown] + 0.65 * np.array(_GROUND_RGB)).astype(np.uint8)
    return owner


def _seams(canvas: NDArray[np.uint8], panel: _Panel, owner: NDArray[np.int16], line: int) -> None:
    """Draw the borders between photos and around them, light within a dark casing."""
    rows, columns = owner.shape
    border = np.zeros((rows, columns), np.uint8)
    border[:, 1:] |= owner[:, 1:] != owner[:, :-1]
    border[1:] |= owner[1:] != owner[:-1]
    part = canvas[panel.top : panel.top + rows, panel.left : panel.left + columns]
    for colour, thick in ((_CASING, line + 2), (_SEAM, line)):
        wide = cv2.dilate(border, np.ones((thick, thick), np.uint8)).astype(bool)
        part[wide] = (0.25 * part[wide] + 0.75 * np.array(colour)).astype(np.uint8)


def _marks(
    canvas: NDArray[np.uint8],
    panel: _Panel,
    found: pd.DataFrame,
    views: Sequence[View],
    tape: Tape,
) -> None:
    """Outline what was found, large enough to be seen."""
    number = {view.photo: n for n, view in reversed(list(enumerate(views)))}
    line = float(np.clip(2.2 / panel.um_per_px, 1.0, 2.0))
    for row in found.itertuples():
        n = number[str(row.photo)]
        place = panel.to_px(np.array([[row.x_um, row.y_um]]))
        outline = np.asarray(row.outline_px, float).reshape(-1, 2) if _has(row.outline_px) else None
        if outline is None or len(outline) < 3:
            turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            ring = place + 6.0 / panel.um_per_px * np.column_stack([np.cos(turn), np.sin(turn)])
        else:
            on_photo = (outline + 0.5) * views[n].photo_um_per_px
            ring = panel.to_px(tape.layout.poses[n].outwards(on_photo))
        draw_stroke(canvas, grow(ring, 1.5 * line + 2.0), STROKES[str(row.state)], line)


def _has(outline: object) -> bool:
    return isinstance(outline, np.ndarray) or (isinstance(outline, list) and len(outline) > 0)


def _numbers(
    canvas: NDArray[np.uint8],
    panel: _Panel,
    owner: NDArray[np.int16],
    views: Sequence[View],
    size: int,
) -> None:
    """Write each photo's number into the upper left of the area that it owns."""
    rows, columns = owner.shape
    part = canvas[panel.top : panel.top + rows, panel.left : panel.left + columns]
    picture = Image.fromarray(part)
    draw = ImageDraw.Draw(picture)
    letters = font(round(1.15 * size))
    for n in np.unique(owner[owner >= 0]).tolist():
        own = np.pad((owner == n).astype(np.uint8), 1)
        depth = cv2.distanceTransform(own, cv2.DIST_L2, 3)[1:-1, 1:-1]
        y, x = np.nonzero(depth >= min(1.1 * size, 0.9 * float(depth.max())))
        first = int(np.argmin(x + y))
        draw.text((x[first], y[first]), str(n + 1), font=letters, fill=_INK, anchor="mm",
                  stroke_width=max(2, size // 7), stroke_fill=_GROUND)  # fmt: skip
    part[:] = np.asarray(picture)


def _header(tape: Tape, wide: int, size: int) -> NDArray[np.uint8]:
    photos, used = len(tape.layout.placements), int(tape.fields["counted"].sum())
    of = f"{photos} photo{'s' * (photos != 1)}" if used == photos else f"{used} of {photos} photos"
    lines = [
        (f"{tape.spores} spore{'s' * (tape.spores != 1)} on {tape.examined_mm2:.3g} mm2  ·  "
         f"{of}, each place counted once", 1.4, _INK),
        *((note, 0.9, _ALERT if "may overlap" in note else _QUIET) for note in tape.notes),
    ]  # fmt: skip
    room = wide - 2 * size
    fitted = [
        (part, scale, colour)
        for text, scale, colour in lines
        for part in wrap(drawable(text), font(round(size * scale)), room)
    ]
    heights = [round(1.45 * size * scale) for _, scale, _ in fitted]
    strip = Image.new("RGB", (wide, sum(heights) + size), _GROUND)
    draw, top = ImageDraw.Draw(strip), size / 2
    for (text, scale, colour), height in zip(fitted, heights, strict=True):
        draw.text((size, top + height / 2), text, font=font(round(size * scale)), fill=colour,
                  anchor="lm")  # fmt: skip
        top += height
    return np.asarray(strip)


def _footer(tape: Tape, wide: int, size: int, um_per_px: float | None) -> NDArray[np.uint8]:
    """Return the strip with the legend and the scale bar."""
    letters = font(round(0.9 * size))
    strip = Image.new("RGB", (wide, 4 * size), _GROUND)
    draw = ImageDraw.Draw(strip)
    states = tape.detections.loc[tape.detections["counted"], "state"].value_counts()
    places, x = [], float(size)
    for state in STATES:
        text = f"{state}: {states.get(state, 0)}{' (not counted)' if state == FRAGMENT else ''}"
        draw.text((x + 2.6 * size, 2 * size), text, font=letters, fill=_INK, anchor="lm")
        places.append((state, x + 1.1 * size))
        x += 4.0 * size + width(text, letters)
    if um_per_px is not None:
        bar_um = round_length_um(wide / 5 * um_per_px)
        bar = round(bar_um / um_per_px)
        right, y = wide - size, round(2.3 * size)
        draw.rectangle((right - bar, y, right - 1, y + max(3, size // 4)), fill=_INK)
        text = f"{bar_um / 1000:g} mm" if bar_um >= 1000 else f"{bar_um:g} um"
        draw.text((right - bar / 2, y - size // 4), text, font=font(size), fill=_INK, anchor="ms")
    canvas = np.array(strip)
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    for state, x in places:
        ring = np.column_stack((x + size * np.cos(turn), 2 * size + 0.6 * size * np.sin(turn)))
        draw_stroke(canvas, ring, STROKES[state], max(2, size / 10))
    return canvas
