"""The panel in which a tape is scored, and its report saved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qtpy.QtWidgets import QComboBox, QFormLayout, QVBoxLayout, QWidget

from sporecount.literature import TAPE_MM2
from sporecount.review.saving import save_report
from sporecount.review.session import ReviewSession
from sporecount.review.widget.background import Background, Working
from sporecount.review.widget.parts import ask_folder, button, number, plain_words, words
from sporecount.scoring import SampleScore


class ReportPanel(QWidget, Working):
    """Says what the photos of a tape say together, and writes its page."""

    def __init__(self) -> None:
        super().__init__()
        self._session: ReviewSession | None = None
        self._score: SampleScore | None = None
        self.sample = QComboBox()
        self.tape_mm2 = number(1.0, 10000.0, TAPE_MM2, 1, "mm2, the whole tape")
        self.ask = button("What does this tape say?", self.start)
        self.outcome = words()
        self.save_button = button("Save the report ...", self._ask_where)
        self.save_button.setEnabled(False)
        self.message = words()
        form = QFormLayout()
        form.addRow("Tape", self.sample)
        form.addRow("Area", self.tape_mm2)
        layout = QVBoxLayout(self)
        layout.addLayout(form)
        for widget in (self.ask, self.outcome, self.save_button, self.message):
            layout.addWidget(widget)
        layout.addStretch()

    def follow(self, session: ReviewSession) -> None:
        """Show other photos."""
        self._session = session
        self._forget()
        self.refresh()

    def refresh(self) -> None:
        """Name the tapes, unless that would tell what is hidden."""
        session = self._session
        if session is None:
            return
        names = session.samples if session.is_revealed else ()
        if [self.sample.itemText(row) for row in range(self.sample.count())] != list(names):
            self.sample.clear()
            self.sample.addItems(list(names))
        self.ask.setEnabled(session.is_revealed)
        if not session.is_revealed:
            self.message.setText("Names are hidden until all photos are looked through.")

    def start(self) -> None:
        """Score the tape that is chosen."""
        session, sample = self._session, self.sample.currentText()
        if session is None or not sample or self.is_running:
            return
        area = self.tape_mm2.value()
        self._forget()
        self.message.setText("Putting the photos together ...")
        self._work = Background(lambda _step: session.score(sample, area), self._done, self._failed)

    def save(self, folder: Path) -> list[Path]:
        """Write the report into a folder; return what was written, the page first."""
        if self._session is None or self._score is None:
            return []
        sample = self._score.summary["sample"]
        own = [
            file
            for file in self._session.files
            if self._session.photos.samples[file.name] == sample
        ]
        try:
            written = save_report(self._score, own, folder, self._session.settings)
        except Exception as error:
            self.message.setText(plain_words(error))
            return []
        self.message.setText(f"Saved: {written[0]} and its tables.")
        return written

    def _done(self, score: SampleScore) -> None:
        self._score = score
        self.outcome.setText(score.as_text())
        self.save_button.setEnabled(True)
        self.message.setText("")

    def _failed(self, error: Exception) -> None:
        self.message.setText(plain_words(error))

    def _forget(self) -> None:
        self._score = None
        self.outcome.setText("")
        self.save_button.setEnabled(False)
        self.message.setText("")

    def _ask_where(self) -> Any:
        folder = ask_folder(self, "Where to save the report")
        return self.save(folder) if folder is not None else None
