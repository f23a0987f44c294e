"""Marked copies: what is drawn, where, and that the photo is left alone."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sporecount.counts.summary import unreadable_summary
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, empty_detections
from sporecount.report.lettering import drawable, fit, font, shorten_middle, width, wrap
from sporecount.report.marked import draw_marked, jpeg_bytes
from sporecount.report.strips import round_length_um
from sporecount.report.strokes import STROKES, draw_stroke

SUMMARY = {
    **unreadable_summary("a.jpg", ""),
    "status": "counted",
    "um_per_px": 0.5,
    "scale_source": "given",
    "examined_mm2": 0.2,
    "spores": 1,
    "spores_low": 1,
    "spores_high": 2,
    "per_mm2": 5.0,
    "per_mm2_low": 1.0,
    "per_mm2_high": 20.0,
    "load_class": 1,
    "intact": 1,
    "damaged": 0,
    "fragment": 0,
}
REFUSED = {**SUMMARY, "status": "refused", "reason": "nothing is in focus", "spores": None}


def ring(x: float, y: float, radius: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.column_stack((x + radius * np.cos(turn), y + radius * np.sin(turn)))


def detection(state: str, outline: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"state": [state], "outline_px": [outline]})


def photo(height: int = 900, width_px: int = 1200) -> np.ndarray:
    pixels = np.full((height, width_px, 3), 128, np.uint8)
    pixels.setflags(write=False)
    return pixels


def drawn_share(picture: np.ndarray) -> float:
    return float((picture != 128).any(axis=2).mean())


@pytest.mark.parametrize("ground", [0, 128, 255])
@pytest.mark.parametrize("state", [INTACT, DAMAGED, FRAGMENT])
def test_each_line_shows_on_any_ground(state: str, ground: int) -> None:
    canvas = np.full((120, 120, 3), ground, np.uint8)
    draw_stroke(canvas, ring(60, 60, 30), STROKES[state], 2.0)
    assert np.abs(canvas.astype(int) - ground).max() > 100


def test_states_differ_without_colour() -> None:
    """Drawn in grey, an unbroken line covers more than dashes, and dashes more than dots."""
    covered = {}
    for state, stroke in STROKES.items():
        canvas = np.full((200, 200, 3), 128, np.uint8)
        draw_stroke(canvas, ring(100, 120, 60), stroke, 2.0)
        covered[state] = (canvas[80:].max(axis=2) > 160).sum()
    assert covered[INTACT] > 1.4 * covered[DAMAGED] > 1.4 * covered[FRAGMENT]


def test_outline_is_drawn_round_its_object_and_leaves_the_rest() -> None:
    pixels = photo()
    picture = draw_marked(pixels, detection(INTACT, ring(600, 400, 20)), SUMMARY)
    plain = draw_marked(pixels, empty_detections(), SUMMARY)
    rows, columns = np.nonzero((picture != plain).any(axis=2))
    top = np.argmax((plain == 128).all(axis=(1, 2)))  # the first row below the strip
    # The copy is 500/450 times the photo: 0.5 um/px is brought to 0.45.
    zoom = 0.5 / 0.45
    assert columns.mean() == pytest.approx(600.5 * zoom - 0.5, abs=1.0)
    assert rows.mean() - top == pytest.approx(400.5 * zoom - 0.5, abs=1.0)
    assert np.ptp(columns) < 2 * 20 * zoom + 20
    assert (pixels == 128).all()


@pytest.mark.parametrize(
    ("size", "long_side"), [((3000, 4000), 2400), ((90, 120), 480), ((600, 800), 1200)]
)
def test_copies_have_a_size_a_person_can_work_with(size: tuple[int, int], long_side: int) -> None:
    picture = draw_marked(photo(*size), empty_detections(), SUMMARY | {"um_per_px": 0.1})
    assert picture.shape[1] == long_side


def test_refused_photo_is_shown_with_a_taller_strip_that_says_why() -> None:
    short = draw_marked(photo(), empty_detections(), REFUSED)
    long = draw_marked(photo(), empty_detections(), {**REFUSED, "reason": "so blurred " * 60})
    assert long.shape[0] > short.shape[0]


def test_edge_of_the_examined_area_is_drawn_only_where_part_was_left_out() -> None:
    whole = np.ones((300, 400), bool)
    part = whole.copy()
    part[:, :200] = False
    plain = draw_marked(photo(), empty_detections(), SUMMARY)
    same = draw_marked(photo(), empty_detections(), SUMMARY, examined=whole)
    with_edge = draw_marked(photo(), empty_detections(), SUMMARY, examined=part)
    assert (same == plain).all()
    height = plain.shape[0] // 2
    changed = np.nonzero((with_edge != plain)[height - 60 : height + 60].any(axis=(0, 2)))[0]
    assert changed.mean() == pytest.approx(plain.shape[1] / 2, abs=8)


@pytest.mark.parametrize("name", ["🦋" * 40, "x" * 400, "=1+1 #%.jpg", "蝶/é ü.jpg", "a\nb\x00c"])
def test_odd_names_are_drawn(name: str) -> None:
    picture = draw_marked(photo(), empty_detections(), {**SUMMARY, "photo": name})
    assert picture.shape[2] == 3


def test_no_detections_and_odd_outlines_are_drawn() -> None:
    table = pd.DataFrame(
        {"state": [INTACT, FRAGMENT], "outline_px": [np.zeros((0, 2)), np.array([[3.0, 4.0]])]}
    )
    assert draw_marked(photo(), table, SUMMARY).dtype == np.uint8


def test_jpeg_keeps_size() -> None:
    content = jpeg_bytes(np.zeros((20, 30, 3), np.uint8))
    assert Image.open(io.BytesIO(content)).size == (30, 20)


@pytest.mark.parametrize("most", [0.3, 1.0, 7.0, 49.9, 50.0, 1234.0])
def test_scale_bar_is_round_and_as_long_as_there_is_room(most: float) -> None:
    length = round_length_um(most)
    assert length <= most * 1.0001 < 2.6 * length
    assert f"{length:e}"[0] in "125"


def test_text_is_fitted_and_wrapped_to_its_room() -> None:
    letters = font(20)
    assert width(fit("a long name of a photo" * 9, letters, 200), letters) <= 200
    lines = wrap("words and more words " * 20 + "x" * 300, letters, 200)
    assert all(width(line, letters) <= 200 for line in lines)


@pytest.mark.parametrize("most", range(1, 9))
def test_shortened_text_has_the_length_asked_for(most: int) -> None:
    assert len(shorten_middle("abcdefghi", most)) == most


def test_letters_without_a_shape_become_question_marks() -> None:
    assert drawable("蝶\n") == "??"
