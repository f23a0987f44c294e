"""Outlines of a review, drawn for the part of the photo that is on screen.

Lines keep their width on the screen at every zoom. A state is told by the line, not by colour
alone, and is drawn as on marked copies.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.rays import RAYS
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, STATES
from sporecount.report.strokes import STROKES
from sporecount.review.shapes import evenly

#: Casing of lines; what is selected; what was rejected. RGBA.
_CASING = (12, 24, 48, 255)
_SELECTED = (255, 90, 205, 255)
_GONE = (225, 225, 225, 255)

#: Which of the points of an outline are in one dash: start, stop, of so many.
_DASHES = {INTACT: None, DAMAGED: (4, 8), FRAGMENT: (1, 4)}

#: A spore smaller than this on screen is outlined by fewer points, px.
_SMALL_PX = 14.0
#: An outline lies so far outside of its object, so that this stays in sight, px.
_OUTSIDE_PX = 2.0
#: From this length on the screen, the confidence is written beside what nobody has judged, px.
_WRITTEN_PX = 45.0
#: Confidence from which it is not worth writing.
_SURE = 0.9
#: Fractional bits of the drawing calls: lines land between pixels.
_SHIFT = 4


#: Nothing that is drawn of an outline is further away from it, screen pixels: its ring; where
#: spores are large enough, its confidence.
_MARGIN, _FAR_MARGIN = 16, 70
_BORDER = 16

#: Left, top, right and bottom, photo pixels.
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Screen:
    """The part of a photo that is on screen.

    Attributes
    ----------
    left_px, top_px : float
        Its corner, in photo pixels.
    zoom : float
        Screen pixels per photo pixel.
    width, height : int
        Its size in screen pixels.
    """

    left_px: float
    top_px: float
    zoom: float
    width: int
    height: int

    def to_screen(self, xy_px: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
        """Convert x, y in photo pixels to screen pixels, pixel centres at integers."""
        corner = np.array([self.left_px, self.top_px])
        return (np.asarray(xy_px, float) - corner + 0.5) * self.zoom - 0.5


class Marks:
    """What is drawn of a review, in arrays: an action changes one or two entries.

    Parameters
    ----------
    rows : mapping of str to mapping
        Id to row, as in `sporecount.review.ledger.Ledger.rows`.
    radius_px : float
        Of the circle around what has no outline.

    Attributes
    ----------
    names : list of str
        Ids.
    xy_px : ndarray, shape (n, 2), float64
        Centres.
    outlines_px : ndarray, shape (n, 48, 2), float32
        Outlines.
    usual_px : float
        Usual size of an outline, photo pixels; fixed, so that lines never change their look.
    """

    def __init__(self, rows: Mapping[str, Mapping[str, Any]], radius_px: float = 5.0) -> None:
        self._radius_px = radius_px
        self.names: list[str] = []
        self._place: dict[str, int] = {}
        self.xy_px = np.zeros((0, 2))
        self.outlines_px = np.zeros((0, RAYS, 2), np.float32)
        self._state = np.zeros(0, np.int64)
        self._confidence = np.zeros(0)
        self._standing = np.zeros(0, bool)
        self._looked_at = np.zeros(0, bool)
        self._there = np.zeros(0, bool)
        self.usual_px = 4.0 * radius_px
        self.update(rows, rows)
        if self.names:
            self.usual_px = float(np.median(np.ptp(self.outlines_px, axis=1).max(axis=1)))

    def update(self, names: Iterable[str], rows: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over what changed.

        Parameters
        ----------
        names : iterable of str
            Ids of the rows that changed; one that is no longer in ``rows`` is not drawn.
        rows : mapping
            As in the constructor.
        """
        names = list(dict.fromkeys(names))
        self._make_room([name for name in names if name not in self._place])
        for name in names:
            k, row = self._place[name], rows.get(name)
            self._there[k] = row is not None
            if row is None:
                continue
            self.xy_px[k] = row["x_px"], row["y_px"]
            self.outlines_px[k] = _outline(row, self._radius_px)
            self._state[k] = STATES.index(row["state"])
            self._confidence[k] = row["confidence"]
            self._standing[k], self._looked_at[k] = row["standing"], row["looked_at"]

    def box(self, name: str) -> Box | None:
        """Return left, top, right and bottom of an outline in photo pixels."""
        place = self._place.get(name)
        if place is None:
            return None
        outline = self.outlines_px[place]
        return (*outline.min(axis=0).tolist(), *outline.max(axis=0).tolist())

    def at(self, x_px: float, y_px: float, reach_px: float) -> str | None:
        """Return the detection at a place: the one around it, else the nearest within reach.

        Rejected ones come last, so that they can be brought back.
        """
        apart = np.hypot(*(self.xy_px - (x_px, y_px)).T)
        half = np.abs(self.outlines_px - self.xy_px[:, None]).max(axis=(1, 2), initial=0.0)
        for wanted in (self._standing, ~self._standing):
            near = np.flatnonzero(self._there & wanted & (apart <= np.maximum(half, reach_px)))
            near = near[np.argsort(apart[near])]
            around = [
                k
                for k in near
                if cv2.pointPolygonTest(self.outlines_px[k], (float(x_px), float(y_px)), False) >= 0
            ]
            close = [k for k in near if apart[k] <= reach_px]
            for k in (*around, *close):
                return self.names[k]
        return None

    def _make_room(self, new: list[str]) -> None:
        if not new:
            return
        self._place.update({name: len(self.names) + k for k, name in enumerate(new)})
        self.names += new
        for name in ("xy_px", "outlines_px"):
            old = getattr(self, name)
            room = np.zeros((len(new), *old.shape[1:]), old.dtype)
            setattr(self, name, np.concatenate([old, room]))
        for name in ("_state", "_confidence", "_standing", "_looked_at", "_there"):
            old = getattr(self, name)
            setattr(self, name, np.concatenate([old, np.zeros(len(new), old.dtype)]))

    def margin(self, screen: Screen) -> int:
        """Return how far from an outline something may be drawn of it, screen pixels."""
        return _FAR_MARGIN if self.usual_px * screen.zoom >= _WRITTEN_PX else _MARGIN

    def on_screen(self, screen: Screen) -> NDArray[np.int64]:
        """Return the places of what is seen."""
        far = np.array([screen.width, screen.height]) / screen.zoom
        low = np.array([screen.left_px, screen.top_px])
        slack = self.margin(screen) / screen.zoom + 1.5 * self.usual_px
        inside = (self.xy_px > low - slack) & (self.xy_px < low + far + slack)
        return np.flatnonzero(self._there & inside.all(axis=1))


