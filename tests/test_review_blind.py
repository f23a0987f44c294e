"""Blind reviews: names and order tell nothing, and are the same the next day."""

from __future__ import annotations

from scipy.stats import chisquare

from sporecount.review.blind import blind_order, open_order

NAMES = [f"{arm}/{slide}.jpg" for arm in ("bleach", "water") for slide in range(6)]


def test_each_photo_is_there_once_and_its_name_is_not() -> None:
    order = blind_order(NAMES)
    assert sorted(order.names) == sorted(NAMES)
    assert len(set(order.shown)) == len(NAMES)
    assert not any(word in shown for shown in order.shown for word in ("bleach", "water", "jpg"))
    assert order.shown_as(order.names[4]) == order.shown[4]


def test_the_order_is_the_same_again_whatever_the_order_given() -> None:
    assert blind_order(NAMES) == blind_order(NAMES[::-1])
    assert blind_order(NAMES, 3) == blind_order(NAMES, 3)
    assert blind_order(NAMES, 3) != blind_order(NAMES, 4)
    assert blind_order([*NAMES, "x.jpg"]).names[: len(NAMES)] != blind_order(NAMES).names


def test_a_photo_comes_at_each_place_equally_often() -> None:
    places = [0] * len(NAMES)
    for seed in range(600):
        places[blind_order(NAMES, seed).names.index(NAMES[0])] += 1
    assert chisquare(places).pvalue > 0.001


def test_without_hiding_all_stays_as_it_is() -> None:
    assert open_order(NAMES).names == open_order(NAMES).shown == tuple(NAMES)
