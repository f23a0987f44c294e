"""What to look at first, and when more review no longer matters."""

from __future__ import annotations

import time
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.counting import count_photo
from sporecount.counts.rates import DetectorRates
from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.photo.photo import Photo
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.render.truth import to_be_found
from sporecount.review.actions import Action
from sporecount.review.ledger import Ledger
from sporecount.review.queue import (
    COUNT,
    QUEUE_COLUMNS,
    STATES,
    Spots,
    next_photo,
    open_spots,
    order,
)
from sporecount.review.second_look import MISS_COLUMNS, SecondLook, no_second_look, second_look
from sporecount.review.settlement import settled
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

RATES = DetectorRates(0.93, 0.1, 4.0, 10.0, confidence_is_calibrated=True)
NO_MISSES = DetectorRates(1.0, 0.0, 0.0)


def table_of(confidences: list[float], states: list[str] | None = None) -> pd.DataFrame:
    """Return detections in a row, 20 px apart."""
    table = empty_detections().reindex(range(len(confidences)))
    table["x_px"] = 20.0 * np.arange(len(confidences))
    table["y_px"] = 5.0
    table["confidence"] = confidences
    table["state"] = states or ["intact"] * len(confidences)
    outlines = [np.zeros((0, 2)) for _ in confidences]
    table["outline_px"] = pd.Series(outlines, dtype=object)
    return table.astype(COLUMNS)


def look_of(detections: pd.DataFrame, chances: list[float], **known: Any) -> SecondLook:
    """Return a second look with missed places below the row, and what is known of the row."""
    misses = pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in MISS_COLUMNS.items()})
    misses = misses.reindex(range(len(chances)))
    misses["id"] = [f"m{number + 1}" for number in range(len(chances))]
    misses["x_px"], misses["y_px"] = 20.0 * np.arange(len(chances)), 60.0
    misses["chance"], misses["damaged"] = chances, 0.1
    unknown = np.full(len(detections), np.nan)
    return SecondLook(
        misses.astype(MISS_COLUMNS),
        np.asarray(known.get("spore", unknown), float),
        np.asarray(known.get("damaged", unknown), float),
    )


def spots_of(sure: int, counted: list[float], missed: list[float]) -> Spots:
    number = len(counted) + len(missed)
    return Spots(
        [f"t{n}" for n in range(number)],
        np.zeros((number, 2)),
        np.array([True] * len(counted) + [False] * len(missed), bool),
        np.array(counted + missed, float),
        np.zeros(number),
        ["intact"] * len(counted) + [""] * len(missed),
        sure,
    )


def test_the_least_certain_come_first_counted_or_missed() -> None:
    table = table_of([0.99, 0.55, 0.9])
    queue = order(Ledger(table).rows, look_of(table, [0.4, 0.02]), 0.5)
    assert queue["id"].tolist() == ["t2", "m1", "t3", "m2", "t1"]
    assert queue["gain"].tolist() == pytest.approx([0.45, 0.4, 0.1, 0.02, 0.01])
    assert queue["why"].tolist()[:2] == [
        "Counted as a spore, and is one with a chance of 55 %.",
        "Not counted, but it may be a spore that was missed (40 %).",
    ]
    assert dict(queue.dtypes.astype(str)) == QUEUE_COLUMNS


def test_what_was_looked_at_is_not_asked_again() -> None:
    table = table_of([0.6, 0.7, 0.8])
    ledger, second = Ledger(table), look_of(table, [0.5, 0.3])
    ledger.do(Action("confirm", ("t1",)))
    ledger.do(Action("reject", ("t2",)))
    ledger.do(Action("add", made=({"id": "p1", "x_px": 2.0, "y_px": 60.0, "state": "intact"},)))
    # The added one lies 1 um from the first missed place; the second is 9 um away.
    assert order(ledger.rows, second, 0.5)["id"].tolist() == ["m2", "t3"]
    assert order(ledger.rows, second, 0.5, skipped={"m2"})["id"].tolist() == ["t3"]
    ledger.do(Action("undo"))
    assert order(ledger.rows, second, 0.5, most=1)["id"].tolist() == ["m1"]
    assert open_spots(ledger.rows, second, 0.5).sure == 1


def test_a_fragment_that_may_be_a_spore_is_weighed_by_the_second_look() -> None:
    table = table_of([0.8, 0.8], ["fragment", "fragment"])
    second = look_of(table, [], spore=[0.3, np.nan])
    queue = order(Ledger(table).rows, second, 0.5)
    assert queue["gain"].tolist() == pytest.approx([0.3, 0.1])
    assert queue["why"][0] == "Called a fragment, but it may be a whole spore (30 %)."


