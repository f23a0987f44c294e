"""What an action is, what it does, and that every one can be undone."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from sporecount.detect.table import COLUMNS
from sporecount.review.actions import Action, effective, undoable
from sporecount.review.errors import ReviewError
from sporecount.review.reviewed import everything, is_closed, next_id, reviewed


def three() -> pd.DataFrame:
    rows = []
    for x, state, confidence in ((10, "intact", 0.9), (40, "damaged", 0.6), (70, "fragment", 0.7)):
        row = dict.fromkeys(COLUMNS, 1.0)
        row.update(x_px=x, y_px=20.0, state=state, confidence=confidence)
        row["outline_px"] = np.array([[x - 3.0, 20.0], [x, 18.0], [x + 3.0, 20.0]])
        rows.append(row)
    return pd.DataFrame(rows)[list(COLUMNS)].astype(COLUMNS)


NEW = {"id": "p1", "x_px": 99.0, "y_px": 98.0, "state": "intact", "length_um": 12.0}


def test_nothing_done_leaves_the_tools_own() -> None:
    table = reviewed(three())
    assert_frame_equal(table[list(COLUMNS)], three())
    assert table["id"].tolist() == ["t1", "t2", "t3"]
    assert not table["looked_at"].any()


def test_each_action_does_what_it_says() -> None:
    table = everything(
        three(),
        [
            Action("confirm", ("t1",)),
            Action("reject", ("t2",)),
            Action("state", ("t3",), state="damaged"),
            Action("add", made=(NEW,)),
        ],
    ).set_index("id")
    assert table["standing"].tolist() == [True, False, True, True]
    assert table["state"].tolist() == ["intact", "damaged", "damaged", "intact"]
    assert table["tool_state"].tolist() == ["intact", "damaged", "fragment", ""]
    assert table["confidence"].tolist() == [1.0, 0.6, 1.0, 1.0]
    assert table["tool_confidence"].tolist()[:3] == [0.9, 0.6, 0.7]
    assert table["source"].tolist() == ["tool"] * 3 + ["person"]
    assert table.loc["p1", "length_um"] == 12.0
    assert np.isnan(table.loc["p1", "width_um"])


def test_parts_and_joins_take_the_place_of_what_they_are_made_from() -> None:
    halves = ({**NEW, "id": "p1"}, {**NEW, "id": "p2", "x_px": 120.0})
    parted = [Action("part", ("t1",), made=halves)]
    assert reviewed(three(), parted)["id"].tolist() == ["t2", "t3", "p1", "p2"]
    joined = [*parted, Action("join", ("p1", "p2", "t2"), made=({**NEW, "id": "p3"},))]
    assert reviewed(three(), joined)["id"].tolist() == ["t3", "p3"]
    assert next_id(everything(three(), joined)) == "p4"
    without_state = {name: value for name, value in NEW.items() if name != "state"}
    half = Action("part", ("t2",), made=(without_state, {**without_state, "id": "p2"}))
    assert reviewed(three(), [half])["state"].tolist()[-2:] == ["damaged", "damaged"]


def test_closing_a_photo_holds_until_it_is_opened_again() -> None:
    close, reopen = Action("close"), Action("reopen")
    assert not is_closed([])
    assert is_closed([close])
    assert not is_closed([close, reopen])
    assert is_closed([close, reopen, Action("undo")])


@pytest.mark.parametrize(
    ("made", "match"),
    [
        (lambda: Action("clap", ("t1",)), "there is no such"),
        (lambda: Action("state", ("t1",), state="odd"), "take one of intact|Take one of intact"),
        (lambda: Action("confirm"), "needs at least 1"),
        (lambda: Action("join", ("t1",), made=(NEW,)), "needs at least 2"),
        (lambda: Action("part", ("t1",), made=(NEW,)), "at least 1 and 2"),
        (lambda: reviewed(three(), [Action("reject", ("t9",))]), "no such detection"),
        (lambda: reviewed(three(), [Action("add", made=({**NEW, "id": "t1"},))]), "already one"),
        (lambda: Action.from_json({"kind": "close", "mood": 3}), "does not know"),
    ],
)
def test_what_makes_no_sense_is_refused(made, match: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ReviewError, match=match):
        made()


def test_an_action_survives_being_written() -> None:
    action = Action("add", made=(NEW,), who="Ämmi", at="2026-05-01T10:00:00Z", note="faint")
    assert Action.from_json(json.loads(action.as_json())) == action
    assert "\n" not in action.as_json()


_ANY = st.one_of(
    st.builds(
        lambda kind, target, state: Action(
            kind, (target,), state=state if kind == "state" else None
        ),
        st.sampled_from(["confirm", "reject", "state"]),
        st.sampled_from(["t1", "t2", "t3"]),
        st.sampled_from(["intact", "damaged", "fragment"]),
    ),
    st.just(Action("undo")),
    st.just(Action("redo")),
)


@settings(deadline=None)
@given(st.lists(_ANY, max_size=12))
def test_undoing_everything_leaves_the_tools_own_and_redoing_brings_all_back(
    actions: list[Action],
) -> None:
    done = effective(actions)
    back = [*actions, *([Action("undo")] * len(done))]
    assert effective(back) == []
    assert_frame_equal(reviewed(three(), back), reviewed(three()))
    again = [*back, *([Action("redo")] * len(done))]
    assert effective(again) == done
    if done:
        assert undoable(back) == (None, done[0])
        assert undoable(again)[0] == done[-1]


@given(st.lists(_ANY, max_size=12))
def test_only_undo_and_redo_look_back(actions: list[Action]) -> None:
    plain = [action for action in actions if action.kind not in ("undo", "redo")]
    assert effective(plain) == plain
    assert effective([*actions, Action("confirm", ("t1",)), Action("undo")]) == effective(actions)
