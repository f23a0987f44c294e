"""The photo and its outlines in the viewer: two layers, and the mouse on them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QTimer

from sporecount.review.overlay import Box, Marks, Screen, draw_overlay, redraw

#: Photos with a longer side are shown from copies of half, quarter ... size.
_WHOLE_PX = 3000

#: Pause after the view moved before outlines are drawn anew, ms.
_PAUSE_MS = 15

#: How far from an outline a click still means it, screen pixels.
_REACH_SCREEN_PX = 12.0

#: A mouse that moved by more than this did not click, screen pixels.
_CLICK_SCREEN_PX = 4.0

#: On-screen length of a spore that is being looked at, pixels.
_CLOSE_PX = 110.0

#: Names of the two layers.
PHOTO_LAYER, OUTLINES_LAYER = "photo", "outlines"


def levels_of(pixels: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Return a photo and its smaller copies; the photo alone where it is small."""
    levels = [pixels]
    while max(levels[-1].shape[:2]) > _WHOLE_PX:
        rows, columns = levels[-1].shape[:2]
        half = cv2.resize(levels[-1], (columns // 2, rows // 2), interpolation=cv2.INTER_AREA)
        levels.append(np.asarray(half, np.uint8))
    return levels


class Picture:
    """What the viewer shows of a review.

    Parameters
    ----------
    viewer : napari.Viewer
        The window.
    clicked : callable
        Called with x and y of a click in photo pixels, and whether Shift was down.
    drawn : callable
        Called with the line that was drawn, shape (n, 2), while `drawing` is on.
    """

    def __init__(
        self,
        viewer: Any,
        clicked: Callable[[float, float, bool], None],
        drawn: Callable[[NDArray[np.float64]], None],
    ) -> None:
        self._viewer, self._clicked, self._drawn = viewer, clicked, drawn
        self._photo: Any = None
        self._outlines: Any = None
        self._marks = Marks({})
        self._screen: Screen | None = None
        self._canvas: NDArray[np.uint8] | None = None
        self.um_per_px = 1.0
        self.selected: tuple[str, ...] = ()
        self._hidden = False
        self._drawing = False
        self._line: NDArray[np.float64] | None = None
        self._timer = QTimer()
        self._timer.setSingleShot(True)
        self._timer.setInterval(_PAUSE_MS)
        self._timer.timeout.connect(self.refresh)
        viewer.scene.camera.events.connect(self._moved)
        viewer.canvas.events.size.connect(self._moved)
        viewer.mouse_drag_callbacks.append(self._mouse)

    def detach(self) -> None:
        """Let go of the viewer."""
        self._timer.stop()
        self._viewer.scene.camera.events.disconnect(self._moved)
        self._viewer.canvas.events.size.disconnect(self._moved)
        if self._mouse in self._viewer.mouse_drag_callbacks:
            self._viewer.mouse_drag_callbacks.remove(self._mouse)
        self.clear()

    def show(self, levels: Sequence[NDArray[np.uint8]], um_per_px: float, name: str) -> None:
        """Show a photo in place of the one before."""
        self.clear()
        self.um_per_px = um_per_px
        scale = (um_per_px, um_per_px)
        pyramid = len(levels) > 1
        self._photo = self._viewer.add_image(
            list(levels) if pyramid else levels[0],
            rgb=True,
            multiscale=pyramid,
            scale=scale,
            units=("um", "um"),
            name=name,
        )
        self._outlines = self._viewer.add_image(
            np.zeros((2, 2, 4), np.uint8),
            rgb=True,
            scale=scale,
            units=("um", "um"),
            name=OUTLINES_LAYER,
            interpolation2d="nearest",
        )
        self._viewer.layers.selection.active = self._photo
        self._viewer.scale_bar.visible = True
        self.whole()

    def clear(self) -> None:
        """Take the photo and its outlines away."""
        for layer in (self._photo, self._outlines):
            if layer is not None and layer in self._viewer.layers:
                self._viewer.layers.remove(layer)
        self._photo = self._outlines = None
        self._screen = self._canvas = None
        self._marks, self.selected, self._line = Marks({}), (), None

    @property
    def layers(self) -> tuple[Any, ...]:
        """The layers that are there."""
        return tuple(layer for layer in (self._photo, self._outlines) if layer is not None)

    @property
    def marks(self) -> Marks:
        """The detections that are drawn."""
        return self._marks

    def follow(self, marks: Marks) -> None:
        """Draw other detections."""
        self._marks, self.selected = marks, ()
        self.refresh()

    def changed(self, names: Sequence[str], rows: Any) -> None:
        """Draw anew what changed of the detections."""
        boxes = [self._marks.box(name) for name in names]
        self._marks.update(names, rows)
        self._redraw([*boxes, *(self._marks.box(name) for name in names)])

    def select(self, names: Sequence[str]) -> None:
        """Select detections."""
        old, self.selected = self.selected, tuple(dict.fromkeys(names))
        if self._line is not None:
            self.keep_line(None)
            return
        if old == self.selected:
            return
        self._redraw([self._marks.box(name) for name in {*old, *self.selected}])

    def at(self, x_px: float, y_px: float) -> str | None:
        """Return the detection at a place."""
        zoom = max(self._viewer.scene.camera.zoom * self.um_per_px, 1e-9)
        return self._marks.at(x_px, y_px, _REACH_SCREEN_PX / zoom)

    @property
    def hidden(self) -> bool:
        """Whether outlines are hidden."""
        return self._hidden

    @hidden.setter
    def hidden(self, value: bool) -> None:
        self._hidden = value
        self.refresh()

    @property
    def drawing(self) -> bool:
        """Whether the mouse draws a line instead of moving the view."""
        return self._drawing

    @drawing.setter
    def drawing(self, value: bool) -> None:
        self._drawing = value
        self._viewer.scene.camera.mouse_pan = not value

    def whole(self) -> None:
        """Show the whole photo."""
        self._viewer.reset_view()

    def look_at(self, x_px: float, y_px: float) -> None:
        """Go to a place, near enough to judge what is there."""
        scale = self.um_per_px
        close = _CLOSE_PX / (self._marks.usual_px * scale)
        self._viewer.scene.camera.center = (y_px * scale, x_px * scale)
        if not 0.5 * close <= self._viewer.scene.camera.zoom <= 3 * close:
            self._viewer.scene.camera.zoom = close

    def ring(self, x_px: float, y_px: float) -> None:
        """Draw a ring around a place where nothing was found."""
        turn = np.linspace(0, 2 * np.pi, 49)
        circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        self.keep_line(np.array([x_px, y_px]) + 0.9 * self._marks.usual_px * circle)

    def keep_line(self, line: NDArray[np.float64] | None) -> None:
        """Draw a line until something is selected or another photo is shown."""
        self._line = line
        self.refresh()

    @property
    def pointer_px(self) -> tuple[float, float]:
        """Where the mouse is, x and y in photo pixels."""
        return self._to_photo(self._viewer.cursor.position)

    def refresh(self) -> None:
        """Draw all outlines that are on screen."""
        self._timer.stop()
        if self._outlines is None or self._outlines not in self._viewer.layers:
            return
        screen = self._on_screen()
        self._canvas = draw_overlay(
            self._marks, screen, self.selected, hidden=self._hidden, line=self._line
        )
        self._put(screen)

    def _put(self, screen: Screen) -> None:
        layer, scale = self._outlines, self.um_per_px
        if screen != self._screen:
            corner = [
                (0.5 / screen.zoom - 0.5 + low) * scale for low in (screen.top_px, screen.left_px)
            ]
            layer.data = self._canvas
            layer.scale = (scale / screen.zoom, scale / screen.zoom)
            layer.translate = corner
            self._screen = screen
        else:
            layer.data = self._canvas

    def _redraw(self, boxes: Sequence[Box | None]) -> None:
        there = [box for box in boxes if box is not None]
        screen = self._on_screen()
        if self._canvas is None or self._outlines is None or screen != self._screen:
            self.refresh()
        elif there and self._outlines in self._viewer.layers:
            redraw(self._canvas, self._marks, screen, there, self.selected, hidden=self._hidden)
            self._outlines.refresh(thumbnail=False, extent=False)

    def _on_screen(self) -> Screen:
        height, width = self._viewer.canvas.size
        zoom, scale = self._viewer.scene.camera.zoom, self.um_per_px
        y, x = self._viewer.scene.camera.center[-2:]
        left = (x - 0.5 * width / zoom) / scale + 0.5
        top = (y - 0.5 * height / zoom) / scale + 0.5
        return Screen(left, top, zoom * scale, max(2, int(width)), max(2, int(height)))

    def _to_photo(self, position: Sequence[float]) -> tuple[float, float]:
        y, x = position[-2:]
        return float(x) / self.um_per_px, float(y) / self.um_per_px

    def _moved(self, event: Any = None) -> None:
        if self._outlines is not None:
            self._timer.start()

    def _mouse(self, viewer: Any, event: Any) -> Iterator[None]:
        """Tell clicks from drags, and follow a line that is drawn."""
        if event.button != 1 or self._photo is None:
            return
        shift = "Shift" in event.modifiers
        line = [self._to_photo(event.position)]
        yield
        while event.type == "mouse_move":
            line.append(self._to_photo(event.position))
            if self._drawing:
                self._show_line(np.array(line))
            yield
        way = (
            max(math.dist(line[0], point) for point in line)
            * viewer.scene.camera.zoom
            * self.um_per_px
        )
        if self._drawing and way > _CLICK_SCREEN_PX:
            self.drawing = False
            self._drawn(np.array(line))
            self.refresh()
        elif way <= _CLICK_SCREEN_PX and not self._drawing:
            self._clicked(*line[0], shift)

    def _show_line(self, line: NDArray[np.float64]) -> None:
        screen = self._on_screen()
        self._canvas = draw_overlay(
            self._marks, screen, self.selected, hidden=self._hidden, line=line
        )
        self._put(screen)
