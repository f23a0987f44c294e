"""What a key or a button does to the photo that is open."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT
from sporecount.errors import SporecountError
from sporecount.review.actions import CONFIRM, REJECT, STATE
from sporecount.review.look import Look
from sporecount.review.session import ReviewSession
from sporecount.review.widget.keys import DEEDS
from sporecount.review.widget.parts import go_beside
from sporecount.review.widget.picture import Picture
from sporecount.review.widget.review_panel import ReviewPanel

#: What is asked at a place where nothing was found.
PLACE = "Nothing was found in the ring. C: it is a spore, and is added. X: there is none."

#: Points that are kept of a line drawn by hand.
_MOST_POINTS = 200


class Deeds:
    """Everything that can be done to the open photo, by name; see `keys.DEEDS`.

    Parameters
    ----------
    picture : Picture
        What is shown.
    panel : ReviewPanel
        The panel beside it.
    open_photo : callable
        Opens a photo by its place.
    """

    def __init__(
        self, picture: Picture, panel: ReviewPanel, open_photo: Callable[[int], None]
    ) -> None:
        self._picture, self._panel, self._open_photo = picture, panel, open_photo
        self.session: ReviewSession | None = None
        self._look: Look | None = None
        self._passed: set[str] = set()
        self._nothing: set[str] = set()

    def do(self, name: str) -> None:
        """Do what a name of `keys.DEEDS` says; what goes wrong is said in the panel."""
        if self.session is None or (self.session.now is None and name != "next_photo"):
            self._say("Open a photo first.")
            return
        self._say("")
        try:
            getattr(self, name)()
        except SporecountError as error:
            self._say(str(error))

    def opened(self) -> None:
        """Start afresh on another photo."""
        self._look, self._passed, self._nothing = None, set(), set()
        self._panel.show_look(None, start=True)
        self._picture.drawing = False

    def clicked(self, x_px: float, y_px: float, more: bool) -> None:
        """Select what was clicked on."""
        self._look = None
        name = self._picture.at(x_px, y_px)
        old = self._picture.selected if more else ()
        if name is None:
            self.select(old)
        elif name in old:
            self.select([one for one in old if one != name])
        else:
            self.select((*old, name))

    def drawn(self, line: NDArray[np.float64]) -> None:
        """Add what was drawn around."""
        if self.session is None or self.session.now is None:
            return
        step = max(1, len(line) // _MOST_POINTS)
        try:
            self.select([self.session.add_drawn(line[::step].tolist())])
            self._say("")
        except SporecountError as error:
            self._say(str(error))

    def select(self, names: Any) -> None:
        """Select detections, and say what they are."""
        self._picture.select(list(names))
        now = None if self.session is None else self.session.now
        rows = [] if now is None else [now.row(name) for name in self._picture.selected]
        self._panel.show_selected(rows)

    # What the keys do.

    def confirm(self) -> None:
        """Agree with what is selected."""
        self._judge(CONFIRM)

    def reject(self) -> None:
        """Say that what is selected is nothing."""
        self._judge(REJECT)

    def intact(self) -> None:
        """Say that what is selected is intact."""
        self._judge(STATE, INTACT)

    def damaged(self) -> None:
        """Say that what is selected is damaged."""
        self._judge(STATE, DAMAGED)

    def fragment(self) -> None:
        """Say that what is selected is a fragment."""
        self._judge(STATE, FRAGMENT)

    def add(self) -> None:
        """Add what is under the mouse."""
        self._add_at(*self._picture.pointer_px)

    def draw(self) -> None:
        """Let the mouse draw an outline, or not any more."""
        self._picture.drawing = not self._picture.drawing
        if self._picture.drawing:
            self._say("Draw around the spore with the mouse button down.")

    def part(self) -> None:
        """Part what is selected."""
        self.select(self._session.part(self._one()))

    def join(self) -> None:
        """Join what is selected."""
        self.select([self._session.join(self._picture.selected)])

    def look_next(self) -> None:
        """Go to where a look is worth most."""
        if self._look is not None:
            self._passed.add(self._look.name)
        fair = self._panel.fair.isChecked()
        self._look = self._session.next_in_queue(self._nothing | self._passed, fair=fair)
        if self._look is None and self._passed:  # all round: what was passed over comes again
            self._passed.clear()
            self._look = self._session.next_in_queue(self._nothing, fair=fair)
        self._panel.show_look(self._look)
        if self._look is None:
            self.select(())
            return
        self._picture.look_at(self._look.x_px, self._look.y_px)
        self.select(() if self._look.is_place else [self._look.name])
        if self._look.is_place:
            self._picture.ring(self._look.x_px, self._look.y_px)
            self._panel.selected.setText(PLACE)

    def undo(self) -> None:
        """Take back the last action."""
        self._changed(self._session.undo(), "Nothing to undo.")

    def redo(self) -> None:
        """Do again what was taken back."""
        self._changed(self._session.redo(), "Nothing to redo.")

    def hide(self) -> None:
        """Hide outlines, or show them."""
        self._picture.hidden = not self._picture.hidden

    def whole(self) -> None:
        """Show the whole photo."""
        self._picture.whole()

    def previous_photo(self) -> None:
        """Open the photo before."""
        self._go(-1)

    def next_photo(self) -> None:
        """Open the photo after."""
        self._go(1)

    def finish(self) -> None:
        """Say that the whole photo was looked through, or not after all."""
        now = self._session.now
        if now is not None and now.ledger.is_closed:
            self._session.reopen_photo()
        else:
            self._session.close_photo()

    @property
    def _session(self) -> ReviewSession:
        if self.session is None:
            raise RuntimeError("no session")  # `do` has made sure
        return self.session

    def _judge(self, kind: str, state: str | None = None) -> None:
        names = self._picture.selected
        if not names and self._look is not None and self._look.is_place:
            self._judge_place(self._look, kind, state)
            return
        if not names:
            self._say("Select something first: click on it, or press N.")
            return
        self._session.act(kind, names, state=state)
        if self._look is not None and self._look.name in names:
            self._go_on()
        else:
            self.select(names)

    def _judge_place(self, look: Look, kind: str, state: str | None) -> None:
        """Add what was missed at a place, or pass it over for good."""
        if kind == REJECT:
            self._nothing.add(look.name)
        else:
            self._add_at(look.x_px, look.y_px, state)
        self._go_on()

    def _add_at(self, x_px: float, y_px: float, state: str | None = None) -> None:
        self.select([self._session.add_at(x_px, y_px, state)])

    def _go_on(self) -> None:
        """Go to the next thing after an answer, if that is wished."""
        look, self._look = self._look, None
        if self._panel.go_on.isChecked():
            self.look_next()
        elif look is not None and not look.is_place:
            self.select([look.name])

    def _one(self) -> str:
        names = self._picture.selected
        return names[0] if len(names) == 1 else ""

    def _changed(self, names: tuple[str, ...], nothing: str) -> None:
        if not names:
            self._say(nothing)
        now = self._session.now
        rows = {} if now is None else now.ledger.rows
        self.select([name for name in names if name in rows and rows[name]["standing"]])

    def _go(self, step: int) -> None:
        go_beside(self._session, step, self._open_photo, self._say)

    def _say(self, text: str) -> None:
        self._panel.message.setText(text)


__all__ = ["DEEDS", "Deeds"]