def draw_overlay(
    marks: Marks,
    screen: Screen,
    selected: Collection[str] = (),
    *,
    hidden: bool = False,
    line: NDArray[np.float64] | None = None,
) -> NDArray[np.uint8]:
    """Draw what a review says on a transparent picture of the screen's size.

    Parameters
    ----------
    marks : Marks
        The detections.
    screen : Screen
        What of the photo is seen.
    selected : collection of str
        Ids that are selected.
    hidden : bool
        Show nothing but what is selected.
    line : ndarray, shape (n, 2), float64, optional
        A line that is just being drawn, in photo pixels.

    Returns
    -------
    ndarray, shape (height, width, 4), uint8
        RGBA.
    """
    canvas = np.zeros((screen.height, screen.width, 4), np.uint8)
    seen = marks.on_screen(screen)
    chosen = [k for k in seen if marks.names[k] in selected]
    if not hidden:
        _draw_gone(canvas, marks, seen[~marks._standing[seen]], screen)
        _draw_standing(canvas, marks, seen[marks._standing[seen]], screen)
    for k in chosen:
        ring = _grown(marks, np.array([k]), screen, _OUTSIDE_PX + 8.0)
        _lines(canvas, list(ring), _SELECTED, 2, closed=True)
    if line is not None and len(line) > 1:
        _lines(canvas, [screen.to_screen(line)], _SELECTED, 2, closed=False)
    return canvas


def redraw(
    picture: NDArray[np.uint8],
    marks: Marks,
    screen: Screen,
    boxes_px: Iterable[Box],
    selected: Collection[str] = (),
    *,
    hidden: bool = False,
) -> None:
    """Draw parts of an overlay anew, in place: as `draw_overlay` would, in less time.

    Parameters
    ----------
    picture : ndarray, shape (height, width, 4), uint8
        From `draw_overlay`, of the same screen; changed.
    marks, screen, selected, hidden
        As for `draw_overlay`.
    boxes_px : iterable of Box
        Where something changed, from `Marks.box`.
    """
    size = (screen.width, screen.height)
    margin = marks.margin(screen)
    for box in dict.fromkeys(boxes_px):
        low = np.floor(screen.to_screen(np.array(box[:2]))).astype(int) - margin
        high = np.ceil(screen.to_screen(np.array(box[2:]))).astype(int) + margin + 1
        left, top = np.clip(low, 0, size).tolist()
        right, bottom = np.clip(high, 0, size).tolist()
        if right <= left or bottom <= top:
            continue
        # Drawn with a border to cut off: lines end otherwise where the picture does.
        part = Screen(
            screen.left_px + (left - _BORDER) / screen.zoom,
            screen.top_px + (top - _BORDER) / screen.zoom,
            screen.zoom,
            right - left + 2 * _BORDER,
            bottom - top + 2 * _BORDER,
        )
        drawn = draw_overlay(marks, part, selected, hidden=hidden)
        picture[top:bottom, left:right] = drawn[_BORDER:-_BORDER, _BORDER:-_BORDER]


