"""Outlines on the screen: states are told by the line, and a small change draws the same."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sporecount.detect.table import STATES
from sporecount.review.overlay import Marks, Screen, draw_overlay, redraw

TURN = np.arange(48) * 2 * np.pi / 48


def row(x: float, y: float, **given: Any) -> dict[str, Any]:
    outline = np.stack([x + 18 * np.cos(TURN), y + 11 * np.sin(TURN)], axis=1)
    known = {"x_px": x, "y_px": y, "outline_px": outline, "state": "intact", "confidence": 0.95}
    return {**known, "standing": True, "looked_at": False, **given}


def rows(number: int = 60) -> dict[str, dict[str, Any]]:
    rng = np.random.default_rng(2)
    return {
        f"t{k}": row(
            *rng.uniform(0, 800, 2),
            state=STATES[k % 3],
            standing=k % 7 > 0,
            looked_at=k % 5 == 0,
            confidence=rng.uniform(0.5, 1),
        )
        for k in range(number)
    }


def inked(picture: NDArray[np.uint8]) -> int:
    return int((picture[..., 3] > 0).sum())


def test_nothing_there_is_wholly_transparent() -> None:
    assert inked(draw_overlay(Marks({}), Screen(0, 0, 1, 50, 40))) == 0
    assert draw_overlay(Marks({}), Screen(0, 0, 1, 50, 40)).shape == (40, 50, 4)


def test_an_outline_lies_around_its_object_at_every_zoom() -> None:
    marks = Marks({"t1": row(300, 200)})
    for zoom in (0.5, 1.0, 3.0):
        screen = Screen(250, 150, zoom, int(100 * zoom), int(100 * zoom))
        yy, xx = np.nonzero(draw_overlay(marks, screen)[..., 3])
        left, right = ((xx.min() + 0.5) / zoom + 250 - 0.5, (xx.max() + 0.5) / zoom + 250 - 0.5)
        assert 300 - 18 - 7 / zoom < left < 300 - 18
        assert 300 + 18 < right < 300 + 18 + 7 / zoom
        assert (yy.min() + yy.max() + 1) / 2 / zoom + 150 == pytest.approx(200, abs=1)


def test_states_differ_in_line_as_well_as_in_colour() -> None:
    drawn = {}
    for state in STATES:
        picture = draw_overlay(Marks({"t1": row(50, 50, state=state)}), Screen(0, 0, 1, 100, 100))
        drawn[state] = picture
    pieces = [cv2.connectedComponents(drawn[state][..., 3])[0] - 1 for state in STATES]
    assert pieces[0] == 1
    assert 1 < pieces[1] < pieces[2]
    colours = {tuple(drawn[state][drawn[state][..., 3] > 250].max(axis=0)) for state in STATES}
    assert len(colours) == 3


def test_what_was_judged_has_a_thicker_line_and_what_was_rejected_is_a_cross() -> None:
    screen = Screen(0, 0, 1, 100, 100)
    plain = draw_overlay(Marks({"t1": row(50, 50)}), screen)
    judged = draw_overlay(Marks({"t1": row(50, 50, looked_at=True)}), screen)
    gone = draw_overlay(Marks({"t1": row(50, 50, standing=False)}), screen)
    assert inked(judged) > 1.2 * inked(plain) > inked(gone) > 20
    assert gone[50, 50, 3] == 255


def test_hiding_leaves_what_is_selected() -> None:
    marks, screen = Marks(rows()), Screen(0, 0, 1, 800, 800)
    assert inked(draw_overlay(marks, screen, hidden=True)) == 0
    assert 0 < inked(draw_overlay(marks, screen, ["t1"], hidden=True)) < 2000
    line = np.array([[10.0, 10.0], [200.0, 10.0]])
    assert inked(draw_overlay(marks, screen, hidden=True, line=line)) > 180


@pytest.mark.parametrize("zoom", [0.25, 1.0, 2.5])
def test_drawing_what_changed_is_the_same_as_drawing_all(zoom: float) -> None:
    held = rows()
    marks, screen = Marks(held), Screen(40, 60, zoom, 700, 500)
    picture = draw_overlay(marks, screen, ["t3"])
    boxes = [marks.box(name) for name in ("t3", "t4", "t5")]
    held["t4"] = {**held["t4"], "standing": not held["t4"]["standing"]}
    held["t5"] = row(*marks.xy_px[5] + 9, state="fragment")
    held["p1"] = row(300, 300)
    marks.update(["t4", "t5", "p1"], held)
    boxes += [marks.box(name) for name in ("t5", "p1")]
    redraw(picture, marks, screen, [box for box in boxes if box], ["p1"])
    # Lines end a little differently where the picture does.
    whole = draw_overlay(marks, screen, ["p1"])
    assert np.array_equal(picture[4:-4, 4:-4], whole[4:-4, 4:-4])
    del held["p1"]
    marks.update(["p1"], held)
    assert np.array_equal(draw_overlay(marks, screen), draw_overlay(Marks(held), screen))


def test_the_one_around_a_place_is_picked_then_the_nearest_then_what_was_rejected() -> None:
    held = {"t1": row(100, 100), "t2": row(140, 100), "t3": row(101, 100, standing=False)}
    marks = Marks(held)
    assert marks.at(112, 100, 5) == "t1"
    assert marks.at(126, 100, 5) == "t2"
    assert marks.at(120, 130, 60) in ("t1", "t2")
    assert marks.at(300, 300, 20) is None
    held["t1"] = {**held["t1"], "standing": False}
    del held["t2"]
    marks.update(["t1", "t2"], held)
    assert marks.at(101, 100, 5) == "t3"
    assert marks.at(140, 100, 5) is None
    assert marks.box("t9") is None
