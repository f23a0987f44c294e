"""What the log tells: broods as the unit, small numbers called small, and what to look at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog
from sporecount.rearing.telling import Telling, tell
from sporecount.rearing.trend import month_trend
from sporecount.statistics.clusters import Group, group, rao_scott
from sporecount.statistics.permutation import permute_clusters
from sporecount.statistics.proportions import exact, wilson


@pytest.fixture
def log(tmp_path: Path) -> Iterator[RearingLog]:
    with RearingLog.open(tmp_path / "log.sqlite3") as opened:
        yield opened


def add(log: RearingLog, brood: str, classes: list[int], month: int = 7, **fields: Any) -> None:
    """Add a brood and its adults with their load classes."""
    log.add_brood(brood, **fields)
    for number, load in enumerate(classes):
        identity = f"{brood}-{number}"
        log.add_adult(identity, brood=brood, emerged_on=f"2026-{month:02d}-{10 + number:02d}")
        log.record_sample({"sample": identity, "load_class": load})


def row_of(telling: Telling, by: str, value: str = "all", measure: str = "heavy") -> pd.Series:
    table = telling.prevalence
    found = table[(table["measure"] == measure) & (table["by"] == by) & (table["value"] == value)]
    assert len(found) == 1
    return found.iloc[0]


def of_ones(infected: int, adults: int) -> Group:
    return group([1] * infected + [0] * (adults - infected), [1] * adults)


@pytest.mark.parametrize(
    ("one", "other", "alternative", "p"),
    [
        ((3, 4), (1, 4), "greater", 17 / 70),
        ((4, 4), (0, 4), "greater", 1 / 70),
        ((3, 4), (1, 4), "two-sided", 34 / 70),
        ((1, 6), (8, 10), "two-sided", 0.034965),
    ],
)
def test_broods_of_one_adult_give_fisher_s_exact_test(
    one: tuple[int, int], other: tuple[int, int], alternative: str, p: float
) -> None:
    """Fisher's tea: .2429 = 17/70, 1/70, two-sided .4857 (Agresti 1990 p. 61 via R).

    Whales [[8, 2], [1, 5]]: data in scipy's docs, .034965 recomputed.
    """
    found = permute_clusters([of_ones(*one), of_ones(*other)], alternative)
    assert found.is_exact
    assert found.p == pytest.approx(p, abs=5e-7)


def test_the_permutation_test_takes_broods_and_not_adults_for_the_unit() -> None:
    """Weil's rats (see test_rearing_clusters): naive p .003, cluster-aware .04-.10."""
    control = [(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (12, 13), (11, 12)]
    control += [(9, 10), (9, 10), (8, 9), (11, 13), (4, 5), (5, 7), (7, 10), (7, 10)]
    treated = [(12, 12), (11, 11), (10, 10), (9, 9), (10, 11), (9, 10), (9, 10), (8, 9)]
    treated += [(8, 9), (4, 5), (7, 9), (4, 7), (5, 10), (3, 6), (3, 10), (0, 7)]
    groups = [group(*zip(*control)), group(*zip(*treated))]
    found = permute_clusters(groups)
    assert not found.is_exact
    assert 0.03 < found.p < 0.11
    assert found == permute_clusters(groups)  # the draw is the same each time
    assert found.p == pytest.approx(permute_clusters(groups[::-1]).p, abs=0.01)


def test_a_few_broods_can_show_nothing() -> None:
    found = permute_clusters([group([9, 9], [9, 9]), group([0, 0], [9, 9])])
    assert (found.ways, found.least_p) == (6, pytest.approx(1 / 3))
    assert found.p == found.least_p


def test_three_groups_of_broods() -> None:
    alike = permute_clusters([group([2, 3, 2, 3], [5] * 4)] * 3)
    apart = permute_clusters([group([n] * 4, [5] * 4) for n in (0, 2, 5)])
    assert alike.p > 0.9
    assert apart.p < 0.001


def test_the_trend_agrees_with_statsmodels() -> None:
    """GEE with independence and bias-reduced covariance, statsmodels; t in place of normal."""
    import statsmodels.api as sm

    rng = np.random.default_rng(1)
    brood = np.repeat(np.arange(12), 7)
    month = (np.repeat(rng.integers(0, 5, 12), 7) + rng.integers(0, 2, 84)).astype(float)
    infected = rng.random(84) < 1 / (1 + np.exp(1 - 0.5 * month))
    own = month_trend(infected, month, brood)
    known = sm.GEE(
        infected.astype(float), sm.add_constant(month), brood, family=sm.families.Binomial()
    ).fit(cov_type="bias_reduced")
    assert own.odds_ratio == pytest.approx(np.exp(known.params[1]))
    half = np.log(own.high / own.odds_ratio)
    assert half / 2.2281388519649385 == pytest.approx(known.bse[1], rel=1e-5)  # t, 10 df
    assert (own.broods, own.months, own.why_not) == (12, 6, "")


@pytest.mark.parametrize(
    ("infected", "month", "brood", "said"),
    [
        ([1, 0] * 6, [7] * 12, range(12), "one month"),
        ([1, 0] * 6, [7, 8] * 6, [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3], "fewer than 5 broods"),
        ([0] * 12, [7, 8] * 6, range(12), "no adult is infected"),
        ([1] * 12, [7, 8] * 6, range(12), "all adults are infected"),
        ([0, 1] * 6, [7, 8] * 6, range(12), "part infected from clean"),
    ],
)
def test_where_no_trend_can_be_told_it_says_why(
    infected: list[int], month: list[int], brood: Any, said: str
) -> None:
    trend = month_trend(np.array(infected, bool), np.array(month, float), np.array(brood))
    assert np.isnan(trend.odds_ratio)
    assert said in trend.why_not


def test_prevalence_by_brood_plant_washing_and_month(log: RearingLog) -> None:
    add(log, "B1", [5, 4, 0, 1], plant="syriaca", plant_washed=False)
    add(log, "B2", [0, 0, 0, 0], 8, plant="syriaca", plant_washed=True)
    add(log, "B3", [0, 3, 0, 0], 8, plant="incarnata")
    telling = tell(log.rows())
    for by, value, counts in (
        ("all", "all", (3, 12, 2)),
        ("brood", "B1", (1, 4, 2)),
        ("plant", "syriaca", (2, 8, 2)),
        ("washed", "no", (1, 4, 2)),
        ("washed", "not known", (1, 4, 0)),
        ("month", "2026-08", (2, 8, 0)),
    ):
        row = row_of(telling, by, value)
        assert (row["broods"], row["adults"], row["infected"]) == counts
        assert row["low"] <= row["share"] <= row["high"]
    assert row_of(telling, "all", measure="any")["infected"] == 4
    row = row_of(telling, "brood", "B1")
    assert (row["low"], row["high"]) == pytest.approx(wilson(2, 4))
    # All plants together: limits are wider than if adults were the unit.
    row = row_of(telling, "all")
    assert row["high"] - row["low"] > np.ptp(wilson(2, 12))


def test_small_numbers_are_called_small(log: RearingLog) -> None:
    add(log, "B1", [5, 4], plant_washed=False)
    add(log, "B2", [0, 0], plant_washed=True)
    telling = tell(log.rows())
    assert "4 adults are a small number: take all of this with caution." in telling.notes
    assert row_of(telling, "brood", "B1")["note"] == "small number: 2 adults"
    assert "one brood: says little of others" in row_of(telling, "washed", "no")["note"]
    (note,) = telling.comparisons.query("measure == 'heavy' and by == 'washed'")["note"]
    assert "small number: 1 brood" in note
    assert "cannot show a difference" in note


def test_comparisons_are_of_broods(log: RearingLog) -> None:
    for number in range(6):
        add(log, f"U{number}", [5, 5, 5, 0 if number else 5], plant_washed=False)
        add(log, f"W{number}", [0, 0, 0, 5 if number == 1 else 0], plant_washed=True)
    telling = tell(log.rows())
    (row,) = telling.comparisons.query("measure == 'heavy' and by == 'washed'").to_dict("records")
    assert (row["values"], row["broods"], row["adults"]) == ("no / yes", "6 / 6", "24 / 24")
    assert row["difference"] == pytest.approx(19 / 24 - 1 / 24)
    assert 0.3 < row["low"] < row["difference"] < row["high"] < 1
    assert row["p"] == pytest.approx(2 / 924)  # 12 broods over 6 and 6, both ends
    expected = rao_scott([group([0, 0, 0, 0, 0, 1], [4] * 6), group([4, 3, 3, 3, 3, 3], [4] * 6)])
    assert row["rao_scott_p"] == pytest.approx(expected.p)
    assert "small" not in row["note"]


def test_the_newest_result_of_a_sample_and_the_heaviest_sample_of_an_adult_count(
    log: RearingLog,
) -> None:
    log.add_adult("A1")
    log.record_sample({"sample": "A1", "load_class": 5})
    log.record_sample({"sample": "A1", "load_class": 2})  # scored again, with better settings
    log.record_sample({"sample": "A1", "status": "refused"})  # says nothing
    assert list(tell(log.rows()).facts["load_class"]) == [2]
    log.record_sample({"sample": "A1 second tape", "load_class": 3, "adult": "A1"})
    log.record_sample({"sample": "A1 third tape", "load_class": 0, "adult": "A1"})
    telling = tell(log.rows(), heavy_from=3)
    assert list(telling.facts["load_class"]) == [3]
    assert list(telling.facts["heavy"]) == [True]
    assert not tell(log.rows()).facts["heavy"].any()


def test_what_is_left_out_is_said(log: RearingLog) -> None:
    log.add_adult("A1")
    log.record_sample({"sample": "somebody", "load_class": 5})
    telling = tell(log.rows())
    assert telling.facts.empty
    assert telling.notes[0] == "1 of 1 adults have no load class: left out."
    assert "1 of 1 samples name no adult" in telling.notes[1]
    assert "nothing to tell yet" in telling.notes[2]


def test_an_empty_log_tells_nothing_and_says_so(log: RearingLog) -> None:
    telling = tell(log.rows())
    assert (len(telling.prevalence), telling.hints, telling.trends) == (0, [], {})
    assert "nothing to tell yet" in telling.notes[-1]
    with pytest.raises(LogError, match="class 0 is no infection"):
        tell(log.rows(), heavy_from=0)


def test_no_infection_is_no_proof_of_clean_stock(log: RearingLog) -> None:
    for number in range(3):
        add(log, f"B{number}", [0] * 10)
    telling = tell(log.rows())
    assert telling.hints == []
    assert any("no proof of clean stock" in note for note in telling.notes)
    row = row_of(telling, "all", measure="any")
    assert row["low"] == 0
    assert row["high"] > exact(0, 30)[1]  # thirty adults, but three broods
    assert telling.trends["any"].why_not


def test_a_few_spores_may_come_by_contact(log: RearingLog) -> None:
    add(log, "B1", [1, 2, 0])
    assert any("may come by contact" in note for note in tell(log.rows()).notes)


def hints_of(log: RearingLog) -> dict[str, str]:
    return {hint.what: hint.words for hint in tell(log.rows()).hints}


def test_unwashed_food_plant_comes_first_where_it_parts_the_broods(log: RearingLog) -> None:
    for number in range(6):
        add(log, f"U{number}", [5, 5, 4, 0], plant_washed=False, bathed=number > 3)
        add(log, f"W{number}", [0, 0, 0, 0], plant_washed=True, bathed=number > 2)
    hints = tell(log.rows()).hints
    assert [hint.what for hint in hints] == ["unwashed", "bath"]
    assert hints[0].excess == pytest.approx(18)
    assert hints[0].p < 0.01 < hints[1].p
    assert "18 of 24 adults infected, elsewhere 0 of 24" in hints[0].words


def test_found_caterpillars_that_were_not_kept_apart(log: RearingLog) -> None:
    add(log, "found", [5, 5], source="caterpillar", kept_apart=False, place="Porch")
    add(log, "beside", [4, 0], place="porch")
    add(log, "away", [0, 0, 0], place="cellar")
    words = hints_of(log)["mixed"]
    assert "3 of 4 adults infected, elsewhere 0 of 3" in words
    assert "a small number of broods" in words


def test_infected_adults_near_count_only_at_the_same_time(log: RearingLog) -> None:
    add(log, "away", [0] * 8, 9, place="cellar")
    add(log, "spring", [5, 5], 4, place="porch", collected_on="2026-03-20")
    add(log, "late", [5, 0], 9, place="porch", collected_on="2026-08-20")
    assert "near" not in hints_of(log)
    add(log, "too", [4, 0], 9, place="porch", collected_on="2026-08-25")
    assert "2 of 4 adults infected" in hints_of(log)["near"]
    assert "elsewhere 2 of 10" in hints_of(log)["near"]


def test_a_bath_below_the_usual_is_looked_at(log: RearingLog) -> None:
    add(log, "weak", [5, 5])
    log.add_bath("weak", percent_by_volume=1, real_s=60)
    add(log, "usual", [0, 0])
    log.add_bath("usual", percent_by_volume=5, real_s=61)
    assert "2 of 2 adults infected, elsewhere 0 of 2" in hints_of(log)["bath"]


def test_a_brood_that_stands_out_is_named(log: RearingLog) -> None:
    add(log, "odd", [5] * 6)
    for number in range(5):
        add(log, f"B{number}", [0] * 6)
    words = hints_of(log)["brood"]
    assert "brood odd stands out: 6 of 6 adults infected, in all others 0 of 30" in words


def test_a_condition_without_others_is_named_as_such(log: RearingLog) -> None:
    add(log, "B1", [5, 0], plant_washed=False)
    assert "no others to compare with" in hints_of(log)["unwashed"]


def test_broods_of_one_name_are_told_apart(log: RearingLog, tmp_path: Path) -> None:
    add(log, "B1", [5])
    with RearingLog.open(tmp_path / "other.sqlite3") as other:
        other.add_brood("B1")
        other.add_adult("X", brood="B1", emerged_on="2026-07-01")
        other.record_sample({"sample": "X", "load_class": 0})
        other.export_csv(tmp_path / "csv")
    log.import_csv(tmp_path / "csv")
    named = tell(log.rows()).prevalence.query("measure == 'heavy' and by == 'brood'")["value"]
    assert len(set(named)) == 2
    assert all(name.startswith("B1 (") for name in named)


def test_no_class_is_made_up_for_adults_without_a_month(log: RearingLog) -> None:
    log.add_adult("A1")
    log.record_sample({"sample": "A1", "load_class": 0}, taken_on="2026-05-02")
    assert list(tell(log.rows()).facts["month"]) == ["2026-05"]
