"""Dilutions against published tables, and strengths that could mean two things."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sporecount.bath.dilution import Dilution, dilute, round_to
from sporecount.bath.errors import BathError
from sporecount.bath.strength import (
    PPM_PER_PERCENT,
    Strength,
    parse_label,
    parse_strength,
    parse_volume,
)


def bath(label: float, want: str, volume_ml: float = 1000.0) -> Dilution:
    return dilute(label, parse_strength(want), volume_ml)


@pytest.mark.parametrize(
    ("one_in", "least_ppm", "most_ppm"),
    [("1in1", 52_500, 61_500), ("1in10", 5_250, 6_150), ("1in100", 525, 615), ("1in1000", 53, 62)],
)
def test_household_bleach_gives_the_printed_ppm(
    one_in: str, least_ppm: float, most_ppm: float
) -> None:
    """CDC 2008 guideline, glossary: ppm of 5.25-6.15 % bleach, whole numbers printed."""
    # The table prints halves rounded away from zero (52.5 as 53).
    assert bath(5.25, one_in).ppm == pytest.approx(least_ppm, abs=0.5)
    assert bath(6.15, one_in).ppm == pytest.approx(most_ppm, abs=0.5)


def test_one_in_two_hundred_of_the_weaker_bleach() -> None:
    """CDC 2008 guideline: 1:200 of 5.25 % is 263 ppm (262.5)."""
    assert bath(5.25, "1in200").ppm == pytest.approx(262.5)


def test_one_to_ten_in_the_guideline_is_one_part_in_ten() -> None:
    """CDC 2008 prints 0.53 % (0.525) for 1:10; 1 + 10 parts would give 0.477 %."""
    assert bath(5.25, "1in10").active_percent == pytest.approx(0.525)
    assert bath(5.25, "1+10").active_percent == pytest.approx(0.4773, abs=1e-4)


def test_one_in_a_hundred_of_five_percent_is_one_and_ninety_nine_parts() -> None:
    """WHO 2014, Annex G: 5 % is 50 000 ppm; 1:100 is 1 + 99 parts, 0.05 %, 500 ppm."""
    made = bath(5.0, "1in100")
    assert made.label_percent * PPM_PER_PERCENT == 50_000
    assert made.water_parts == pytest.approx(99)
    assert (made.active_percent, made.ppm) == pytest.approx((0.05, 500))
    assert made.in_words() == "1 part of product + 99 parts of water, that is 1 in 100"


def test_two_parts_of_weak_bleach_and_ninety_eight_of_water() -> None:
    """WHO 2014, Annex G: 2.5 % bleach, 2 + 98 parts, for the same 0.05 %."""
    assert bath(2.5, "2+98").active_percent == pytest.approx(0.05)
    assert bath(2.5, "0.05%active").water_parts == pytest.approx(49)


@pytest.mark.parametrize(
    ("label", "want", "volume_ml", "product_ml"),
    [
        (5.25, "0.5%active", 500.0, 47.62),
        (6.0, "0.1%active", 1000.0, 16.67),
        (6.0, "1000ppm", 1000.0, 16.67),
    ],
)
def test_c1v1(label: float, want: str, volume_ml: float, product_ml: float) -> None:
    """C1 V1 = C2 V2, recomputed from the formula."""
    made = bath(label, want, volume_ml)
    assert made.product_ml == pytest.approx(product_ml, abs=0.005)
    assert made.volume_ml == pytest.approx(volume_ml)


@pytest.mark.parametrize(
    ("label", "want", "ppm"),
    [(6.0, "20%v/v", 12_000), (6.0, "5%v/v", 3_000), (6.0, "2%v/v", 1_200), (8.25, "1in10", 8_250)],
)
def test_percent_by_volume_is_not_percent_hypochlorite(label: float, want: str, ppm: float) -> None:
    """From the formula: "5 % bleach" of a 6 % product is 0.30 % hypochlorite."""
    assert bath(label, want).ppm == pytest.approx(ppm)


def test_official_kitchen_measures() -> None:
    """Washington WAC 296-823-14055: 10 mL to 946 mL is 1:100; 94 mL to 946 mL is 1:10."""
    assert Dilution(5.25, 10.0, 936.0).one_in == pytest.approx(94.6)
    assert Dilution(5.25, 94.0, 852.0).one_in == pytest.approx(10.06, abs=0.01)


def test_five_and_ninety_five_millilitres() -> None:
    """Common practice, no source: 5 mL of bleach + 95 mL of water."""
    made = bath(6.0, "5%v/v", 100.0)
    assert (made.product_ml, made.water_ml) == (5.0, 95.0)
    assert made.in_words() == "1 part of product + 19 parts of water, that is 1 in 20"


@given(
    label=st.floats(0.1, 100.0),
    percent=st.floats(0.01, 100.0),
    volume_ml=st.floats(1.0, 1e5),
)
def test_what_was_mixed_has_the_strength_that_was_wanted(
    label: float, percent: float, volume_ml: float
) -> None:
    made = dilute(label, Strength(share=percent / 100), volume_ml)
    assert made.percent_by_volume == pytest.approx(percent)
    again = dilute(label, Strength(ppm=made.ppm * (1 - 1e-12)), volume_ml)
    assert (again.product_ml, again.volume_ml) == pytest.approx((made.product_ml, volume_ml))
    assert made.one_in == pytest.approx(made.water_parts + 1)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("5%", "percent of product by volume, or percent sodium hypochlorite.*5%v/v"),
        ("1:20", "1 part in 20 in all and as 1 part to 20 of water.*1in20 or 1\\+20"),
        ("1/20", "1in20"),
        ("strong", "it is no strength"),
        ("", "it is no strength"),
        ("0%v/v", "more than 0"),
        ("101%v/v", "at most 100 %"),
        ("1in0.5", "at most 100 %"),
        ("1in0", "at most 100 %"),
        ("0+0", "more than 0"),
        ("0ppm", "above 0"),
        ("-5%v/v", "it is no strength"),
    ],
)
def test_strengths_that_are_refused(text: str, said: str) -> None:
    with pytest.raises(BathError, match=said):
        parse_strength(text)


def test_a_bath_cannot_be_stronger_than_the_product() -> None:
    with pytest.raises(BathError, match=r"61000 ppm from a product of 6 %.*only 60000 ppm"):
        bath(6.0, "61000ppm")


@pytest.mark.parametrize("text", ["0", "101", "strong", "1in20", "nan"])
def test_labels_that_are_refused(text: str) -> None:
    with pytest.raises(BathError, match="label"):
        parse_label(text)


@pytest.mark.parametrize("text", ["0", "5 barrels", "ml", "-3ml", "inf"])
def test_volumes_that_are_refused(text: str) -> None:
    with pytest.raises(BathError, match="volume"):
        parse_volume(text)


@pytest.mark.parametrize(
    ("text", "ml"), [("8 floz", 236.588), ("1CUP", 236.588), ("0.5L", 500.0), (".5 gal", 1892.706)]
)
def test_volumes_in_kitchen_units(text: str, ml: float) -> None:
    """US measures, exact by definition: a gallon is 231 cubic inches, 16 cups, 128 fl oz."""
    assert parse_volume(text) == pytest.approx(ml, abs=0.001)


@pytest.mark.parametrize("made", [(0.0, 5.0, 95.0), (6.0, 0.0, 95.0), (6.0, 5.0, -1.0)])
def test_impossible_baths_are_refused(made: tuple[float, float, float]) -> None:
    with pytest.raises(BathError):
        Dilution(*made)


@given(st.floats(1e-6, 1e9))
def test_rounded_numbers_keep_three_digits(number: float) -> None:
    assert float(round_to(number)) == pytest.approx(number, rel=5.1e-3)
