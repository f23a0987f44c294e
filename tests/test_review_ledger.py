"""A review followed action by action says the same as one told from its beginning."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sporecount.detect.table import COLUMNS, SPORE_STATES, STATES
from sporecount.review.actions import KINDS, Action, undoable
from sporecount.review.errors import ReviewError
from sporecount.review.ledger import Ledger
from sporecount.review.reviewed import everything, is_closed, reviewed


def table(number: int) -> pd.DataFrame:
    rows = []
    for place in range(number):
        row = dict.fromkeys(COLUMNS, 1.0)
        row.update(x_px=20.0 * place, y_px=5.0, confidence=0.7, outline_px=np.zeros((3, 2)))
        row["state"] = STATES[place % 3]
        rows.append(row)
    return pd.DataFrame(rows)[list(COLUMNS)].astype(COLUMNS)


def one(kind: str, ids: tuple[str, ...], new: tuple[dict[str, object], ...]) -> Action:
    takes = {"confirm": 2, "reject": 1, "state": 1, "part": 1, "join": 2}.get(kind, 0)
    makes = {"add": 1, "part": 2, "join": 1}.get(kind, 0)
    return Action(kind, ids[:takes], "damaged" if kind == "state" else None, new[:makes])


@st.composite
def histories(draw: st.DrawFn) -> list[Action]:
    actions: list[Action] = []
    ledger = Ledger(table(6))
    for kind in draw(st.lists(st.sampled_from(KINDS), max_size=25)):
        ids = sorted(ledger.rows)
        some = draw(st.permutations(ids))
        first = int(ledger.next_id()[1:])
        new = tuple({"id": f"p{first + k}", "x_px": 1.0 * k, "y_px": 2.0} for k in range(2))
        action = one(kind, tuple(some), new)
        ledger.do(action)
        actions.append(action)
    return actions


@settings(deadline=None, max_examples=60)
@given(histories())
def test_following_is_the_same_as_starting_over(actions: list[Action]) -> None:
    tool = table(6)
    ledger = Ledger(tool, actions)
    whole = everything(tool, actions)
    pd.testing.assert_frame_equal(
        ledger.table().set_index("id").sort_index(), whole.set_index("id").sort_index()
    )
    stands = reviewed(tool, actions)
    assert ledger.states == {state: int((stands["state"] == state).sum()) for state in STATES}
    assert ledger.looked_at == stands["looked_at"].sum()
    assert len(ledger.standing()) == len(stands)
    assert ledger.is_closed == is_closed(actions)
    assert (ledger.undoable, ledger.redoable) == undoable(actions)


def test_all_can_be_undone_and_redone() -> None:
    new = {"id": "p1", "x_px": 1.0, "y_px": 2.0}
    ledger = Ledger(table(3))
    start = ledger.table()
    said = [Action("reject", ("t1",)), Action("add", made=(new,)), Action("confirm", ("t2",))]
    changed = [ledger.do(action) for action in said]
    assert changed == [("t1",), ("p1",), ("t2",)]
    end = ledger.table()
    assert [ledger.do(Action("undo")) for _ in range(4)] == [("t2",), ("p1",), ("t1",), ()]
    pd.testing.assert_frame_equal(ledger.table(), start)
    assert [ledger.do(Action("redo")) for _ in range(4)] == [("t1",), ("p1",), ("t2",), ()]
    pd.testing.assert_frame_equal(ledger.table(), end)


def test_what_does_not_fit_changes_nothing() -> None:
    ledger = Ledger(table(3))
    ledger.do(Action("reject", ("t1",)))
    ledger.do(Action("undo"))
    with pytest.raises(ReviewError, match="no such detection"):
        ledger.do(Action("reject", ("t2", "t9")))
    assert ledger.redoable == Action("reject", ("t1",))
    assert sum(ledger.states[state] for state in SPORE_STATES) == 2
    ledger.do(Action("reject", ("t1",)))
    with pytest.raises(ReviewError, match="detection t1: there is none"):
        ledger.check(["t2", "t1"])
