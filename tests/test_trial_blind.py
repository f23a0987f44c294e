"""Codes of slides, the key that decodes them, and where photos are taken."""

from __future__ import annotations

import random
from collections import Counter
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from sporecount.errors import SheetError
from sporecount.trial.blind import (
    KEY_COLUMNS,
    LETTERS,
    MOST_SLIDES,
    KeyRow,
    deal,
    decode,
    key_csv,
    read_key,
)
from sporecount.trial.errors import TrialError
from sporecount.trial.places import photos_for, place_words, places

ARMS = ("untreated", "water", "bleach")


@pytest.mark.parametrize("seed", range(3))
def test_a_misread_letter_is_never_another_slide(seed: int) -> None:
    codes = [row.code for row in deal([f"arm {n}" for n in range(10)], 10, seed)]
    assert len(set(codes)) == MOST_SLIDES
    differing = [sum(a != b for a, b in zip(*pair)) for pair in combinations(codes, 2)]
    assert min(differing) >= 2


def test_codes_hold_nothing_that_is_confused_on_glass() -> None:
    assert not set(LETTERS) & set("AEIOUYBDGLQMWSUVZ0123456789")


def test_every_arm_gets_its_slides_and_comes_once_in_each_round() -> None:
    key = deal(ARMS, 4, seed=3)
    assert Counter(row.arm for row in key) == dict.fromkeys(ARMS, 4)
    assert [row.prepare for row in key] == list(range(1, 13))
    for first in range(0, 12, 3):
        assert {row.arm for row in key[first : first + 3]} == set(ARMS)
    assert len({row.slide for row in key}) == 12


def test_a_seed_repeats_the_deal_and_none_does_not() -> None:
    assert deal(ARMS, 4, seed=3) == deal(ARMS, 4, seed=3)
    assert deal(ARMS, 4, seed=3) != deal(ARMS, 4, seed=4)
    assert deal(ARMS, 4) != deal(ARMS, 4)


def test_codes_and_order_tell_nothing_of_the_arm() -> None:
    # Each arm is as often the first to be prepared, and gets each first letter as often.
    first = Counter(deal(ARMS, 2, seed)[0].arm for seed in range(600))
    assert min(first.values()) > 150
    letters = Counter(row.code[0] for seed in range(300) for row in deal(ARMS, 2, seed)[:1])
    assert len(letters) == len(LETTERS)


@pytest.mark.parametrize(("arms", "slides"), [(0, 4), (3, 0), (11, 10)])
def test_too_many_or_no_slides_are_refused(arms: int, slides: int) -> None:
    with pytest.raises(TrialError, match="a trial has 1 to 100 slides"):
        deal([str(n) for n in range(arms)], slides)


def test_a_key_survives_its_file(tmp_path: Path) -> None:
    key = deal(["=odd, arm", "wäter"], 3, seed=1)
    (tmp_path / "key.csv").write_text(key_csv(key), "utf-8")
    assert read_key(tmp_path / "key.csv") == key
    assert key_csv(key).splitlines()[0] == ",".join(KEY_COLUMNS)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "it is empty"),
        ("code,arm\nA,b", 'there is no column "slide"'),
        ("code,arm,slide\nKHT,water,1\nkht,water,2", "code KHT: it is there twice"),
        ("code,arm,slide\nKHT,water,1\nKHJ,water,1", "slide 1 of arm water: it is there twice"),
        ("code,arm,slide\n,water,1", "row 2"),
    ],
)
def test_a_key_that_cannot_be_right_is_refused(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "key.csv").write_text(text, "utf-8")
    with pytest.raises(SheetError, match=said):
        read_key(tmp_path / "key.csv")


def test_a_key_of_another_spreadsheet_program_is_read(tmp_path: Path) -> None:
    (tmp_path / "key.csv").write_bytes("Code;Arm;Slide\r\nk h t;Wäter;1\r\n".encode("cp1252"))
    assert read_key(tmp_path / "key.csv") == (KeyRow("KHT", "Wäter", "1"),)


def test_an_unknown_code_names_the_nearest() -> None:
    key = (KeyRow("KHT", "water", "water 1"), KeyRow("XXJ", "bleach", "bleach 1"))
    assert decode("k HT", key).arm == "water"
    with pytest.raises(SheetError, match=r"row 3, slide 'KHP': .* the glass again: is it KHT"):
        decode("KHP", key, "sheet, row 3")


@pytest.mark.parametrize("photos", [1, 2, 3, 5, 6, 7, 12])
def test_places_cover_the_tape_evenly(photos: int) -> None:
    draws = [places(photos, random.Random(seed)) for seed in range(400)]
    assert all(len(spots) == photos for spots in draws)
    every = np.array(draws).reshape(-1, 2)
    assert every.min() >= 0.5
    assert every.max() <= 9.5
    # Each place is as likely as any other: mean 5, variance 81 / 12, of the uniform law.
    assert every.mean(axis=0) == pytest.approx([5, 5], abs=0.5)
    assert every.var(axis=0) == pytest.approx([81 / 12] * 2, rel=0.25)


def test_places_of_one_slide_lie_apart() -> None:
    spots = np.array(places(6, random.Random(2)))
    apart = np.linalg.norm(spots[:, None] - spots[None], axis=2)[np.triu_indices(6, 1)]
    assert apart.min() > 2


def test_photos_are_as_many_as_the_spores_need() -> None:
    assert photos_for(50, 10) == 5
    assert photos_for(51, 10) == 6
    assert photos_for(5, 100) == 4
    assert place_words((0.5, 10.0)) == "0.5 mm right, 10 mm down"