def test_in_a_trial_doubts_about_states_come_first() -> None:
    table = table_of([0.97, 0.7, 0.99], ["intact", "intact", "damaged"])
    second = look_of(table, [], damaged=[0.5, 0.05, 0.9])
    assert order(Ledger(table).rows, second, 0.5, aim=COUNT)["id"].tolist() == ["t2", "t1", "t3"]
    queue = order(Ledger(table).rows, second, 0.5, aim=STATES)
    assert queue["id"].tolist() == ["t1", "t2", "t3"]
    assert queue["gain"].tolist() == pytest.approx([0.03 + 0.97 * 0.5, 0.3 + 0.035, 0.01 + 0.099])
    assert queue["why"][0] == "Called intact, but it may be damaged (50 %)."
    assert queue["why"][2] == "Called damaged, but it may be intact (10 %)."


def test_five_thousand_detections_are_ordered_in_an_instant() -> None:
    rng = np.random.default_rng(1)
    table = table_of(rng.uniform(0.5, 1.0, 5000).tolist())
    ledger, second = Ledger(table), look_of(table, rng.uniform(0.02, 0.5, 500).tolist())
    rows, started = ledger.rows, time.process_time()
    queue = order(rows, second, 0.5)
    ordered = time.process_time() - started
    plain = time.process_time()
    for _ in range(20):
        sorted(row["confidence"] for row in rows.values() if row["standing"])
    # Against what a plain walk over the rows takes on the same machine: no more than 100 walks.
    assert ordered < 5 * (time.process_time() - plain)
    assert len(queue) == 200


@pytest.mark.parametrize(
    ("sure", "counted", "missed", "is_settled"),
    [
        (50, [0.9] * 10, [], True),  # 60 spores: far from 20 and from 101
        (15, [0.9] * 5, [0.5] * 4, False),  # 20, and some more are likely
        (0, [], [], True),  # nothing there, nothing listed
        (0, [], [0.3], False),
        (100, [], [0.02], True),
        (98, [0.95] * 3, [0.5], False),
        (3000, [0.9] * 400, [0.1] * 200, True),  # the heaviest class
    ],
)
def test_settled_is_told_from_what_is_open(
    sure: int, counted: list[float], missed: list[float], is_settled: bool
) -> None:
    found = settled([spots_of(sure, counted, missed)], NO_MISSES, risk=0.05)
    assert found.is_settled is is_settled
    assert (found.looks == 0) is is_settled
    assert (found.p_other <= 0.05) is is_settled


def test_the_chance_of_another_class_is_exact() -> None:
    # 19 known and 2 counted of 0.9 and 0.8: class 3 from 21 on. 21 are counted.
    found = settled([spots_of(19, [0.9, 0.8], [])], NO_MISSES)
    assert found.load_class == 3
    assert found.p_other == pytest.approx(1 - 0.9 * 0.8)
    assert found.why == "Class 3 may still change (28 %); about 2 more looks should settle it."
    with_miss = settled([spots_of(19, [0.9, 0.8], [0.5])], NO_MISSES)
    assert with_miss.p_other == pytest.approx(1 - 0.72 - 0.5 * (0.9 * 0.2 + 0.1 * 0.8))


def test_the_law_of_many_open_spots_is_as_good_as_exact() -> None:
    rng = np.random.default_rng(2)
    chances = rng.uniform(0.5, 1.0, 290).tolist()
    few = settled([spots_of(783, chances, [])], NO_MISSES, risk=0.01)
    more = settled([spots_of(783 - 100, chances, []), spots_of(0, [0.999999] * 100, [])], NO_MISSES)
    assert 0.05 < few.p_other < 0.95
    assert more.p_other == pytest.approx(few.p_other, abs=0.01)


def test_missed_spores_beyond_the_list_keep_a_class_open() -> None:
    near = [spots_of(97, [], [])]
    assert settled(near, NO_MISSES).is_settled
    open_ = settled(near, RATES)
    assert not open_.is_settled
    assert open_.looks is None
    assert "look through the whole photo" in open_.why
    closed = settled(near, RATES, in_full=[True])
    assert closed.is_settled
    assert closed.why == "All of it was looked through: class 3."


def test_a_smaller_risk_asks_for_more_looks() -> None:
    spots = [spots_of(4, [0.9] * 20, [0.2] * 10)]
    looks = [settled(spots, NO_MISSES, risk=risk).looks for risk in (0.3, 0.1, 0.01)]
    assert looks == sorted(looks, key=lambda n: n or 0)
    assert looks[0] < looks[-1]  # type: ignore[operator]