def _draw_standing(
    canvas: NDArray[np.uint8], marks: Marks, seen: NDArray[np.int64], screen: Screen
) -> None:
    if not len(seen):
        return
    outlines = _grown(marks, seen, screen, _OUTSIDE_PX)
    size = marks.usual_px * screen.zoom
    for code, state in enumerate(STATES):
        for judged in (False, True):
            own = (marks._state[seen] == code) & (marks._looked_at[seen] == judged)
            if own.any():
                colour = (*STROKES[state].colour, 255)
                core = (2 if judged else 1) if size < 2 * _SMALL_PX else (4 if judged else 2)
                pieces, closed = _dashed(outlines[own], state, size)
                _lines(canvas, pieces, colour, core, closed=closed)
    if size >= _WRITTEN_PX:
        _write_confidences(canvas, marks, seen, outlines)


def _dashed(
    outlines: NDArray[np.float64], state: str, size: float
) -> tuple[list[NDArray[np.float64]], bool]:
    """Return the pieces of outlines, and whether they are closed lines."""
    dash = _DASHES[state]
    if size < _SMALL_PX:
        outlines = outlines[:, ::4]
        dash = None if dash is None else (2, 3) if state == DAMAGED else (1, 4)
    elif size < _WRITTEN_PX and state == FRAGMENT:
        dash = (1, 6)  # dots that are nearer run into each other
    if dash is None:
        return list(outlines), True
    part, of = dash
    ring = np.concatenate([outlines, outlines[:, :1]], axis=1)
    starts = range(0, ring.shape[1] - 1, of)
    pieces = [ring[:, start : start + part + 1] for start in starts]
    return [piece for group in pieces for piece in group], False


def _draw_gone(
    canvas: NDArray[np.uint8], marks: Marks, seen: NDArray[np.int64], screen: Screen
) -> None:
    """Draw a small cross where something was rejected."""
    at = screen.to_screen(marks.xy_px[seen])
    arm = np.array([4.0, 4.0])
    crosses = [(-arm, arm), (arm * (1, -1), arm * (-1, 1))]
    pieces = [np.array([xy + a, xy + b]) for xy in at for a, b in crosses]
    _lines(canvas, pieces, _GONE, 1, closed=False)


def _write_confidences(
    canvas: NDArray[np.uint8],
    marks: Marks,
    seen: NDArray[np.int64],
    outlines: NDArray[np.float64],
) -> None:
    """Write how sure the tool is beside what it is less sure of and nobody has judged."""
    unsure = ~marks._looked_at[seen] & (marks._confidence[seen] < _SURE)
    for k, outline in zip(seen[unsure], outlines[unsure], strict=True):
        x, y = int(outline[:, 0].max()) + 4, int(outline[:, 1].mean()) + 5
        text = f"{100 * marks._confidence[k]:.0f} %"
        for colour, width in (((255, 255, 255, 255), 4), (_CASING, 1)):
            cv2.putText(
                canvas, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.5, colour, width, cv2.LINE_AA
            )


def _grown(
    marks: Marks, places: NDArray[np.int64], screen: Screen, by_px: float
) -> NDArray[np.float64]:
    """Return outlines in screen pixels, pushed outwards; shape (n, 48, 2)."""
    outlines = screen.to_screen(marks.outlines_px[places])
    arms = outlines - outlines.mean(axis=1, keepdims=True)
    lengths = np.linalg.norm(arms, axis=2, keepdims=True)
    return outlines + arms / np.maximum(lengths, 1e-9) * by_px


def _lines(
    canvas: NDArray[np.uint8],
    pieces: list[NDArray[np.float64]],
    colour: tuple[int, int, int, int],
    core: int,
    *,
    closed: bool,
) -> None:
    if not pieces:
        return
    fixed = [np.rint(piece * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2) for piece in pieces]
    for each, thickness in ((_CASING, core + 2), (colour, core)):
        cv2.polylines(canvas, fixed, closed, each, thickness, cv2.LINE_AA, _SHIFT)


def _outline(row: Mapping[str, Any], radius_px: float) -> NDArray[np.float64]:
    """Return a row's outline in as many points as any has; a circle where it has none."""
    outline = np.asarray(row["outline_px"], float).reshape(-1, 2)
    if len(outline) == RAYS:
        return outline
    if len(outline) >= 3:
        return evenly(outline)
    turn = np.arange(RAYS) * (2 * np.pi / RAYS)
    circle = radius_px * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return np.asarray(circle + (row["x_px"], row["y_px"]), float)
