"""How good the tool is, told from reviews: only from fair ones, and with the photo as unit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest

from sporecount.counts.detector_error import spores_range
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.review.actions import Action
from sporecount.review.errors import ReviewError
from sporecount.review.quality import (
    Judged,
    misread_from_judged,
    quality,
    quality_of_reviews,
    rates_from,
)
from sporecount.review.record import Counted, Review
from sporecount.review.sample import CALLS, TRUTHS, judged, random_order, table_of

CLOSE = Action("close")


def detections(states: list[str]) -> pd.DataFrame:
    """Return detections in a row, 40 px apart."""
    table = empty_detections().reindex(range(len(states)))
    table["x_px"], table["y_px"] = 40.0 * np.arange(len(states)), 10.0
    table["state"], table["confidence"] = states, 0.8
    table["outline_px"] = pd.Series([np.zeros((0, 2)) for _ in states], dtype=object)
    return table.astype(COLUMNS)


def review(states: list[str], actions: list[Action], sha256: str = "ab" * 32) -> Review:
    facts = {"summary": {"examined_mm2": 2.0}}
    return Review("a.jpg", sha256, "Ann", Counted(detections(states), 0.5, facts), tuple(actions))


def made(name: str, x: float, state: str = "intact") -> dict[str, object]:
    return {"id": name, "x_px": x, "y_px": 10.0, "state": state}


def cell(table: np.ndarray, truth: str, call: str) -> float:
    return float(table[TRUTHS.index(truth), CALLS.index(call)])


def photo(table: Sequence[Sequence[float]], number: int = 0, area: float = 1.0) -> Judged:
    return Judged(f"{number}.jpg", str(number), "Ann", 0.5, area, True, np.array(table, float))


def spores(hits: float, missed: float, false: float, number: int = 0) -> Judged:
    rows: list[list[float]] = [[hits, 0, 0, missed], [0, 0, 0, 0], [0, 0, 0, 0], [false, 0, 0, 0]]
    return photo(rows, number)


def test_what_each_action_says_of_the_tool() -> None:
    said = [
        Action("reject", ("t2",)),
        Action("state", ("t3",), state="damaged"),
        Action("state", ("t4",), state="fragment"),
        Action("add", made=(made("p1", 500.0, "damaged"),)),
        CLOSE,
    ]
    table = table_of(detections(["intact"] * 5), said, 0.5)
    assert cell(table, "intact", "intact") == 2
    assert cell(table, "nothing", "intact") == 1
    assert cell(table, "damaged", "intact") == 1
    assert cell(table, "fragment", "intact") == 1
    assert cell(table, "damaged", "missed") == 1
    assert table.sum() == 6


def test_parting_is_one_missed_and_joining_one_false() -> None:
    parted = [Action("part", ("t1",), made=(made("p1", -8.0), made("p2", 8.0)))]
    table = table_of(detections(["intact"]), parted, 0.5)
    assert (cell(table, "intact", "intact"), cell(table, "intact", "missed")) == (1, 1)
    joined = [Action("join", ("t1", "t2"), made=(made("p1", 3.0),))]
    table = table_of(detections(["intact", "intact"]), joined, 0.5)
    assert (cell(table, "intact", "intact"), cell(table, "nothing", "intact")) == (1, 1)


def test_one_drawn_anew_is_no_false_one_and_no_missed_one() -> None:
    said = [Action("reject", ("t1",)), Action("add", made=(made("p1", 2.0, "damaged"),))]
    table = table_of(detections(["intact"]), said, 0.5)
    assert cell(table, "damaged", "intact") == 1
    assert table.sum() == 1


def test_a_review_in_full_is_fair_and_one_of_doubts_is_not() -> None:
    states = ["intact"] * 12
    doubts = [Action("reject", ("t5",)), Action("confirm", ("t9",))]
    assert judged(review(states, doubts)) is None
    found = judged(review(states, [*doubts, CLOSE]))
    assert found is not None
    assert found.in_full
    assert found.examined_mm2 == 2.0
    assert cell(found.table, "intact", "intact") == 11
    with pytest.raises(ReviewError, match="the doubtful ones alone do not tell"):
        quality_of_reviews([review(states, doubts)])


def test_a_random_sample_is_fair_and_counts_no_more_than_itself() -> None:
    states = ["intact"] * 40
    order = random_order(detections(states), "ab" * 32)
    doubt = [name for name in order[12:] if name != order[10]][:3]
    said = [Action("confirm", tuple(order[:10])), Action("reject", tuple(doubt))]
    found = judged(review(states, said))
    assert found is not None
    assert not found.in_full
    # The doubtful ones that were rejected beside the sample are not held against the tool.
    assert cell(found.table, "intact", "intact") == found.table.sum() == 10
    assert judged(review(states, [Action("confirm", tuple(order[:9]))])) is None
    # Nine of the first ten are no sample: which one was left out may be no chance.
    assert judged(review(states, [Action("confirm", tuple(order[1:25]))])) is None
    assert quality([found]).recall.total == 0


def test_another_photo_has_another_order() -> None:
    table = detections(["intact"] * 30)
    assert random_order(table, "one") != random_order(table, "two")


def test_part_reviews_beside_fair_ones_are_left_out_and_said() -> None:
    fair = review(["intact"] * 4, [Action("reject", ("t1",)), CLOSE], "aa" * 32)
    part = review(["intact"] * 4, [Action("reject", ("t1", "t2", "t3"))], "bb" * 32)
    found = quality_of_reviews([fair, part])
    assert (found.precision.events, found.precision.total) == (3, 4)
    assert "1 photo reviewed in part left out" in found.as_text()
    assert "Of what is counted as spores, real ones: 75 %" in found.as_text()


def test_two_people_on_one_photo_count_once() -> None:
    one = review(["intact"] * 4, [Action("reject", ("t1",)), CLOSE])
    other = review(["intact"] * 4, [CLOSE])
    assert quality_of_reviews([one, other]).precision.total == 4


def test_figures_of_a_table_worked_out_by_hand() -> None:
    rows = [[40, 4, 0, 6], [5, 20, 1, 4], [2, 1, 10, 3], [3, 2, 5, 0]]
    found = quality([photo(rows)])
    # 69 of the 77 counted as spores are; of 80 spores 69 are counted as such.
    assert (found.precision.events, found.precision.total) == (69, 77)
    assert (found.recall.events, found.recall.total) == (69, 80)
    assert (found.states[0][1].events, found.states[0][1].total) == (4, 44)
    assert (found.states[1][2].events, found.states[1][2].total) == (1, 26)
    assert (found.states[2][0].events, found.states[2][0].total) == (2, 13)
    # One photo says nothing of others.
    assert found.precision.limits.high - found.precision.limits.low > 0.7


def test_limits_hold_where_photos_differ() -> None:
    """Photos whose recall differs: limits with the spore as unit would hold too seldom."""
    rng = np.random.default_rng(5)
    inside, naive = [], []
    for _ in range(250):
        recall = rng.beta(18, 2, 10)
        hits = rng.binomial(60, recall)
        photos = [spores(h, 60 - h, 0, n) for n, h in enumerate(hits.tolist())]
        found = quality(photos).recall
        inside.append(found.limits.low <= 0.9 <= found.limits.high)
        half = 1.96 * math.sqrt(found.share * (1 - found.share) / found.total)
        naive.append(abs(found.share - 0.9) <= half)
    assert np.mean(inside) >= 0.9
    assert np.mean(naive) < 0.75


def test_rates_need_enough_photos_and_spores() -> None:
    rates, why = rates_from([spores(30, 2, 1, n) for n in range(4)])
    assert rates is None
    assert why.startswith("looked through: 4 photos with 128 real spores; from 5 photos")
    rates, why = rates_from([spores(5, 1, 1, n) for n in range(6)])
    assert rates is None
    assert "36 real spores" in why


def test_rates_follow_the_photos_and_not_the_package() -> None:
    usual = DetectorRates(0.93, 0.12, 4.0, 11.0, confidence_is_calibrated=True)
    rates, why = rates_from([spores(30, 20, 4, n) for n in range(12)], usual)
    assert why == ""
    assert rates is not None
    assert rates.recall_mean == pytest.approx(0.6, abs=0.01)
    assert rates.recall_sd < usual.recall_sd
    assert rates.false_per_mm2 == pytest.approx(4.0, abs=0.1)
    assert rates.false_per_mm2_sd < 1.5
    assert rates.confidence_is_calibrated
    assert "12 photos of your own" in rates.measured_on


@pytest.mark.parametrize(("a", "b", "other"), [(10, 10, "too far off"), (60, 2, "too wide")])
def test_own_rates_make_ranges_that_hold(a: float, b: float, other: str) -> None:
    """Ranges from rates that were measured on ten photos hold on others of that microscope."""
    rng = np.random.default_rng(9)
    sd = 0.03 if other == "too far off" else 0.12
    usual = DetectorRates(0.93, sd, 4.0, 11.0, confidence_is_calibrated=True)
    holds: dict[str, list[bool]] = {"own": [], "usual": []}
    widths: dict[str, list[int]] = {"own": [], "usual": []}
    for _ in range(40):
        learned = []
        for n in range(10):
            total = int(rng.integers(20, 80))
            hits = rng.binomial(total, rng.beta(a, b))
            learned.append(spores(hits, total - hits, 0, n))
        rates, _ = rates_from(learned, usual)
        assert rates is not None
        for _ in range(5):
            total = int(rng.integers(20, 80))
            hits = int(rng.binomial(total, rng.beta(a, b)))
            for name, one in (("own", rates), ("usual", usual)):
                low, high = spores_range(hits, 1.0, one, confidences=np.ones(hits), level=0.9)
                holds[name].append(low <= total <= high)
                widths[name].append(high - low)
    # 200 ranges of level 0.9, five on each set of rates: chance alone takes 0.9 to 0.85.
    assert np.mean(holds["own"]) >= 0.85
    if other == "too far off":
        assert np.mean(holds["usual"]) < 0.7
    else:
        assert np.mean(widths["own"]) < 0.6 * np.mean(widths["usual"])


def test_no_miss_and_no_false_one_do_not_mean_that_there_are_none() -> None:
    rates, _ = rates_from([spores(20, 0, 0, n) for n in range(6)])
    assert rates is not None
    assert 0.98 < rates.recall_mean < 1.0
    assert rates.recall_sd > 0.0
    assert 0.0 < rates.false_per_mm2 < 0.2


def test_photos_without_a_known_area_keep_the_usual_false_ones() -> None:
    photos = [photo(spores(20, 1, 3).table.tolist(), n, math.nan) for n in range(6)]
    rates, _ = rates_from(photos)
    assert rates is not None
    assert rates.false_per_mm2 == load_rates().false_per_mm2


def test_what_is_misread_needs_enough_of_each_state() -> None:
    rows = [[18, 2, 0, 1], [3, 1, 0, 0], [0, 0, 5, 1], [1, 0, 0, 0]]
    rates, why = misread_from_judged([photo(rows, n) for n in range(4)])
    assert rates is None
    assert "4 photos with 80 intact and 16 damaged" in why
    rates, _ = misread_from_judged([photo(rows, n) for n in range(8)])
    assert rates is not None
    assert rates.sensitivity == pytest.approx(0.25)
    assert rates.specificity == pytest.approx(0.9)
    assert sum(rates.called[0]) == 8 * 21  # alike photos: every spore counts


def test_photos_that_differ_count_as_fewer_spores() -> None:
    good = [[20, 0, 0, 0], [0, 10, 0, 0], [0, 0, 5, 0], [0, 0, 0, 0]]
    bad = [[10, 10, 0, 0], [0, 10, 0, 0], [0, 0, 5, 0], [0, 0, 0, 0]]
    rates, _ = misread_from_judged([photo(good if n % 2 else bad, n) for n in range(8)])
    assert rates is not None
    assert sum(rates.called[0]) < 0.4 * 160
    assert rates.specificity == pytest.approx(0.75)
