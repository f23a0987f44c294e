"""How many more fields, when to stop, and Wald's lines as a yardstick."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sporecount.counts.rates import DetectorRates
from sporecount.load.estimate import CHECKED_BY_HAND, estimate_tape
from sporecount.load.fields import LoadError, seen_from
from sporecount.load.more_fields import more_fields, with_more
from sporecount.load.sequential import fields_to_settle, settled
from sporecount.load.wald import negative_binomial_lines, poisson_lines
from sporecount.settings import DecisionSettings, LoadSettings, Settings


def table(spores: list[int], field_mm2: float = 2.5) -> pd.DataFrame:
    names = [f"{n}.jpg" for n in range(len(spores))]
    return pd.DataFrame({"photo": names, "examined_mm2": field_mm2, "spores": spores})


def test_more_clean_fields_bring_the_chance_just_under_the_risk() -> None:
    answer = more_fields(table([0] * 4), rates=CHECKED_BY_HAND, risk=0.05)
    assert answer.fields
    enough = estimate_tape(table([0] * (4 + answer.fields)), rates=CHECKED_BY_HAND)
    too_few = estimate_tape(table([0] * (3 + answer.fields)), rates=CHECKED_BY_HAND)
    assert enough.chance_from(1) <= 0.05 < too_few.chance_from(1)
    assert answer.chance_then == pytest.approx(enough.chance_from(1))
    assert answer.why.startswith(f"{answer.fields} more clean fields")


def test_a_smaller_risk_or_a_stricter_boundary_wants_more_fields() -> None:
    def needed(risk: float, first: int) -> int:
        answer = more_fields(table([0] * 2), rates=CHECKED_BY_HAND, risk=risk, from_class=first)
        assert answer.fields is not None
        return answer.fields

    by_risk = [needed(risk, 1) for risk in (0.15, 0.05, 0.02)]
    by_class = [needed(0.02, first) for first in (3, 2, 1)]
    assert by_risk == sorted(set(by_risk))
    assert by_class == sorted(set(by_class))


def test_spores_seen_by_hand_can_never_be_class_0() -> None:
    answer = more_fields(table([1, 0, 0]), rates=CHECKED_BY_HAND)
    assert answer.fields is None
    assert answer.why.endswith("spores were seen")


def test_a_detector_that_misses_may_never_reach_a_small_risk() -> None:
    answer = more_fields(table([0] * 4), rates=DetectorRates(0.8, 0.1, 0.0), risk=0.001)
    assert answer.fields is None
    assert "even the whole tape (36 more clean fields)" in answer.why
    assert answer.why.endswith("the detector may miss spores that lie there")


def test_false_alarms_that_no_clean_field_can_clear_up_are_named() -> None:
    answer = more_fields(table([3, 0, 0]), rates=DetectorRates(0.9, 0.05, 0.02, 0.04))
    assert answer.fields is None
    assert "whether they are false no clean field can tell" in answer.why


def test_confidences_are_carried_on_to_the_fields_to_come() -> None:
    rates = DetectorRates(1.0, 0.0, 5.0, 9.0, confidence_is_calibrated=True)
    unlikely = [[0.001], [], []]
    answer = more_fields(table([1, 0, 0]), rates=rates, confidences=unlikely)
    assert answer.fields
    seen = seen_from(table([1, 0, 0]), 100.0, [[0.9], [], []])
    later = with_more(seen, 6, clean=False)
    assert [values.tolist() for values in later.confidences or ()][3:] == [
        [],
        [],
        [0.9],
        [],
        [],
        [0.9],
    ]
    now = settled(table([1, 0, 0]), rates=rates, confidences=unlikely)
    assert now.estimate.p_class[0] > 0.7


@pytest.mark.parametrize(
    ("given", "message"),
    [({"risk": 0.0}, "a risk lies between 0 and 1"), ({"from_class": 6}, "a class from 1 to 5")],
)
def test_impossible_wishes_are_refused(given: dict, message: str) -> None:
    with pytest.raises(LoadError, match=message):
        more_fields(table([0]), **given)


def test_settled_by_either_mistake_s_own_risk() -> None:
    fields = table([0] * 9)
    chance = estimate_tape(fields, rates=CHECKED_BY_HAND).chance_from(1)
    for risk, expected in ((chance * 1.01, True), (chance * 0.99, False)):
        rule = Settings(decision=DecisionSettings(risk_release=risk))
        now = settled(fields, rates=CHECKED_BY_HAND, settings=rule)
        assert (now.is_settled, now.classes) == (expected, (0,))
        assert now.p_heavier == pytest.approx(chance)


def test_too_few_fields_settle_nothing_unless_they_are_the_tape() -> None:
    rule = Settings(decision=DecisionSettings(risk_release=0.4))
    few = settled(table([0] * 2), rates=CHECKED_BY_HAND, settings=rule)
    assert not few.is_settled
    assert few.why == "sure, but fewer than 3 fields were looked at"
    assert settled(table([0], 100.0), rates=CHECKED_BY_HAND).is_settled


def test_every_class_apart_needs_more_than_the_decision() -> None:
    fields = table([9, 12, 20, 8, 15, 11])
    assert settled(fields, rates=CHECKED_BY_HAND).is_settled
    apart = settled(fields, rates=CHECKED_BY_HAND, first_classes=range(1, 6))
    assert len(apart.classes) == 1
    assert apart.p_right < settled(fields, rates=CHECKED_BY_HAND).p_right


def test_both_doubts_are_named() -> None:
    now = settled(table([4, 0, 5, 0]), rates=DetectorRates(0.9, 0.05, 0.1, 0.3))
    assert not now.is_settled
    assert "heavier (" in now.why
    assert "lighter (" in now.why
    assert now.why.endswith("than class 1-3")


def test_ranges_must_rise() -> None:
    with pytest.raises(LoadError, match="they rise from 1 to at most 5"):
        settled(table([0]), first_classes=(4, 2))


def test_fields_to_settle_is_none_needed_some_or_never() -> None:
    rule = Settings()
    heavy = seen_from(table([90, 40, 60, 75]), 100.0)
    assert fields_to_settle(heavy, CHECKED_BY_HAND, rule) == 0
    clean = seen_from(table([0] * 4), 100.0)
    expected = more_fields(table([0] * 4), rates=CHECKED_BY_HAND).fields
    assert fields_to_settle(clean, CHECKED_BY_HAND, rule) == expected
    strict = Settings(decision=DecisionSettings(risk_release=0.001))
    assert fields_to_settle(clean, DetectorRates(0.8, 0.1, 0.0), strict) is None


def test_the_stopped_verdict_is_wrong_at_most_as_often_as_stated() -> None:
    # Tapes drawn from the prior, looked at after every field: of those settled, the share
    # that is wrong stays within the risk, though looked at many times. With some 100 settled,
    # three standard errors above 5 % are 11.5 %.
    rng = np.random.default_rng(4)
    rule = Settings(load=LoadSettings(clumping_k=1.0, clumping_spread=0.0, patch_mm2=10.0))
    wrong = stopped = 0
    for _ in range(120):
        spores = int(np.exp(rng.uniform(0, np.log(5000)))) if rng.random() < 0.5 else 0
        density = rng.gamma(1.0, size=10)
        true = rng.multinomial(spores, density / density.sum())
        own = int(np.searchsorted([0, 1, 2, 21, 101, 1001], spores, side="right")) - 1
        for fields in range(3, 11):
            now = settled(table(true[:fields].tolist(), 10.0), rates=CHECKED_BY_HAND, settings=rule)
            if now.is_settled:
                stopped += 1
                wrong += own not in now.classes
                break
    assert stopped > 80
    assert wrong <= 0.115 * stopped


@pytest.mark.parametrize(
    ("m0", "m1", "risk", "slope", "high"),
    [
        (1, 2, 0.05, 1.44270, 4.24793),
        (1, 2, 0.10, 1.44270, 3.16993),
        (2, 4, 0.10, 2.88539, 3.16993),
        (20, 100, 0.05, 49.70679, 1.82948),
    ],
)
def test_wald_s_poisson_lines(m0: float, m1: float, risk: float, slope: float, high: float) -> None:
    # Wald 1947, Sequential Analysis: formula from memory, values computed from it apart.
    lines = poisson_lines(m0, m1, risk, risk)
    assert lines == pytest.approx((slope, -high, high), abs=1e-5)


def test_wald_s_negative_binomial_lines_are_likelihood_ratios() -> None:
    # On a line, the likelihood ratio of m1 to m0 is Wald's bound, (1 - beta) / alpha above.
    from scipy.stats import nbinom

    m0, m1, k, fields = 2.0, 8.0, 0.6, 5
    lines = negative_binomial_lines(m0, m1, k, 0.1, 0.05)

    def log_ratio(total: float) -> float:
        whole = [0, int(total), 7, 3, 9]
        whole[0] = 0
        laws = [nbinom(k, k / (k + mean)) for mean in (m1, m0)]
        one, other = (law.logpmf(np.array(whole)).sum() for law in laws)
        per_spore = np.log(m1 / m0) - np.log((k + m1) / (k + m0))
        return float(one - other + per_spore * (total - sum(whole)))

    assert log_ratio(lines.slope * fields + lines.high) == pytest.approx(np.log(0.95 / 0.1))
    assert log_ratio(lines.slope * fields + lines.low) == pytest.approx(np.log(0.05 / 0.9))


@pytest.mark.parametrize("means", [(0, 1), (2, 2), (3, 1)])
def test_wald_s_lines_want_two_rising_means(means: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="the first is above 0 and below the second"):
        poisson_lines(*means, 0.05, 0.05)


@pytest.mark.parametrize(("counts", "is_settled"), [([37, 105], True), ([30, 40], False)])
def test_two_fields_settle_a_heavy_load_only_if_they_show_it_themselves(counts, is_settled):
    # More than 100 spores seen are classes 4-5 whatever the rest of the tape is like.
    fields = pd.DataFrame({"photo": ["a", "b"], "examined_mm2": [0.3, 0.3], "spores": counts})
    now = settled(fields, rates=CHECKED_BY_HAND)
    assert now.classes == (4, 5)
    assert now.is_settled == is_settled
