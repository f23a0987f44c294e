"""The panel beside the photo: what it amounts to, what is selected, and a button for each key."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

from qtpy.QtWidgets import QCheckBox, QComboBox, QGridLayout, QVBoxLayout, QWidget

from sporecount.detect.table import STATES
from sporecount.review.look import Look
from sporecount.review.photo_review import Totals
from sporecount.review.widget.keys import JUDGE, LINES, MOUSE, MOVE, PHOTOS, SHAPE, Deed
from sporecount.review.widget.parts import box, button, words

_START = "Press N, and the window goes where a look is worth most."


class ReviewPanel(QWidget):
    """Shows what stands, and offers what can be done.

    Parameters
    ----------
    do : callable
        Called with the name of the deed whose button was pressed.
    open_photo : callable
        Called with the place of the photo that was chosen.
    """

    def __init__(self, do: Callable[[str], None], open_photo: Callable[[int], None]) -> None:
        super().__init__()
        self._do = do
        self.photo = QComboBox()
        self.photo.activated.connect(lambda row: open_photo(row))
        self.count = words("", bold=True, size=14)
        self.states = words()
        self.progress = words()
        self.decision = words()
        self.settlement = words()
        self.why = words(_START)
        self.fair = QCheckBox("In a random order, to tell how good the tool is")
        self.go_on = QCheckBox("Go on by itself after each answer")
        self.go_on.setChecked(True)
        self.selected = words("Nothing is selected.")
        self.message = words()
        self.message.setStyleSheet("color: #d55e00; font-weight: bold;")
        layout = QVBoxLayout(self)
        layout.addWidget(self.photo)
        layout.addWidget(box("This photo", self.count, self.states, self.progress))
        layout.addWidget(box("This tape", self.decision))
        layout.addWidget(box("Look next", self.settlement, self.why, self.go_on, self.fair))
        layout.addWidget(box("Selected", self.selected, self._grid(JUDGE, 3), self._grid(SHAPE, 2)))
        layout.addLayout(self._grid((*MOVE, *PHOTOS), 2))
        layout.addWidget(words(MOUSE))
        layout.addWidget(words(LINES))
        layout.addWidget(self.message)
        layout.addStretch()

    def show_photos(self, names: Sequence[str], closed: Sequence[bool], index: int | None) -> None:
        """Show what the photos are called, and which is open."""
        self.photo.clear()
        for name, is_closed in zip(names, closed, strict=True):
            self.photo.addItem(f"{name}  (looked through)" if is_closed else name)
        if index is not None:
            self.photo.setCurrentIndex(index)

    def show_totals(self, totals: Totals | None) -> None:
        """Show what the photo amounts to."""
        if totals is None:
            self.count.setText("Refused: nobody could count on this photo.")
            self.states.setText("")
            self.progress.setText("")
            return
        plural = "" if totals.spores == 1 else "s"
        limits = f" ({totals.low} to {totals.high})"
        if totals.low is None:
            limits = " (...)"  # they come a moment later
        elif totals.low == totals.high:
            limits = ""
        self.count.setText(f"{totals.spores} spore{plural}{limits}, class {totals.load_class}")
        self.states.setText(", ".join(f"{totals.states[state]} {state}" for state in STATES))
        whole = sum(totals.states.values())
        done = "The whole photo was looked through." if totals.in_full else ""
        self.progress.setText(f"{totals.looked_at} of {whole} were judged by you. {done}".strip())

    def show_selected(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Show what is known of what is selected."""
        if not rows:
            self.selected.setText("Nothing is selected.")
            return
        if len(rows) > 1:
            self.selected.setText(f"{len(rows)} are selected.")
            return
        self.selected.setText(told(rows[0]))

    def show_look(self, look: Look | None, *, start: bool = False) -> None:
        """Show why the window went where it is."""
        nothing = _START if start else "All that was found was judged."
        self.why.setText(nothing if look is None else look.why)

    def _grid(self, deeds: Sequence[Deed], columns: int) -> QGridLayout:
        grid = QGridLayout()
        for place, deed in enumerate(deeds):
            made = button(deed.label, partial(self._do, deed.name), deed.tip)
            made.setObjectName(deed.name)
            grid.addWidget(made, place // columns, place % columns)
        return grid


def told(row: Mapping[str, Any]) -> str:
    """Say what is known of one detection.

    Examples
    --------
    >>> told({"id": "t1", "source": "tool", "state": "damaged", "standing": True,
    ...       "looked_at": False, "tool_confidence": 0.61, "tool_state": "damaged",
    ...       "length_um": 12.34, "width_um": 8.0})
    'A damaged spore, 12.3 by 8.0 um. The tool is 61 % sure of it.'
    """
    state = str(row["state"])
    what = "A fragment" if state == "fragment" else f"A {state} spore".replace("A i", "An i")
    size = f"{row['length_um']:.1f} by {row['width_um']:.1f} um"
    if row["source"] != "tool":
        said = "Added by a person."
    else:
        said = f"The tool is {100 * row['tool_confidence']:.0f} % sure of it."
        if row["tool_state"] != state:
            said = f"The tool had said {row['tool_state']}."
    if not row["standing"]:
        said = "It was rejected; C brings it back."
    elif row["looked_at"] and row["source"] == "tool":
        said += " Judged by you."
    return f"{what}, {size}. {said}"
