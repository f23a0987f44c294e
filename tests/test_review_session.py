"""A review of several photos without a window: opening, counting, blind, scoring, keeping."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from sporecount.counting import PhotoCount, count_photo
from sporecount.counts.rates import DetectorRates
from sporecount.errors import PhotoUnreadableError, ScaleError
from sporecount.microscope import Microscope
from sporecount.photo.photo import Photo
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.review.errors import ReviewError
from sporecount.review.opening import ScaleChoice, ToReview, from_paths
from sporecount.review.photo_review import Totals
from sporecount.review.queue import order
from sporecount.review.record import find_reviews
from sporecount.review.sample import random_order
from sporecount.review.session import ReviewSession
from sporecount.review.tool_counts import KEPT_FOLDER, ToolCount
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Return a folder with photos of two tapes, and their scale."""
    folder = tmp_path_factory.mktemp("drawn")
    for number, name in enumerate(("A1/a.png", "A1/b.png", "B2/c.png")):
        rng = np.random.default_rng([number, 21])
        made = render(condition_plan("10x", rng, (360, 280)), rng)
        (folder / name).parent.mkdir(exist_ok=True)
        Image.fromarray(made.pixels).save(folder / name)
    return folder, made.plan.um_per_px


@pytest.fixture
def photos(drawn: tuple[Path, float], tmp_path: Path) -> ToReview:
    folder = tmp_path / "tapes"
    shutil.copytree(drawn[0], folder)
    return from_paths([folder], ScaleChoice(um_per_px=drawn[1]))


def totals(session: ReviewSession) -> Totals:
    found = session.totals
    assert found is not None
    return found


def spores_of(session: ReviewSession) -> list[str]:
    rows = session._open_photo().ledger.rows.values()
    return [row["id"] for row in rows if row["standing"] and row["state"] != "fragment"]


