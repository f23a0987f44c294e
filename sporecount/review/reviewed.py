"""From what the tool found and what a person did to the detections that stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from sporecount.detect.table import COLUMNS, INTACT
from sporecount.review.actions import (
    ADD,
    CLOSE,
    CONFIRM,
    JOIN,
    PART,
    REJECT,
    REOPEN,
    STATE,
    Action,
    effective,
)
from sporecount.review.errors import ReviewError

#: Columns of a review's table beside those of detections: its id; who found it; whether a
#: person has judged it; whether it still stands; what the tool had said.
TOOL, PERSON = "tool", "person"
REVIEW_COLUMNS: dict[str, str] = {
    "id": "str",
    "source": "str",
    "looked_at": "bool",
    "standing": "bool",
    "tool_state": "str",
    "tool_confidence": "float64",
}


def everything(detections: pd.DataFrame, actions: Iterable[Action] = ()) -> pd.DataFrame:
    """Return all detections that there ever were in a review, with what is said of them now.

    Parameters
    ----------
    detections : DataFrame
        The tool's, columns ``sporecount.detect.table.COLUMNS``; never changed.
    actions : iterable of Action
        The person's, in order, undone ones and all.

    Returns
    -------
    DataFrame
        The columns of ``REVIEW_COLUMNS``, then those of detections; the tool's in the tool's
        order, then the person's. What a person has judged has confidence 1.

    Raises
    ------
    ReviewError
        If an action is about a detection that is not there, or makes one that is.
    """
    rows = tool_rows(detections)
    for action in effective(actions):
        apply(rows, action)
    return as_table(rows)


def reviewed(detections: pd.DataFrame, actions: Iterable[Action] = ()) -> pd.DataFrame:
    """Return the detections that stand after a review.

    Parameters and errors are those of `everything`.

    Examples
    --------
    >>> from sporecount.detect.table import empty_detections
    >>> new = {"id": "p1", "x_px": 4.0, "y_px": 5.0, "state": "damaged"}
    >>> table = reviewed(empty_detections(), [Action("add", made=(new,))])
    >>> table[["id", "x_px", "state", "confidence"]].values.tolist()
    [['p1', 4.0, 'damaged', 1.0]]
    """
    table = everything(detections, actions)
    return table[table["standing"]].reset_index(drop=True)


def is_closed(actions: Iterable[Action]) -> bool:
    """Tell whether the person has said that the whole photo was looked through."""
    said = [action.kind for action in effective(actions) if action.kind in (CLOSE, REOPEN)]
    return bool(said) and said[-1] == CLOSE


def next_id(table: pd.DataFrame) -> str:
    """Return the id of the next detection that a person makes in a review.

    Parameters
    ----------
    table : DataFrame
        As `everything` returns it.
    """
    numbers = [int(name[1:]) for name in table["id"] if name.startswith("p")]
    return f"p{max(numbers, default=0) + 1}"


#: The state of a review: id -> the row of that detection.
Rows = dict[str, dict[str, Any]]


def tool_rows(detections: pd.DataFrame) -> Rows:
    """Return a review in which nothing was done yet."""
    rows: Rows = {}
    for number, row in enumerate(detections.to_dict("records"), start=1):
        rows[f"t{number}"] = {
            "id": f"t{number}",
            "source": TOOL,
            "looked_at": False,
            "standing": True,
            "tool_state": row["state"],
            "tool_confidence": row["confidence"],
            **{str(name): value for name, value in row.items()},
        }
    return rows


def apply(rows: Rows, action: Action) -> None:
    """Do to a review what an action says: the rows it is about are replaced, no others.

    Parameters
    ----------
    rows : dict
        The review; changed.
    action : Action
        Neither undoing nor redoing.

    Raises
    ------
    ReviewError
        If it is about a detection that is not there, or makes one that is; then nothing
        was done.
    """
    for name in action.targets:
        if name not in rows:
            raise ReviewError(
                f"{action.kind} {name}",
                "there is no such detection in this review",
                "open the photo again; if it comes back, set its review file aside",
            )
    made = [given["id"] for given in action.made]
    for name in made:
        if name in rows or made.count(name) > 1:
            raise ReviewError(
                f"new detection {name}",
                "there is already one of that name in this review",
                "open the photo again; if it comes back, set its review file aside",
            )
    _STEPS.get(action.kind, _nothing)(rows, action)


def as_table(rows: Rows) -> pd.DataFrame:
    """Return a review as the table that `everything` gives."""
    columns = {**REVIEW_COLUMNS, **COLUMNS}
    table = pd.DataFrame(
        {name: pd.Series([row[name] for row in rows.values()], dtype=object) for name in columns}
    )
    return table.astype(columns)


def _new_row(given: Mapping[str, Any], template: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return a full row of a detection that a person made."""
    row: dict[str, Any] = {name: np.nan for name, kind in COLUMNS.items() if kind == "float64"}
    row["state"] = INTACT if template is None else template["state"]
    row["outline_px"] = np.zeros((0, 2))
    row.update({name: value for name, value in given.items() if name in COLUMNS})
    row["outline_px"] = np.asarray(row["outline_px"], float).reshape(-1, 2)
    row.update(
        id=given["id"],
        source=PERSON,
        looked_at=True,
        standing=True,
        tool_state="",
        tool_confidence=np.nan,
        confidence=1.0,
    )
    return row


def _make(rows: Rows, action: Action) -> None:
    template = rows[action.targets[0]] if action.targets else None
    for given in action.made:
        rows[given["id"]] = _new_row(given, template)


#: What is so of a detection that a person agrees with.
_STANDS = {"looked_at": True, "standing": True, "confidence": 1.0}


def _confirm(rows: Rows, action: Action) -> None:
    for name in action.targets:
        rows[name] = {**rows[name], **_STANDS}


def _reject(rows: Rows, action: Action) -> None:
    for name in action.targets:
        rows[name] = {**rows[name], "looked_at": True, "standing": False}


def _state(rows: Rows, action: Action) -> None:
    for name in action.targets:
        rows[name] = {**rows[name], **_STANDS, "state": action.state}


def _replace(rows: Rows, action: Action) -> None:
    _make(rows, action)
    _reject(rows, action)


def _nothing(rows: Rows, action: Action) -> None:
    """Leave the detections as they are: a photo was closed or opened."""


_STEPS = {
    CONFIRM: _confirm,
    REJECT: _reject,
    STATE: _state,
    ADD: _make,
    PART: _replace,
    JOIN: _replace,
}
