"""A review as it stands, followed action by action instead of told from its beginning.

On a photo of thousands of spores an action changes one row or two; only those are touched.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd

from sporecount.detect.table import COLUMNS, STATES
from sporecount.review.actions import CLOSE, JOIN, PART, REDO, REOPEN, UNDO, Action
from sporecount.review.errors import ReviewError
from sporecount.review.reviewed import PERSON, Rows, apply, as_table, tool_rows

_Before = dict[str, dict[str, Any] | None]


class Ledger:
    """What stands in a review, and what undoing and redoing would do.

    Parameters
    ----------
    detections : DataFrame
        The tool's.
    actions : iterable of Action
        What was done so far, undone actions and all.

    Attributes
    ----------
    rows : dict of str to dict
        Id -> row of each detection that there ever was; never change one.

    Raises
    ------
    ReviewError
        If the actions do not fit the detections.

    Examples
    --------
    >>> from sporecount.detect.table import empty_detections
    >>> new = {"id": "p1", "x_px": 4.0, "y_px": 5.0, "state": "intact"}
    >>> ledger = Ledger(empty_detections(), [Action("add", made=(new,))])
    >>> ledger.states["intact"], ledger.do(Action("undo")), ledger.states["intact"]
    (1, ('p1',), 0)
    """

    def __init__(self, detections: pd.DataFrame, actions: Iterable[Action] = ()) -> None:
        self.rows: Rows = tool_rows(detections)
        self._done: list[tuple[Action, _Before]] = []
        self._undone: list[Action] = []
        self._states: Counter[str] = Counter()
        self._looked_at: Counter[bool] = Counter()
        for row in self.rows.values():
            self._count(row, 1)
        for action in actions:
            self.do(action)

    def do(self, action: Action) -> tuple[str, ...]:
        """Do an action, or undo or redo one; return the ids of what it changed.

        Raises
        ------
        ReviewError
            If it does not fit; then nothing was done.
        """
        if action.kind == UNDO:
            return self._undo() if self._done else ()
        if action.kind == REDO:
            return self._do(self._undone.pop()) if self._undone else ()
        changed = self._do(action)
        self._undone.clear()
        return changed

    @property
    def undoable(self) -> Action | None:
        """The action that undoing would take back."""
        return self._done[-1][0] if self._done else None

    @property
    def redoable(self) -> Action | None:
        """The action that redoing would bring back."""
        return self._undone[-1] if self._undone else None

    @property
    def states(self) -> dict[str, int]:
        """How many detections of each state stand."""
        return {state: self._states[state] for state in STATES}

    @property
    def looked_at(self) -> int:
        """How many of the standing detections a person has judged."""
        return self._looked_at[True]

    @property
    def is_closed(self) -> bool:
        """Whether the whole photo was looked through."""
        said = [action.kind for action, _ in self._done if action.kind in (CLOSE, REOPEN)]
        return bool(said) and said[-1] == CLOSE

    def table(self) -> pd.DataFrame:
        """Return all detections, as `sporecount.review.reviewed.everything` does."""
        return as_table(self.rows)

    def standing(self) -> pd.DataFrame:
        """Return the detections that stand, with the columns of detections."""
        return detections_of([row for row in self.rows.values() if row["standing"]])

    def next_id(self) -> str:
        """Return the id of the next detection that a person makes."""
        own = (int(name[1:]) for name, row in self.rows.items() if row["source"] == PERSON)
        return f"p{max(own, default=0) + 1}"

    def check(self, ids: Iterable[str]) -> None:
        """Refuse ids of detections that do not stand.

        Raises
        ------
        ReviewError
            If one of them is not there or does not stand.
        """
        for name in ids:
            if name not in self.rows or not self.rows[name]["standing"]:
                raise ReviewError(
                    f"detection {name}",
                    "there is none, or it was rejected or replaced",
                    "choose one that stands, or undo what took it away",
                )

    def check_there(self, ids: Iterable[str]) -> None:
        """Refuse ids of detections that are not there, or that others stand for by now.

        Raises
        ------
        ReviewError
            If one of them was parted or joined: it would be counted twice.
        """
        gone = [name for name in ids if not self.rows.get(name, {}).get("standing", False)]
        if gone:
            done = (action for action, _ in self._done if action.kind in (PART, JOIN))
            replaced = {name for action in done for name in action.targets}
            self.check(name for name in gone if name not in self.rows or name in replaced)

    def _do(self, action: Action) -> tuple[str, ...]:
        names = (*action.targets, *(str(made["id"]) for made in action.made))
        before: _Before = {name: self.rows.get(name) for name in names}
        apply(self.rows, action)
        self._recount(before)
        self._done.append((action, before))
        return tuple(before)

    def _undo(self) -> tuple[str, ...]:
        action, before = self._done.pop()
        self._undone.append(action)
        now = {name: self.rows.get(name) for name in before}
        for name, row in before.items():
            if row is None:
                del self.rows[name]
            else:
                self.rows[name] = row
        self._recount(now)
        return tuple(before)

    def _recount(self, before: _Before) -> None:
        for name, old in before.items():
            new = self.rows.get(name)
            if old is not None:
                self._count(old, -1)
            if new is not None:
                self._count(new, 1)

    def _count(self, row: dict[str, Any], step: int) -> None:
        if row["standing"]:
            self._states[row["state"]] += step
            self._looked_at[bool(row["looked_at"])] += step


def detections_of(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Return rows of a review with the columns of detections."""
    columns = {name: pd.Series([row[name] for row in rows], dtype=object) for name in COLUMNS}
    return pd.DataFrame(columns).astype(COLUMNS)