class Counts:
    """Counts photos, and how often."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def __call__(
        self,
        photo: Photo,
        calibration: Calibration,
        settings: Settings,
        microscope: Microscope | None,
    ) -> PhotoCount:
        self.names.append(photo.name)
        return count_photo(photo, calibration, settings, microscope)


def test_a_photo_is_counted_once_and_opens_again_as_it_was_left(photos: ToReview) -> None:
    counts = Counts()
    with ReviewSession(photos, who="Ann", count=counts) as session:
        assert session.names == ("A1/a.png", "A1/b.png", "B2/c.png")
        assert (session.samples, session.sample) == (("A1", "B2"), None)
        session.open(0)
        assert session.sample == "A1"
        before, table = totals(session), session.table
        session.act("reject", spores_of(session)[:1])
        left = totals(session)
        session.open(1)
        session.open(0)
        assert totals(session) == left
    with ReviewSession(photos, who="Ann", count=counts) as session:
        session.open(0)
        assert totals(session) == left
        assert session.undo() == (table["id"][0],)
        assert totals(session) == before
    assert counts.names == ["A1/a.png", "A1/b.png"]


def test_what_is_kept_of_a_count_is_no_photo_s_name_and_changes_with_the_scale(
    photos: ToReview,
) -> None:
    counts = Counts()
    with ReviewSession(photos, who="Ann", count=counts) as session:
        first = session.prepare(0).counted
        kept = list(photos.files[0].path.parent.rglob(f"{KEPT_FOLDER}/*.json"))
        assert [path.name.startswith(first.summary["sha256"][:24]) for path in kept] == [True]
        again = session.prepare(0).counted
    assert dict(again.summary) == dict(first.summary)
    assert again.field.examined_mm2 == first.field.examined_mm2
    assert again.detections.dtypes.equals(first.detections.dtypes)
    np.testing.assert_allclose(again.detections["area_um2"], first.detections["area_um2"])
    other = ToReview(photos.files, photos.samples, scale=ScaleChoice(um_per_px=0.8))
    with ReviewSession(other, who="Ann", count=counts) as session:
        assert session.prepare(0).counted.summary["um_per_px"] == 0.8
    kept[0].write_text("{", "utf-8")
    with ReviewSession(photos, who="Ann", count=counts) as session:
        session.prepare(0)
    assert counts.names == ["A1/a.png"] * 3


def test_listeners_hear_what_changed(photos: ToReview) -> None:
    heard: list[tuple[str, ...]] = []
    with ReviewSession(photos, who="Ann") as session:
        stop = session.on_change(heard.append)
        session.open(0)
        name = spores_of(session)[0]
        session.act("confirm", [name])
        session.undo()
        session.redo()
        parts = session.part(name)
        whole = session.join(parts)
        session.close_photo()
        session.reopen_photo()
        stop()
        session.undo()
    assert heard == [(), (name,), (name,), (name,), (name, *parts), (*parts, whole), (), ()]


def test_all_can_be_counted_and_that_can_be_stopped(photos: ToReview) -> None:
    seen: list[int] = []
    with ReviewSession(photos, who="Ann") as session:

        def done(index: int, said: ToolCount) -> None:
            seen.append(index)
            assert said.summary["photo"] == session.files[index].name

        assert session.count_all(done, lambda: len(seen) == 2) is False
        assert seen == [0, 1]
        assert session.count_all(done)
        assert seen == [0, 1, 0, 1, 2]


def test_a_photo_that_cannot_be_worked_on_does_not_stop_the_others(photos: ToReview) -> None:
    photos.files[0].path.write_bytes(b"no picture")
    said: list[str] = []
    with ReviewSession(photos, who="Ann") as session:
        assert session.count_all(lambda _, one: said.append(one.summary["status"]))
        with pytest.raises(PhotoUnreadableError, match=r"A1/a\.png"):
            session.open(0)
        assert session.now is None
        assert session.score("A1").summary["photos_used"] == 1
    assert said == ["unreadable", "counted", "counted"]


def test_without_a_scale_nothing_is_counted(photos: ToReview) -> None:
    with (
        ReviewSession(ToReview(photos.files, photos.samples), who="Ann") as session,
        pytest.raises(ScaleError, match="its scale is unknown"),
    ):
        session.open(0)


def test_blind_names_come_back_when_all_are_closed(photos: ToReview) -> None:
    blind = ToReview(photos.files, photos.samples, scale=photos.scale, blind=True)
    hidden = ("photo 01", "photo 02", "photo 03")
    with ReviewSession(blind, who="Ann", seed=3) as session:
        order = [file.name for file in session.files]
        assert order != [file.name for file in photos.files]
        assert session.names == hidden
        with pytest.raises(ReviewError, match="not all photos are closed"):
            session.score("A1")
        session.open(0)
        session.close_photo()
        assert (session.closed, session.next_open()) == ((True, False, False), 1)
        session.files[1].path.write_bytes(b"no picture")
        with pytest.raises(PhotoUnreadableError) as caught:
            session.open(1)
        assert order[1] not in str(caught.value)
        assert "photo 02" in str(caught.value)
        assert session.names == hidden
    # Closed ones are known the next time.
    with ReviewSession(blind, who="Ann", seed=3) as session:
        assert session.closed == (True, False, False)
        assert session.is_revealed is False
    with ReviewSession(blind, who="Ben", seed=3) as session:
        assert session.closed == (False, False, False)


def test_blind_ends_with_the_last_photo(photos: ToReview) -> None:
    blind = ToReview(photos.files[:2], photos.samples, scale=photos.scale, blind=True)
    with ReviewSession(blind, who="Ann") as session:
        for index in range(2):
            session.open(index)
            session.close_photo()
        assert set(session.names) == {"A1/a.png", "A1/b.png"}
        assert session.next_open() is None
        assert session.score("A1").summary["spores"] is not None


def test_the_score_follows_what_is_on_screen(photos: ToReview) -> None:
    with ReviewSession(photos, who="Ann") as session:
        session.open(2)
        before = session.score("B2").summary
        names = spores_of(session)
        session.act("reject", names)
        after = session.score("B2").summary
        assert before["spores"] - after["spores"] == len(names) > 0
        session.undo()
        again = session.score("B2").summary
        assert (again["spores"], again["tape_high"]) == (before["spores"], before["tape_high"])
        with pytest.raises(ReviewError, match="sample C3: there is none"):
            session.score("C3")


def test_another_person_s_review_does_not_take_the_place_of_what_is_on_screen(
    photos: ToReview,
) -> None:
    with ReviewSession(photos, who="Ben") as session:
        session.open(2)
        session.close_photo()
        number = totals(session).spores
    with ReviewSession(photos, who="Ann") as session:
        session.open(2)
        session.act("reject", spores_of(session)[:1])
        assert session.score("B2").summary["spores"] == number - 1
    assert len(find_reviews(photos.files[2].path.parent / "sporecount-reviews", "")) == 0


def test_what_changes_the_answer_most_comes_first_and_what_was_judged_no_more(
    photos: ToReview,
) -> None:
    with ReviewSession(photos, who="Ann") as session:
        session.open(0)
        review = session._open_photo()
        queue = order(review.ledger.rows, review.second, review.um_per_px)
        first = session.next_in_queue()
        assert first is not None
        assert (first.name, first.why) == (queue["id"][0], queue["why"][0])
        second = session.next_in_queue([first.name])
        assert second is not None
        assert second.name == queue["id"][1]
        session.act("confirm", list(review.ledger.rows))
        assert session.next_in_queue() is None
        assert session.next_in_queue(fair=True) is None


def test_a_second_look_adds_places_where_one_was_missed(photos: ToReview) -> None:
    with ReviewSession(photos, who="Ann") as session:
        session.open(0)
        review = session._open_photo()
        review.second = review.look_again()
        session.act("confirm", list(review.ledger.rows))
        places = [session.next_in_queue([f"m{n}" for n in range(1, k)]) for k in range(1, 4)]
        names = [place.name for place in places if place is not None]
        assert names == [f"m{n}" for n in range(1, len(names) + 1)]
        assert all(place.is_place for place in places if place is not None)
        assert review.settlement(0.05) is not None


def test_a_fair_sample_goes_in_the_order_that_the_photo_fixes(photos: ToReview) -> None:
    with ReviewSession(photos, who="Ann") as session:
        session.open(0)
        review = session._open_photo()
        fixed = random_order(review.counted.detections, review.photo.sha256)
        seen = []
        for _ in range(3):
            look = session.next_in_queue(fair=True)
            assert look is not None
            assert look.is_place is False
            seen.append(look.name)
            session.act("confirm", [look.name])
        assert seen == fixed[:3]


def test_a_microscope_of_that_scale_is_counted_with(photos: ToReview, drawn: Any) -> None:
    own = DetectorRates(0.9, 0.02, 0.0)
    known = Microscope("mine", (drawn[1], drawn[1]), "2026-05-01", rates=own)
    other = Microscope("other", (5.0, 5.0), "2026-05-01", rates=DetectorRates(0.1, 0.01, 9.0))
    with ReviewSession(photos, who="Ann", microscopes=[known, other]) as session:
        review = session.open(0)
        assert review.rates == own
        assert "mine" in review.counted.summary["notes"]
        summary = review.counted.summary
        now = totals(session)
        assert (now.low, now.high) == (summary["spores_low"], summary["spores_high"])
        session.close_photo()
        assert review.rates.recall_mean == 1.0
    with ReviewSession(photos, who="Ben") as session:
        assert session.open(0).counted.summary["notes"] != summary["notes"]


def test_a_tape_is_scored_with_the_rates_of_its_microscope(photos: ToReview, drawn: Any) -> None:
    poor = DetectorRates(0.4, 0.05, 0.1, confidence_is_calibrated=True)
    known = Microscope("mine", (drawn[1], drawn[1]), "2026-05-01", rates=poor)
    with ReviewSession(photos, who="Ann") as session:
        usual = session.score("B2").summary
    with ReviewSession(photos, who="Ben", microscopes=[known]) as session:
        own = session.score("B2").summary
    assert own["spores"] == usual["spores"] > 0
    assert own["tape_spores"] > 1.5 * usual["tape_spores"]


def test_nothing_can_be_done_while_no_photo_is_open(photos: ToReview) -> None:
    session = ReviewSession(photos, who="Ann")
    with pytest.raises(ReviewError, match="none is open"):
        session.undo()
    with pytest.raises(ReviewError, match="there are 3"):
        session.open(3)