def test_reviewing_by_the_queue_settles_as_foretold() -> None:
    """Simulated people: where it says settled, the class of the truth is another one rarely."""
    rng = np.random.default_rng(4)
    wrong, said = 0, 0
    for _ in range(1500):
        sure = int(rng.integers(0, 30))
        counted, missed = rng.beta(6, 1, 12), rng.beta(1, 6, 12)
        found = settled([spots_of(sure, counted.tolist(), missed.tolist())], NO_MISSES, risk=0.1)
        if found.is_settled:
            said += 1
            truth = sure + (rng.random(24) < np.concatenate([counted, missed])).sum()
            bounds = (0, 1, 2, 21, 101, 1001)
            wrong += int(np.searchsorted(bounds, truth, "right") - 1) != found.load_class
    assert said > 400
    assert wrong / said <= 0.1


def test_the_photo_with_most_to_gain_is_next_and_nearness_to_an_edge_counts() -> None:
    spots = [spots_of(5, [0.99], []), spots_of(5, [0.7], [0.3]), spots_of(5, [0.6], [0.4])]
    assert next_photo(spots) == 2
    assert next_photo(spots, [0.0, 0.4, 0.01]) == 1
    assert next_photo(spots, [0.0, 0.0, 0.0]) == 2
    assert next_photo([spots_of(3, [], [])]) is None
    assert next_photo([]) is None


@pytest.fixture(scope="module")
def drawn() -> tuple[Any, SecondLook, pd.DataFrame, float]:
    """Count a photo of clumps, and look a second time."""
    return looked_at_twice("clumps")


def looked_at_twice(
    condition: str, seed: tuple[int, int] = (777, 6)
) -> tuple[Any, SecondLook, pd.DataFrame, float]:
    rng = np.random.default_rng(seed)
    picture = render(condition_plan(condition, rng, (1000, 750)), rng)
    um_per_px = picture.plan.um_per_px
    settings = Settings()
    photo = Photo("drawn", picture.pixels, sha256="")
    counted = count_photo(photo, Calibration(um_per_px, "drawn"), settings)
    second = second_look(counted.field, counted.detections, settings.detect)
    return counted, second, picture.truth, um_per_px


def test_a_second_look_says_of_detections_what_the_count_says(drawn: Any) -> None:
    counted, second, _, _ = drawn
    spores = counted.detections["state"].isin(["intact", "damaged"]).to_numpy()
    known = spores & np.isfinite(second.spore)
    assert known.sum() > 0.9 * spores.sum() > 20
    confidence = counted.detections["confidence"].to_numpy()
    assert second.spore[known] == pytest.approx(confidence[known], abs=1e-4)
    least = Settings().detect.least_damaged
    called = (counted.detections["state"] == "damaged").to_numpy()
    assert ((second.damaged >= least) == called)[known].all()


def test_a_second_look_lists_no_detection_again_and_most_likely_first(drawn: Any) -> None:
    counted, second, _, um_per_px = drawn
    misses = second.misses
    assert dict(misses.dtypes.astype(str)) == MISS_COLUMNS
    assert misses["chance"].is_monotonic_decreasing
    assert misses["chance"].between(0.008, 0.5).all()
    near = match_centres(
        misses[["x_px", "y_px"]].to_numpy(float),
        counted.detections[["x_px", "y_px"]].to_numpy(float),
        2.0 / um_per_px,
    )
    assert len(near.found) == 0


def test_missed_spores_are_among_the_likely_ones() -> None:
    missed = listed = 0
    for condition, number in product(("thick-scales", "trial"), range(2)):
        counted, second, truth, um_per_px = looked_at_twice(condition, (778, number))
        seen = to_be_found(truth) & (truth["state"] != "fragment").to_numpy()
        true = truth.loc[seen, ["x_px", "y_px"]].to_numpy(float)
        within = WITHIN_UM / um_per_px
        spores = counted.detections[counted.detections["state"] != "fragment"]
        found = match_centres(spores[["x_px", "y_px"]].to_numpy(float), true, within)
        places = second.misses[["x_px", "y_px"]].to_numpy(float)
        missed += len(found.true_left)
        listed += len(match_centres(places, true[found.true_left], within).found)
    assert missed >= 8
    assert listed >= 0.5 * missed


def test_nothing_seen_a_second_time_is_a_table_of_the_same_columns() -> None:
    nothing = no_second_look(empty_detections())
    assert dict(nothing.misses.dtypes.astype(str)) == MISS_COLUMNS
    assert len(nothing.misses) == 0
