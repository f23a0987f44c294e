"""One photo open for review: what is done to it, what that amounts to, and that it is kept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sporecount.counting import PhotoCount, count_photo
from sporecount.counts.summary import figures
from sporecount.detect.table import SPORE_STATES
from sporecount.photo.photo import Photo
from sporecount.photo.read import photo_from_array
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.review.errors import ReviewError
from sporecount.review.photo_review import PhotoReview, Totals
from sporecount.review.record import find_reviews, read_review
from sporecount.review.use import rates_of
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

SETTINGS = Settings()


@pytest.fixture(scope="module")
def counted() -> tuple[Photo, PhotoCount]:
    rng = np.random.default_rng([5, 7])
    made = render(condition_plan("10x", rng, (560, 420)), rng)
    photo = photo_from_array(made.pixels, "tape.png")
    return photo, count_photo(photo, Calibration(made.plan.um_per_px, "given"), SETTINGS)


@pytest.fixture
def review(counted: tuple[Photo, PhotoCount], tmp_path: Path) -> Iterator[PhotoReview]:
    one = PhotoReview(*counted, tmp_path, "Ann", SETTINGS)
    yield one
    one.leave()


def totals(review: PhotoReview) -> Totals:
    found = review.totals()
    assert found is not None
    return found


def spores_of(review: PhotoReview) -> list[str]:
    rows = review.ledger.rows.values()
    return [row["id"] for row in rows if row["standing"] and row["state"] in SPORE_STATES]


def test_before_anything_is_done_the_totals_are_the_tool_s(
    review: PhotoReview, counted: tuple[Photo, PhotoCount]
) -> None:
    summary, now = counted[1].summary, totals(review)
    assert now.spores > 3
    assert (now.spores, now.low, now.high) == (
        summary["spores"],
        summary["spores_low"],
        summary["spores_high"],
    )
    assert now.load_class == summary["load_class"]
    assert (now.looked_at, now.in_full) == (0, False)


def test_the_totals_follow_each_action_as_a_count_afresh_would(review: PhotoReview) -> None:
    area = review.counted.field.examined_mm2
    names = spores_of(review)
    steps = [
        lambda: review.reject(names[0]),
        lambda: review.confirm(*names[1:3]),
        lambda: review.set_state("fragment", names[3]),
        lambda: review.set_state("damaged", names[2]),
        review.undo,
        review.close_photo,
    ]
    for step in steps:
        step()
        now = totals(review)
        stands = review.ledger.standing()
        if now.in_full:
            stands["confidence"] = 1.0
        doubtful = review.counted.summary["doubtful"]
        afresh = figures(stands, area, SETTINGS.count, rates_of(now.in_full), doubtful)
        assert (now.spores, now.low, now.high) == (
            afresh["spores"],
            afresh["spores_low"],
            afresh["spores_high"],
        )
        assert now.load_class == afresh["load_class"]
    assert now.spores == len(names) - 2
    assert now.low == now.high == now.spores
    assert now.in_full


def test_all_that_was_done_is_there_when_it_is_opened_again(
    review: PhotoReview, counted: tuple[Photo, PhotoCount], tmp_path: Path
) -> None:
    first, second, third = spores_of(review)[:3]
    review.reject(first)
    review.set_state("damaged", second)
    review.confirm(third)
    review.undo()
    before = review.ledger.rows
    review.leave()
    again = PhotoReview(*counted, tmp_path, "Ann", SETTINGS)
    after = again.ledger.rows
    again.leave()
    assert list(after) == list(before)
    for name, row in before.items():
        for column in ("state", "standing", "looked_at", "confidence"):
            assert after[name][column] == row[column]
    kept = read_review(find_reviews(tmp_path, counted[0].sha256)[0])
    assert [action.kind for action in kept.actions] == ["reject", "state", "confirm", "undo"]
    assert {action.who for action in kept.actions} == {"Ann"}
    facts = kept.counted.facts
    assert facts["summary"]["spores"] == counted[1].summary["spores"]
    assert json.dumps(facts, allow_nan=False)


def test_a_missed_spore_is_added_by_pointing_at_it(review: PhotoReview) -> None:
    gone = spores_of(review)[0]
    row = review.row(gone)
    review.reject(gone)
    before = totals(review).spores
    new = review.add_at(row["x_px"] + 1.0, row["y_px"] - 1.0)
    assert new == "p1"
    assert totals(review).spores == before + 1
    assert abs(review.row(new)["area_um2"] / row["area_um2"] - 1) < 0.3


def test_an_outline_of_one_s_own_is_kept_as_it_was_drawn(review: PhotoReview) -> None:
    per_um = 1 / review.counted.field.calibration.um_per_px
    corners = np.array([[0, 0], [12, 0], [12, 8], [0, 8]]) * per_um + [200, 150]
    new = review.add_drawn(corners.tolist(), "damaged")
    row = review.row(new)
    assert row["state"] == "damaged"
    np.testing.assert_allclose(row["outline_px"], corners, atol=0.01)
    assert row["area_um2"] == pytest.approx(96, rel=0.01)
    with pytest.raises(ReviewError, match="less than three corners"):
        review.add_drawn([[1, 1], [2, 2]])
    with pytest.raises(ReviewError, match="encloses next to nothing"):
        review.add_drawn([[100, 100], [101, 100], [101, 101]])
    with pytest.raises(ReviewError, match="outside of what was examined"):
        review.add_drawn((corners - 5000).tolist())
    with pytest.raises(ReviewError, match="there is no such"):
        review.add_drawn(corners.tolist(), "spoiled")


def test_parting_and_joining_bring_back_the_number(review: PhotoReview) -> None:
    name = spores_of(review)[0]
    before = totals(review).spores
    parts = review.part(name)
    assert totals(review).spores == before + 1
    whole = review.join(*parts)
    assert totals(review).spores == before
    assert [review.row(part)["standing"] for part in (*parts, whole)] == [False, False, True]


def test_what_was_rejected_can_be_taken_back_but_not_what_was_parted(review: PhotoReview) -> None:
    first, second = spores_of(review)[:2]
    before = totals(review).spores
    review.reject(first)
    review.confirm(first)
    assert totals(review).spores == before
    review.part(second)
    for act in (review.confirm, review.reject, review.part):
        with pytest.raises(ReviewError, match=f"detection {second}: there is none"):
            act(second)
    assert totals(review).spores == before + 1


def test_nothing_to_undo_is_nothing_done(review: PhotoReview) -> None:
    assert (review.undo(), review.redo(), review.actions) == ((), (), ())


def test_a_photo_that_was_refused_cannot_be_reviewed(tmp_path: Path) -> None:
    photo = photo_from_array(np.full((300, 300, 3), 9, np.uint8), "dark.png")
    refused = count_photo(photo, Calibration(1.0, "given"), SETTINGS)
    review = PhotoReview(photo, refused, tmp_path, "Ann", SETTINGS)
    try:
        assert review.totals() is None
        with pytest.raises(ReviewError, match=r"it was refused .*Take it again; nobody"):
            review.add_at(10, 10)
    finally:
        review.leave()


def test_one_review_is_open_in_one_program_at_a_time(
    review: PhotoReview, counted: tuple[Photo, PhotoCount], tmp_path: Path
) -> None:
    with pytest.raises(ReviewError, match="another program has this review open"):
        PhotoReview(*counted, tmp_path, "Ann", SETTINGS)
    PhotoReview(*counted, tmp_path, "Ben", SETTINGS).leave()


def test_what_cannot_be_written_was_not_done(
    review: PhotoReview, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = spores_of(review)
    review.reject(names[0])

    def full(action: object) -> None:
        raise ReviewError("the review", "it cannot be written (no space left)", "make room")

    monkeypatch.setattr(review._file, "append", full)
    with pytest.raises(ReviewError, match="no space left"):
        review.reject(names[1])
    assert [review.row(name)["standing"] for name in names[:2]] == [False, True]
    assert totals(review).spores == len(names) - 1
