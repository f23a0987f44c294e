"""The whole tape's load: limits, classes, bounds, and what outside sources say they should be."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from sporecount.counts.detector_error import spores_range
from sporecount.counts.poisson import poisson_limits
from sporecount.counts.rates import ConfidenceLaw, DetectorRates
from sporecount.errors import SettingsError
from sporecount.load.estimate import CHECKED_BY_HAND, estimate_tape
from sporecount.load.fields import LoadError, seen_from
from sporecount.load.posterior import posterior
from sporecount.load.share import places, shares
from sporecount.load.true_counts import log_looks, log_spread, true_counts
from sporecount.settings import CountSettings, LoadSettings, Settings

#: What confidences are worth, for tests of how finds are weighed.
LAW = ConfidenceLaw(
    even_confidence=0.85, power=1.5, common_error=1.0, dense_false=1.2, dense_shape=2.0
)

#: Spores strewn evenly: the negative binomial law becomes Poisson.
EVEN = LoadSettings(clumping_k=1e9, clumping_spread=0.0)


def table(spores: list[int], field_mm2: float = 2.5, **more: list) -> pd.DataFrame:
    names = [f"{n}.jpg" for n in range(len(spores))]
    return pd.DataFrame({"photo": names, "examined_mm2": field_mm2, "spores": spores, **more})


def test_partial_coverage_worked_case() -> None:
    # 12 spores in 4 fields of 2.5447 mm2 (10x, field number 18) of 100 mm2: fraction 0.101788,
    # estimate 117.9, exact Poisson 60.9-205.9 (computed from the formula). Those limits take
    # the 12 as Poisson; here what was seen is known, which takes the seen tenth's noise away.
    tape = estimate_tape(
        table([4, 2, 5, 1], 2.5447), rates=CHECKED_BY_HAND, settings=Settings(load=EVEN)
    )
    assert tape.tape_spores == pytest.approx(117.9, abs=0.05)
    low, high = (limit / 0.101788 for limit in poisson_limits(12))
    assert (round(low, 1), round(high, 1)) == (60.9, 205.9)
    assert low < tape.tape_low < low + 5
    assert high - 7 < tape.tape_high < high


@pytest.mark.parametrize("count", [0, 1, 2, 7])
def test_limits_are_garwood_s_where_little_of_the_tape_is_seen(count: int) -> None:
    # Garwood 1936: the exact limits of a Poisson mean, scaled up by the area.
    share = 0.02
    tape = estimate_tape(
        table([count], 100.0 * share), rates=CHECKED_BY_HAND, settings=Settings(load=EVEN)
    )
    low, high = (limit / share for limit in poisson_limits(count))
    assert tape.tape_low == pytest.approx(low, rel=0.03, abs=1.0)
    assert tape.tape_high == pytest.approx(high, rel=0.02)


@pytest.mark.parametrize("count", [50, 100, 400])
def test_limits_of_the_heaviest_class_are_garwood_s_too(count: int) -> None:
    # Garwood 1936. Beyond 1000 spores each power of ten is as likely as the next, by which
    # one spore in the count is less: next to nothing for a heavy load.
    share = 1e-3
    tape = estimate_tape(
        table([count], 100.0 * share), rates=CHECKED_BY_HAND, settings=Settings(load=EVEN)
    )
    low, high = (limit / share for limit in poisson_limits(count))
    assert tape.tape_low == pytest.approx(low, rel=0.01)
    assert high - 1.3 / share < tape.tape_high < high


@pytest.mark.parametrize(
    ("count", "garwood"),
    # Exact Poisson limits, Garwood 1936 (computed from the formula; 0: read in a package's help).
    [(0, (0.0, 3.6889)), (5, (1.6235, 11.6683)), (20, (12.2165, 30.8884))],
)
def test_a_counting_chamber_is_a_tape_of_nine_squares(
    count: int, garwood: tuple[float, float]
) -> None:
    # Improved Neubauer chamber (chamber pages): 9 squares of 1 mm2, 0.1 mm deep, 0.1 uL each.
    # The count in one square, times nine, is that of the grid, and times 10,000 that of 1 mL.
    ninth = estimate_tape(
        table([count], 1.0), 9.0, rates=CHECKED_BY_HAND, settings=Settings(load=EVEN)
    )
    assert ninth.tape_spores == pytest.approx(9 * count)
    per_ml = ninth.tape_spores / (9 * 1.0 * 0.1 * 1e-3)
    assert per_ml == pytest.approx(10_000 * count)
    # What was seen is known, which leaves less doubt than the Poisson limits have.
    assert 9 * garwood[0] <= ninth.tape_low <= 9 * count <= ninth.tape_high <= 9 * garwood[1]


@pytest.mark.parametrize(
    ("square_mm2", "nl", "squares"),
    [(0.0625, 6.25, 144), (0.05, 5.0, 180), (0.04, 4.0, 225), (0.0025, 0.25, 3600)],
)
def test_each_kind_of_chamber_square_scales_by_its_area(
    square_mm2: float, nl: float, squares: int
) -> None:
    # Improved Neubauer chamber (chamber pages): squares of 0.25, 0.25 x 0.20, 0.20 and 0.05 mm
    # hold 6.25, 5, 4 and 0.25 nL at a depth of 0.1 mm.
    assert square_mm2 * 0.1 * 1000.0 == pytest.approx(nl)
    fields = table([3, 5, 4, 4], square_mm2)
    tape = estimate_tape(fields, 9.0, rates=CHECKED_BY_HAND, settings=Settings(load=EVEN))
    assert tape.tape_spores == pytest.approx(4.0 * squares)


def test_the_negative_binomial_s_variance_is_that_of_the_share_seen() -> None:
    # Shaw & Dobson 1995: var = m + m^2 / k, and beyond k = 20 about Poisson. Of T spores on n
    # like places, one of them seen, the share's relative variance is (n - 1) / (n k + 1).
    seen = seen_from(table([0], 10.0), 100.0)
    for k in (0.5, 1.0, 5.0, 20.0):
        found = shares(seen, CHECKED_BY_HAND, np.array([k]), 10.0)
        mean = float(found.chances[0] @ found.q)
        spread = float(found.chances[0] @ found.q**2) / mean**2 - 1.0
        assert mean == pytest.approx(0.1, rel=0.02)
        assert spread == pytest.approx(9.0 / (10.0 * k + 1.0), rel=0.12)


def test_an_empty_field_does_not_let_the_most_that_is_possible_make_the_limit() -> None:
    highs = [
        estimate_tape(
            table([0], 0.7),
            rates=CHECKED_BY_HAND,
            settings=Settings(load=LoadSettings(most_spores=most)),
        ).tape_high
        for most in (100_000, 1_000_000)
    ]
    assert highs[0] < 30_000
    assert highs[1] < 4 * highs[0]


def test_what_is_seen_goes_before_what_was_thought_possible() -> None:
    tape = estimate_tape(table([300_000] * 4), rates=CHECKED_BY_HAND)
    assert tape.tape_spores == pytest.approx(12_000_000)
    assert tape.tape_low < 12_000_000 < tape.tape_high


def test_many_fields_overrule_the_prior_on_clumping() -> None:
    # The width with k hardly known, over that with k known to be large, falls towards 1.
    even = Settings(load=LoadSettings(clumping_k=50.0, clumping_spread=0.0))
    ratios = []
    for number in (1, 4, 30):
        fields = table([6] * number)
        usual = estimate_tape(fields, rates=CHECKED_BY_HAND)
        known = estimate_tape(fields, rates=CHECKED_BY_HAND, settings=even)
        ratios.append(
            np.log(usual.tape_high / usual.tape_low) / np.log(known.tape_high / known.tape_low)
        )
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[0] > 3.0
    assert ratios[2] < 1.7


def test_rule_of_three() -> None:
    # Hanley & Lippman-Hand 1983: nothing in a share q of the tape leaves up to 3 / q at 95 %
    # (one-sided, so the two-sided level is 90 %); exact for a small share.
    settings = Settings(count=CountSettings(level=0.90), load=EVEN)
    tape = estimate_tape(table([0], 1.0), rates=CHECKED_BY_HAND, settings=settings)
    assert tape.tape_high == pytest.approx(-np.log(0.05) / 0.01, rel=0.01)
    assert tape.tape_high == pytest.approx(300, rel=0.01)


def test_no_spores_seen_is_a_bound_and_not_a_zero() -> None:
    tape = estimate_tape(table([0] * 4), rates=CHECKED_BY_HAND)
    assert tape.tape_spores == 0.0
    assert tape.tape_low == 0 < tape.tape_high
    assert 0.05 < tape.chance_from(1) < 0.5
    assert any("no zero" in note and str(tape.tape_high) in note for note in tape.notes)


def test_the_chance_of_a_missed_single_spore_by_hand() -> None:
    # By hand: with the prior (1 - w) at 0 and w / (Z T) beyond, and a share q seen clean,
    # the chance of any spore is w L / Z / (1 - w + w L / Z) with L = -ln q.
    settings = Settings(load=LoadSettings(prevalence=0.3, clumping_k=1e9, clumping_spread=0.0))
    tape = estimate_tape(table([0] * 10), rates=CHECKED_BY_HAND, settings=settings)
    part = 0.3 * -np.log(0.25) / (1.0 / np.arange(1, 100_001)).sum()
    assert tape.chance_from(1) == pytest.approx(part / (0.7 + part), rel=2e-3)


def test_a_tape_seen_whole_and_checked_by_hand_is_known() -> None:
    tape = estimate_tape(table([3, 0, 4, 1], 25.0), rates=CHECKED_BY_HAND)
    assert (tape.tape_low, tape.tape_spores, tape.tape_high) == (8, 8.0, 8)
    assert tape.p_class == (0.0, 0.0, 1.0, 0.0, 0.0, 0.0)
    assert tape.tape_high - tape.tape_low == 0


@pytest.mark.parametrize("count", [1, 10, 100, 1000])
def test_a_tape_seen_whole_has_the_detector_s_own_range(count: int) -> None:
    rates = DetectorRates(recall_mean=0.9, recall_sd=0.05, false_per_mm2=0.0)
    tape = estimate_tape(table([count], 100.0), rates=rates)
    own = spores_range(count, 100.0, rates)
    # That range never starts above the count, so it may start a little lower.
    assert own.low <= tape.tape_low <= own.low * 1.03 + 1
    assert tape.tape_high == pytest.approx(own.high, rel=0.02, abs=1)


@pytest.mark.parametrize("chances", [[], [0.7], [0.2, 0.9, 0.6, 0.97, 0.5]])
def test_how_much_finds_look_real_is_averaged_over_every_choice(chances: list[float]) -> None:
    # Each choice of real ones is gone through; at 0.85 it may be either.
    odds = (np.array(chances) / (1 - np.array(chances)) / (0.85 / 0.15)) ** 1.5
    expected = [
        np.mean([np.prod(odds[list(chosen)]) for chosen in combinations(range(len(odds)), real)])
        for real in range(len(odds) + 1)
    ]
    assert np.exp(log_looks(np.array(chances), LAW)) == pytest.approx(expected)


def test_ten_thousand_finds_are_added_up_as_well_as_a_few() -> None:
    chances = np.random.default_rng(3).uniform(0.5, 0.99, 151)
    many = log_looks(chances, LAW)  # by the saddle point
    few = log_looks(chances[:150], LAW)  # one by one
    # One more find hardly changes the mean odds of choosing.
    assert many[:151] == pytest.approx(few, abs=0.02 * np.abs(few).max() + 1.0)
    assert np.isfinite(log_looks(np.full(10_000, 0.9), LAW)).all()


def test_doubtful_finds_on_a_whole_clean_tape_do_not_add_up_to_spores() -> None:
    # Ten finds of 0.7 are no ten chances of 0.7 where the detector makes up some on any tape.
    rates = DetectorRates(0.92, 0.1, 0.5, 1.0, confidence_is_calibrated=True, confidence_law=LAW)
    fields = table([1, 0] * 10, 5.0)
    doubtful = estimate_tape(fields, rates=rates, confidences=[[0.7], []] * 10)
    sure = estimate_tape(fields, rates=rates, confidences=[[0.99], []] * 10)
    assert doubtful.tape_low == 0
    assert doubtful.p_class[0] > 0.5
    assert sure.tape_low > 0


def test_many_finds_are_taken_at_their_confidences_word_but_for_a_common_error() -> None:
    # The law is drawn from: a gamma factor for the tape, then Poisson.
    rates = DetectorRates(0.92, 0.1, 0.5, 1.0, confidence_is_calibrated=True, confidence_law=LAW)
    confidences = np.tile([0.98, 0.9], 500)
    seen = seen_from(table([1000], 20.0), 100.0, [confidences])
    known = true_counts(seen, rates)
    chances = np.exp(known.log_weights - known.log_weights.max())
    chances /= chances.sum()
    false = 1000 - known.real
    rng = np.random.default_rng(1)
    factor = 1.2 * rng.gamma(2.0, 0.5, 200_000)
    drawn = rng.poisson(factor * (1 - confidences).sum())
    for share in (0.025, 0.5, 0.975):
        at = int(false[::-1][np.searchsorted(np.cumsum(chances[::-1]), share)])
        # The prior prefers few real ones, by at most the share of false ones.
        assert at == pytest.approx(np.quantile(drawn, share), rel=0.12, abs=2)


def test_crowded_finds_of_middling_confidence_are_no_clean_tape() -> None:
    # All of one tape may look less sure than usual: thousands of them are no litter for that.
    rates = DetectorRates(0.92, 0.1, 2.0, 4.0, confidence_is_calibrated=True, confidence_law=LAW)
    rng = np.random.default_rng(2)
    confidences = [rng.beta(8, 1, 100) for _ in range(40)]
    tape = estimate_tape(table([100] * 40), rates=rates, confidences=confidences)
    assert tape.tape_low > 2000
    assert tape.load_class == 5


def test_a_tape_crowded_with_doubtful_finds_is_left_open() -> None:
    # 20 per mm2 that all look like litter: they may be that, so no animal is called infected.
    law = ConfidenceLaw(0.92, 1.4, 1.2, dense_false=1.0, dense_shape=1.0)
    rates = DetectorRates(0.93, 0.1, 1.4, 2.9, confidence_is_calibrated=True, confidence_law=law)
    confidences = [np.linspace(0.5, 0.95, 50)] * 12
    tape = estimate_tape(table([50] * 12), rates=rates, confidences=confidences)
    assert sum(tape.p_class[:4]) > 0.1
    assert any("may be false" in note for note in tape.notes)


def test_class_chances_sum_to_one_and_follow_the_counts() -> None:
    heaviest = []
    for count in (0, 1, 5, 40, 400, 4000):
        tape = estimate_tape(table([count] * 4, 25.0), rates=CHECKED_BY_HAND)
        assert sum(tape.p_class) == pytest.approx(1.0)
        heaviest.append(tape.load_class)
    assert heaviest == [0, 2, 2, 4, 5, 5]


def test_the_chance_law_agrees_with_adding_up_by_force() -> None:
    # Each T and each share is summed up directly from the binomial law.
    from scipy.stats import beta, binom

    settings = LoadSettings(most_spores=10_000, clumping_k=2.0, clumping_spread=0.0)
    seen = seen_from(table([3, 0, 1, 2]), 100.0)
    known = posterior(seen, CHECKED_BY_HAND, settings)
    here = places(seen, settings.patch_mm2)
    size = 2.0 / (0.1 * 0.9 * (1.0 / here.seen + 1.0 / here.unseen))
    steps = (np.arange(300) + 0.5) / 300
    shares_found = beta.ppf(steps, 0.1 * size, 0.9 * size)
    totals = np.arange(1, 10_001)
    chance = binom.pmf(6, totals[:, None], shares_found).mean(axis=1) / totals
    chance /= chance.sum()
    for bound in (20, 100, 1000):
        assert known.chance_up_to(bound) == pytest.approx(chance[:bound].sum(), abs=2e-3)


def test_false_detections_widen_downwards_and_misses_upwards() -> None:
    fields = table([2, 1, 0, 2])
    sure = estimate_tape(fields, rates=CHECKED_BY_HAND)
    doubtful = estimate_tape(fields, rates=DetectorRates(1.0, 0.0, 0.5, 1.0))
    blind = estimate_tape(fields, rates=DetectorRates(0.5, 0.1, 0.0))
    assert doubtful.tape_low == 0 < sure.tape_low
    assert doubtful.p_class[0] > 0.05
    assert any("may be false" in note for note in doubtful.notes)
    assert blind.tape_high > 1.5 * sure.tape_high
    assert blind.tape_spores == pytest.approx(2 * sure.tape_spores)


def test_confidences_tell_which_finds_are_false() -> None:
    rates = DetectorRates(1.0, 0.0, 5.0, 9.0, confidence_is_calibrated=True)
    fields = table([1, 0, 1, 0])
    low = estimate_tape(fields, rates=rates, confidences=[[0.1], [], [0.1], []])
    high = estimate_tape(fields, rates=rates, confidences=[[0.999], [], [0.999], []])
    assert low.p_class[0] > 0.6
    assert high.p_class[0] < 1e-2


def test_clumped_counts_give_wider_limits_than_even_ones() -> None:
    even = estimate_tape(table([10] * 9), rates=CHECKED_BY_HAND)
    clumped = estimate_tape(table([0, 0, 80, 1, 0, 0, 9, 0, 0]), rates=CHECKED_BY_HAND)
    assert even.tape_spores == pytest.approx(clumped.tape_spores)
    assert clumped.tape_high / clumped.tape_low > 2 * even.tape_high / even.tape_low


def test_more_fields_of_the_same_narrow_the_limits() -> None:
    widths = []
    for number in (1, 3, 9, 20, 40):
        tape = estimate_tape(table([6] * number), rates=CHECKED_BY_HAND)
        widths.append(tape.tape_high / tape.tape_low)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] == 1.0


def test_fields_that_touch_say_less_than_fields_apart() -> None:
    apart = estimate_tape(table([3, 2, 4, 3]), rates=CHECKED_BY_HAND)
    touching = estimate_tape(table([3, 2, 4, 3], group=[0] * 4), rates=CHECKED_BY_HAND)
    assert touching.tape_high > 1.5 * apart.tape_high
    assert touching.tape_spores == pytest.approx(apart.tape_spores)
    assert any("touch" in note for note in touching.notes)


def test_cutting_a_group_otherwise_changes_nothing() -> None:
    one = estimate_tape(table([9], 10.0), rates=CHECKED_BY_HAND)
    four = estimate_tape(table([3, 0, 4, 2], group=list("aaaa")), rates=CHECKED_BY_HAND)
    assert (one.tape_low, one.tape_high, one.p_class) == (
        four.tape_low,
        four.tape_high,
        four.p_class,
    )


def test_order_of_fields_does_not_matter_and_inputs_stay() -> None:
    fields = table([5, 0, 30, 2])
    before = fields.copy()
    first = estimate_tape(fields)
    assert estimate_tape(fields.iloc[::-1]).p_class == pytest.approx(first.p_class)
    pd.testing.assert_frame_equal(fields, before)


def test_the_share_seen_is_right_on_average_for_every_clumping() -> None:
    # A negative binomial's mean does not hang on k.
    seen = seen_from(table([0] * 4), 100.0)
    found = shares(seen, DetectorRates(0.8, 0.1, 0.0), np.array([0.1, 1.0, 100.0]), 4.0)
    assert found.chances @ found.q == pytest.approx(np.full(3, 0.08), rel=0.02)


def test_places_fall_as_negative_binomial_counts_of_a_given_sum() -> None:
    # Given their sum, negative binomial counts of one k are Dirichlet-multinomial: their
    # chance is the product of the counts' own over that of the sum (variance m + m^2 / k,
    # Shaw & Dobson 1995).
    from scipy.stats import nbinom

    k, mean, counts = 0.7, 3.0, [4, 0, 9]
    law = nbinom(k, k / (k + mean))
    assert law.var() == pytest.approx(mean + mean**2 / k)
    whole = nbinom(3 * k, k / (k + mean))
    expected = law.logpmf(counts).sum() - whole.logpmf(sum(counts))
    got = log_spread(seen_from(table(counts), 100.0), np.array([k]), 3.0)
    assert got[0] == pytest.approx(expected)


@pytest.mark.parametrize("prevalence", [0.08, 0.3, 0.7])
def test_the_prior_moves_the_classes_but_not_the_upper_limit(prevalence: float) -> None:
    # 8, 30 and 70 % are the prevalences of heavy infection in Altizer et al. 2000.
    usual = estimate_tape(table([0] * 4), rates=CHECKED_BY_HAND)
    other = estimate_tape(
        table([0] * 4),
        rates=CHECKED_BY_HAND,
        settings=Settings(load=LoadSettings(prevalence=prevalence)),
    )
    assert other.tape_high == usual.tape_high
    assert (other.chance_from(1) > usual.chance_from(1)) == (prevalence > 0.5)


@pytest.mark.parametrize(
    "spores", [[100000] * 9, [0, 0, 99999], [1], [250] * 3, [7, 5, 73, 24, 5, 13, 17, 11, 36]]
)
@pytest.mark.parametrize(
    "rates",
    [DetectorRates(0.92, 0.09, 3.2, 11.1), DetectorRates(0.92, 0.05, 0.02, 0.04), CHECKED_BY_HAND],
)
def test_extremes_give_finite_ordered_numbers(spores: list[int], rates: DetectorRates) -> None:
    tape = estimate_tape(table(spores), rates=rates)
    assert 0 <= tape.tape_low <= tape.tape_spores <= tape.tape_high
    assert np.isfinite(tape.p_class).all()


def test_other_class_bounds_give_other_numbers_of_classes() -> None:
    settings = Settings(count=CountSettings(class_lower_bounds=(0, 1, 11)))
    tape = estimate_tape(table([1, 0]), settings=settings)
    assert len(tape.p_class) == 3
    assert list(tape.as_row())[-4:] == ["p_class_0", "p_class_1", "p_class_2", "load_class"]


@pytest.mark.parametrize(
    ("fields", "tape_mm2", "message"),
    [
        (table([1]).drop(columns="spores"), 100.0, "there is no column spores"),
        (table([]), 100.0, "none was counted, so nothing is known"),
        (table([1], 0.0), 100.0, "an examined area is larger than 0"),
        (table([-1]), 100.0, "a count is a whole number, 0 or more"),
        (table([1] * 3, 50.0), 100.0, "larger than the tape, so parts were counted twice"),
        (table([1]), 0.0, "the tape's area is larger than 0"),
        (table([1]), float("nan"), "the tape's area is larger than 0"),
    ],
)
def test_what_cannot_be_used_is_refused(
    fields: pd.DataFrame, tape_mm2: float, message: str
) -> None:
    with pytest.raises(LoadError, match=message):
        estimate_tape(fields, tape_mm2)


def test_areas_rounded_up_are_the_whole_tape() -> None:
    tape = estimate_tape(table([1] * 4, 25.1), rates=CHECKED_BY_HAND)
    assert tape.examined_mm2 == 100.0
    assert any("taken for the whole of it" in note for note in tape.notes)


def test_confidences_must_match_the_counts() -> None:
    with pytest.raises(LoadError, match="one confidence for each spore counted"):
        estimate_tape(table([2]), confidences=[[0.5]])


@pytest.mark.parametrize(
    ("group", "message"),
    [
        ({"prevalence": 1.0}, "load.prevalence 1.0: it lies between 0 and 1"),
        ({"clumping_k": 0.0}, "load.clumping_k 0.0: it is larger than 0"),
        ({"patch_mm2": -1.0}, "load.patch_mm2"),
        ({"most_spores": 5}, "load.most_spores"),
        ({"clumping_spread": -1.0}, "load.clumping_spread"),
    ],
)
def test_settings_that_make_no_sense_are_refused(group: dict, message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        LoadSettings(**group)
