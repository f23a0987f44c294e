"""The panel in which photos are counted: progress that can be stopped, and what was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from qtpy.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QProgressBar,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from sporecount.counts.summary import COUNTED
from sporecount.review.session import ReviewSession
from sporecount.review.tool_counts import ToolCount
from sporecount.review.widget.background import Background, Step, Working
from sporecount.review.widget.parts import button, plain_words, words

_HEADINGS = ("Photo", "Spores", "Class", "Seen")


class CountPanel(QWidget, Working):
    """Counts all photos, and opens one.

    Parameters
    ----------
    open_photo, open_tally : callable
        Called with the place of a photo that is to be reviewed, or counted by hand.
    """

    def __init__(
        self, open_photo: Callable[[int], None], open_tally: Callable[[int], None]
    ) -> None:
        super().__init__()
        self._open_photo = open_photo
        self._session: ReviewSession | None = None
        self._stopped = False
        self.count = button("Count all photos", self.start)
        self.stop = button("Stop", self.cancel)
        self.stop.setEnabled(False)
        self.bar = QProgressBar()
        self.message = words("Choose photos first.")
        self.table = QTableWidget(0, len(_HEADINGS))
        self.table.setHorizontalHeaderLabels(list(_HEADINGS))
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        self.table.cellDoubleClicked.connect(lambda row, _column: self._open_photo(row))
        layout = QVBoxLayout(self)
        for widget in (self.count, self.bar, self.stop, self.message, self.table):
            layout.addWidget(widget)
        review = partial(self._open_chosen, open_photo)
        layout.addWidget(button("Review the photo that is chosen", review))
        by_hand = partial(self._open_chosen, open_tally)
        layout.addWidget(button("Count it by hand, blind", by_hand, "Shows nothing of the tool's."))

    def follow(self, session: ReviewSession) -> None:
        """Show other photos."""
        self.cancel()
        self._session = session
        self.bar.setRange(0, len(session))
        self.bar.setValue(0)
        self.table.setRowCount(len(session))
        self.refresh()
        self.table.selectRow(0)
        self.message.setText("Count them all, or open one: it is counted when it is opened.")

    def refresh(self) -> None:
        """Show names as they are called now, and which are closed."""
        if self._session is None:
            return
        for row, name in enumerate(self._session.names):
            known = self._session.counts.known(self._session.files[row])
            cells = _cells({} if known is None else known.summary)
            closed = "yes" if self._session.closed[row] else ""
            for column, text in enumerate((name, *cells, closed)):
                self.table.setItem(row, column, QTableWidgetItem(text))

    def start(self) -> None:
        """Count all photos."""
        session = self._session
        if session is None or self.is_running:
            return
        self._stopped = False
        self.bar.setValue(0)
        self.count.setEnabled(False)
        self.stop.setEnabled(True)
        self.message.setText("Counting ...")

        def work(step: Step) -> bool:
            return session.count_all(
                lambda index, said: step((session, index, said)), lambda: self._stopped
            )

        self._work = Background(work, self._done, self._failed, self._stepped)

    def cancel(self) -> None:
        """Stop after the photo under way."""
        self._stopped = True
        self.stop.setEnabled(False)

    def wait(self, seconds: float = 30) -> None:
        """Stop, and wait for the photo under way."""
        self.cancel()
        super().wait(seconds)

    def _stepped(self, step: tuple[ReviewSession, int, ToolCount]) -> None:
        session, index, said = step
        if session is not self._session:
            return
        self.bar.setValue(self.bar.value() + 1)
        for column, text in enumerate(_cells(said.summary), 1):
            self.table.setItem(index, column, QTableWidgetItem(text))

    def _done(self, whole: bool) -> None:
        self._end("All are counted." if whole else "Stopped; those that were counted are kept.")

    def _failed(self, error: Exception) -> None:
        self._end(plain_words(error))

    def _end(self, text: str) -> None:
        self.count.setEnabled(True)
        self.stop.setEnabled(False)
        self.message.setText(text)

    def _open_chosen(self, opens: Callable[[int], None]) -> None:
        row = self.table.currentRow()
        if self._session is not None and row >= 0:
            opens(row)


def _cells(summary: Mapping[str, Any]) -> tuple[str, str]:
    """Return spores and class of a photo as they are shown."""
    if not summary:
        return "", ""
    if summary["status"] != COUNTED:
        return f"{summary['status']}: {summary['reason']}", ""
    spores = f"{summary['spores']} ({summary['spores_low']} to {summary['spores_high']})"
    return spores, str(summary["load_class"])
