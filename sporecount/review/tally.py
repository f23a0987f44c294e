"""Counting a photo blind, by hand: a person's own marks, with nothing of the tool's in view.

Marks are kept as reviews are, line by line, in a folder of their own: a tally is no review of
the tool's detections, and never takes their place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from sporecount.counts.summary import COUNTED
from sporecount.detect.table import INTACT, SPORE_STATES, empty_detections
from sporecount.review.actions import ADD, CLOSE, REDO, REJECT, REOPEN, STATE, UNDO, Action
from sporecount.review.errors import ReviewError
from sporecount.review.ledger import Ledger
from sporecount.review.record import Counted, Review, ReviewFile

#: Folder of tallies, beside the photos.
FOLDER = "sporecount-tallies"

#: Two marks nearer than this are one spore marked twice, um.
SAME_MARK_UM = 2.5


class Tally:
    """A person's blind count of one photo, open for writing.

    Parameters
    ----------
    folder : Path
        Where tallies are kept; what was marked there before is there again.
    photo, sha256, who : str
        Whose count of what.
    um_per_px : float
        The photo's scale.
    tool : mapping, optional
        The tool's row of ``photos.csv``, to compare with; it is kept, and never shown.

    Raises
    ------
    ReviewError
        If another program has the tally open, or it cannot be read or written.
    """

    def __init__(
        self,
        folder: Path,
        photo: str,
        sha256: str,
        who: str,
        um_per_px: float,
        tool: Mapping[str, Any] | None = None,
    ) -> None:
        self.who = who
        kept = ("status", "spores", "load_class", "examined_mm2")
        summary = {name: tool[name] for name in kept if name in tool} if tool else {}
        nothing = Counted(empty_detections(), um_per_px, {"tally": True, "summary": summary})
        self._file = ReviewFile(folder, photo, sha256, who, nothing)
        try:
            self.ledger = Ledger(empty_detections(), self._file.review.actions)
        except BaseException:
            self._file.close()
            raise

    @property
    def spores(self) -> int:
        """Spores marked."""
        return sum(self.ledger.states[state] for state in SPORE_STATES)

    @property
    def is_finished(self) -> bool:
        """Whether the person has said that all are marked."""
        return self.ledger.is_closed

    def mark(self, x_px: float, y_px: float, state: str = INTACT) -> str:
        """Mark one; return its id.

        Raises
        ------
        ReviewError
            If there is a mark already.
        """
        reach = SAME_MARK_UM / self._file.review.counted.um_per_px
        for row in self.ledger.rows.values():
            if row["standing"] and np.hypot(row["x_px"] - x_px, row["y_px"] - y_px) < reach:
                raise ReviewError(
                    f"a mark at {x_px:.0f}, {y_px:.0f}",
                    "this one is marked already",
                    "go on with the next",
                )
        name = self.ledger.next_id()
        made = {"id": name, "x_px": float(x_px), "y_px": float(y_px), "state": state}
        self._act(ADD, made=(made,))
        return name

    def unmark(self, name: str) -> None:
        """Take a mark away."""
        self.ledger.check([name])
        self._act(REJECT, (name,))

    def set_state(self, name: str, state: str) -> None:
        """Say what state a marked one is in."""
        self.ledger.check([name])
        self._act(STATE, (name,), state)

    def undo(self) -> None:
        """Take back the last thing that was done."""
        if self.ledger.undoable is not None:
            self._act(UNDO)

    def redo(self) -> None:
        """Bring back what was taken back last."""
        if self.ledger.redoable is not None:
            self._act(REDO)

    def finish(self) -> None:
        """Say that all are marked: only then the count is compared."""
        if not self.is_finished:
            self._act(CLOSE)

    def go_on(self) -> None:
        """Take that back."""
        if self.is_finished:
            self._act(REOPEN)

    def leave(self) -> None:
        """Let other programs open the tally; all marks are kept already."""
        self._file.close()

    def __enter__(self) -> Tally:
        return self

    def __exit__(self, *error: object) -> None:
        self.leave()

    def _act(
        self,
        kind: str,
        targets: tuple[str, ...] = (),
        state: str | None = None,
        made: Sequence[Mapping[str, Any]] = (),
    ) -> None:
        now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
        action = Action(kind, targets, state, tuple(made), self.who, now)
        self.ledger.do(action)
        try:
            self._file.append(action)
        except ReviewError:
            # What is not on the disk was not done: told again from what is.
            self.ledger = Ledger(empty_detections(), self._file.review.actions)
            raise


def is_tally(review: Review) -> bool:
    """Tell whether what was kept is a blind count."""
    return bool(review.counted.facts.get("tally"))


def tools_count(review: Review) -> int | None:
    """Return what the tool had counted on the photo; None where that is not kept."""
    summary = review.counted.facts.get("summary", {})
    if not isinstance(summary, dict) or summary.get("status", COUNTED) != COUNTED:
        return None
    spores = summary.get("spores")
    return None if spores is None else int(spores)
