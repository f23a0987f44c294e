"""What a key, a button or a click does while a photo is counted by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, STATES
from sporecount.errors import SporecountError
from sporecount.review.session import ReviewSession
from sporecount.review.tally import Tally
from sporecount.review.widget.parts import go_beside
from sporecount.review.widget.picture import Picture
from sporecount.review.widget.review_panel import ReviewPanel

#: What is said of deeds that would show what the tool thinks, or need its outlines.
_NOT_HERE = "Not while you count by hand: nothing of the tool's is shown."


class TallyDeeds:
    """Everything that can be done to a photo that is counted by hand.

    Parameters
    ----------
    picture, panel
        What is shown, and the panel beside it.
    open_photo : callable
        Opens a photo to be counted by hand, by its place.
    """

    def __init__(
        self, picture: Picture, panel: ReviewPanel, open_photo: Callable[[int], None]
    ) -> None:
        self._picture, self._panel, self._open_photo = picture, panel, open_photo
        self.session: ReviewSession | None = None

    def do(self, name: str) -> None:
        """Do what a name of `keys.DEEDS` says, as far as it makes sense here."""
        tally = None if self.session is None else self.session.tally
        deed = getattr(self, name, None)
        if tally is None or deed is None:
            self._say(_NOT_HERE)
            return
        self._say("")
        try:
            deed(tally)
        except SporecountError as error:
            self._say(str(error))

    def clicked(self, x_px: float, y_px: float, more: bool) -> None:
        """Mark what was clicked on; select it where it is marked already."""
        tally = None if self.session is None else self.session.tally
        if tally is None:
            return
        name = self._picture.at(x_px, y_px)
        if name is not None and tally.ledger.rows[name]["standing"]:
            self.select([*(self._picture.selected if more else ()), name])
        else:
            self._mark(tally, x_px, y_px)

    def drawn(self, line: NDArray[np.float64]) -> None:
        """Mark what was drawn around."""
        tally = None if self.session is None else self.session.tally
        if tally is not None:
            self._mark(tally, *(float(value) for value in line.mean(axis=0)))

    def select(self, names: Any) -> None:
        """Select marks."""
        self._picture.select(list(names))
        self._panel.selected.setText(f"{len(self._picture.selected)} selected.")

    def show(self) -> None:
        """Show how many are marked."""
        tally = None if self.session is None else self.session.tally
        if tally is None:
            return
        plural = "" if tally.spores == 1 else "s"
        self._panel.count.setText(f"{tally.spores} spore{plural} marked by you")
        states = tally.ledger.states
        self._panel.states.setText(", ".join(f"{states[state]} {state}" for state in STATES))
        self._panel.progress.setText("Finished." if tally.is_finished else "E: all are marked.")
        for label in (self._panel.decision, self._panel.settlement):
            label.setText("")
        self._panel.why.setText("Counting by hand: click on each spore. Nothing else is shown.")

    def reject(self, tally: Tally) -> None:
        """Take marks away."""
        names = self._picture.selected
        for name in names:
            tally.unmark(name)
        self._changed(tally, names)
        self.select(())

    def intact(self, tally: Tally) -> None:
        """Say that marked ones are intact."""
        self._state(tally, INTACT)

    def damaged(self, tally: Tally) -> None:
        """Say that marked ones are damaged."""
        self._state(tally, DAMAGED)

    def fragment(self, tally: Tally) -> None:
        """Say that marked ones are fragments."""
        self._state(tally, FRAGMENT)

    def add(self, tally: Tally) -> None:
        """Mark what is under the mouse."""
        self._mark(tally, *self._picture.pointer_px)

    def undo(self, tally: Tally) -> None:
        """Take back the last thing done."""
        before = set(tally.ledger.rows)
        tally.undo()
        self._changed(tally, [*before, *tally.ledger.rows])

    def redo(self, tally: Tally) -> None:
        """Do it again."""
        tally.redo()
        self._changed(tally, list(tally.ledger.rows))

    def hide(self, _tally: Tally) -> None:
        """Hide marks, or show them."""
        self._picture.hidden = not self._picture.hidden

    def whole(self, _tally: Tally) -> None:
        """Show the whole photo."""
        self._picture.whole()

    def finish(self, tally: Tally) -> None:
        """Say that all are marked, or not after all."""
        if tally.is_finished:
            tally.go_on()
        else:
            tally.finish()
        self.show()

    def previous_photo(self, _tally: Tally) -> None:
        """Count the photo before."""
        self._go(-1)

    def next_photo(self, _tally: Tally) -> None:
        """Count the photo after."""
        self._go(1)

    def _state(self, tally: Tally, state: str) -> None:
        for name in self._picture.selected:
            tally.set_state(name, state)
        self._changed(tally, self._picture.selected)

    def _mark(self, tally: Tally, x_px: float, y_px: float) -> None:
        try:
            name = tally.mark(x_px, y_px)
        except SporecountError as error:
            self._say(str(error))
            return
        self._say("")
        self._changed(tally, [name])
        self.select([name])

    def _changed(self, tally: Tally, names: Any) -> None:
        self._picture.changed(list(names), tally.ledger.rows)
        self.show()

    def _go(self, step: int) -> None:
        if self.session is not None and self.session.index is not None:
            go_beside(self.session, step, self._open_photo, self._say)

    def _say(self, text: str) -> None:
        self._panel.message.setText(text)
