"""The panel that says how good the tool is here, and lets it get better or go back."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from qtpy.QtWidgets import QFormLayout, QLineEdit, QVBoxLayout, QWidget

from sporecount.microscope import Microscope
from sporecount.review.measure import adjusted, all_reviews, learned_photos, measured
from sporecount.review.own import go_back, keep_microscope
from sporecount.review.raters import agreement, counts_by_people
from sporecount.review.session import ReviewSession
from sporecount.review.widget.background import Background, Working
from sporecount.review.widget.parts import box, button, plain_words, words

#: Name of a microscope where none is given.
USUAL_NAME = "my microscope"

_HOW = (
    "Look through some photos in full (E), or judge at least ten detections in a random order: "
    "only those tell fairly how good the tool is."
)


class QualityPanel(QWidget, Working):
    """Tells how good the tool is on the user's microscope, and adjusts it.

    Parameters
    ----------
    again : callable
        Counts the photos again, once what they are counted with has changed.
    """

    def __init__(self, again: Callable[[], None]) -> None:
        super().__init__()
        self._again = again
        self._session: ReviewSession | None = None
        self._found: Microscope | None = None
        self.name = QLineEdit(USUAL_NAME)
        self.figures = words(_HOW)
        self.keep_button = button("Use this for my photos", self.keep)
        self.keep_button.setEnabled(False)
        self.message = words()
        form = QFormLayout()
        form.addRow("Microscope", self.name)
        layout = QVBoxLayout(self)
        layout.addLayout(form)
        layout.addWidget(button("How good is it here?", self.measure))
        layout.addWidget(button("Adjust it to this microscope", self.adjust))
        layout.addWidget(button("How well do we agree?", self.compare))
        layout.addWidget(box("What the reviews say", self.figures, self.keep_button))
        layout.addWidget(button("Go back to the tool as it comes", self.go_back))
        layout.addWidget(self.message)
        layout.addStretch()

    def follow(self, session: ReviewSession) -> None:
        """Show other photos."""
        self._session = session
        self._show(_HOW)

    def measure(self) -> None:
        """Say how good the tool is, from reviews of these photos."""

        def work(session: ReviewSession, name: str) -> tuple[str, Microscope | None]:
            reviews, warnings = all_reviews(session.review_folders())
            known = measured(reviews, name)
            tells = known.microscope.rates is not None or known.microscope.misread is not None
            text = "\n".join((known.quality.as_text(), *known.notes, *warnings))
            return text, known.microscope if tells else None

        self._start(work)

    def adjust(self) -> None:
        """Learn from photos in full, and say what that would change."""

        def work(session: ReviewSession, name: str) -> tuple[str, Microscope | None]:
            reviews, _ = all_reviews(session.review_folders())
            photos = learned_photos(reviews, session.files, session.settings)
            found, microscope = adjusted(photos, name, session.settings)
            return found.as_text(), microscope

        self._start(work)

    def compare(self) -> None:
        """Say how well people agree with each other and with the tool."""

        def work(session: ReviewSession, _name: str) -> tuple[str, None]:
            folders = [*session.review_folders(), *session.tally_folders()]
            reviews, _ = all_reviews(folders, tallies=True)
            pairs = agreement(counts_by_people(reviews))
            return "\n\n".join(pair.as_text() for pair in pairs), None

        self._start(work)

    def keep(self) -> None:
        """Count photos of this microscope with what was found."""
        if self._found is not None:
            self._change(partial(keep_microscope, self._found), "Kept")

    def go_back(self) -> None:
        """Take the adjustment away."""
        self._change(partial(go_back, self._called()), "The adjustment is gone")

    def _change(self, change: Callable[[], Any], words_done: str) -> None:
        try:
            change()
        except Exception as error:
            self.message.setText(plain_words(error))
            return
        self.keep_button.setEnabled(False)
        self.message.setText(f"{words_done}; the photos are counted again with what holds now.")
        self._again()

    def _start(self, work: Callable[[ReviewSession, str], tuple[str, Microscope | None]]) -> None:
        session, name = self._session, self._called()
        if session is None or self.is_running:
            self.message.setText("Choose photos first." if session is None else "Still at work ...")
            return
        self._show("Looking through the reviews ...")
        self._work = Background(lambda _step: work(session, name), self._done, self._failed)

    def _done(self, found: tuple[str, Microscope | None]) -> None:
        text, self._found = found
        self.figures.setText(text)
        self.keep_button.setEnabled(self._found is not None)

    def _failed(self, error: Exception) -> None:
        self._show(plain_words(error))

    def _show(self, text: str) -> None:
        self._found = None
        self.figures.setText(text)
        self.keep_button.setEnabled(False)
        self.message.setText("")

    def _called(self) -> str:
        return " ".join(self.name.text().split()) or USUAL_NAME
