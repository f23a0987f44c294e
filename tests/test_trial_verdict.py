"""Verdicts in words, and what they never say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.outcomes.eggs import HARMS, EggSafety
from sporecount.trial.outcomes.vanished import NO_STANDARD, counted, reduce_against
from sporecount.trial.result import (
    BREAKS,
    BREAKS_SOME,
    CONTROL,
    NONE_SHOWN,
    OPEN,
    UNSETTLED,
    VERDICTS,
)
from sporecount.trial.verdict import (
    CANNOT_READ,
    FEEDING_TEST,
    MAY_ACT_UNSEEN,
    NOT_FAILED,
    Evidence,
    disagreement,
    verdict_on,
)

MUCH = Comparison(
    0.6, 0.5, 0.7, 0.55, 0.4, 0.68, 1e-5, 3e-5, abbott=0.58, abbott_low=0.42, abbott_high=0.7,
    equivalent=False, slides=5,
)  # fmt: skip
SOME = replace(MUCH, share=0.15, effect=0.1, effect_low=0.03, effect_high=0.19, p_adjusted=0.02)
NONE = Comparison(
    0.06, 0.03, 0.09, 0.01, -0.03, 0.05, 0.6, 0.6, equivalent=True, slides=8,
)  # fmt: skip
WIDE = replace(NONE, effect_low=-0.1, effect_high=0.3, equivalent=False)


def evidence(broken: Comparison, agent: str = "hypochlorite", **more: object) -> Evidence:
    return replace(Evidence("treated", agent, broken, "water", 0.05), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("broken", "agent", "code"),
    [
        (MUCH, "hypochlorite", BREAKS),
        (MUCH, "uv-c", BREAKS),
        (SOME, "spray", BREAKS_SOME),
        (NONE, "hypochlorite", NONE_SHOWN),
        (NONE, "spray", NONE_SHOWN),
        (NONE, "uv-c", UNSETTLED),
        (NONE, "other", UNSETTLED),
        (WIDE, "hypochlorite", OPEN),
        (WIDE, "uv-c", UNSETTLED),
        (replace(MUCH, p_adjusted=0.07), "spray", OPEN),
        (replace(NONE, effect=-0.1, effect_high=-0.02, equivalent=False), "spray", NONE_SHOWN),
        (Comparison(math.nan, math.nan, math.nan), "spray", OPEN),
        (Comparison(0.9, 0.7, 1.0), "spray", OPEN),
    ],
)
def test_codes(broken: Comparison, agent: str, code: str) -> None:
    assert verdict_on(evidence(broken, agent)).code == code


def test_the_difference_that_matters_divides_breaks_from_breaks_some() -> None:
    assert verdict_on(evidence(SOME, smallest_effect=0.1)).code == BREAKS
    assert verdict_on(evidence(SOME, smallest_effect=0.11)).code == BREAKS_SOME


@pytest.mark.parametrize("agent", ["hypochlorite", "uv-c", "spray", "other"])
@pytest.mark.parametrize("broken", [MUCH, SOME, NONE, WIDE, Comparison(0.9, 0.7, 1.0)])
@pytest.mark.parametrize("can_read", [True, False])
def test_no_verdict_says_that_an_agent_failed(
    agent: str, broken: Comparison, can_read: bool
) -> None:
    found = verdict_on(evidence(broken, agent, can_read=can_read))
    text = " ".join(found.sentences).replace(NOT_FAILED, "")
    assert found.code in VERDICTS
    for word in ("fail", "useless", "does not work", "did not work", "ineffective"):
        assert word not in text
    assert "feeding test" in " ".join(found.sentences)


def test_ultraviolet_gets_the_feeding_test() -> None:
    found = verdict_on(evidence(NONE, "uv-c"))
    assert "Ultraviolet light can take infectivity away" in found.sentences[0]
    assert FEEDING_TEST in found.sentences
    assert "uv-c" in MAY_ACT_UNSEEN


def test_breaks_says_how_surely_and_how_much() -> None:
    found = verdict_on(evidence(MUCH))
    assert "practically sure" in found.sentences[0]
    assert (
        "60 % broken against 5 % in 'water': +55 percentage points (+40 to +68)"
        in (found.sentences[0])
    )
    assert "58 % were broken (42 % to 70 %)" in found.sentences[1]
    unsure = verdict_on(evidence(replace(MUCH, effect_low=0.1)))
    assert any("less sure" in line for line in unsure.sentences)


def test_cannot_tell_says_how_many_more_slides() -> None:
    def more(number: int | None) -> str:
        return " ".join(verdict_on(evidence(WIDE, more_slides=number)).sentences)

    assert "About 4 more slides in each arm" in more(4)
    assert "About 1 more slide in each arm" in more(1)
    assert "More slides than a person can make" in more(None)
    assert "most likely have been seen" in more(0)
    one = verdict_on(evidence(replace(WIDE, p_value=math.nan, p_adjusted=math.nan)))
    assert any("one slide" in line for line in one.sentences)


def test_a_detector_that_cannot_tell_leads_to_no_verdict_on_breakage() -> None:
    found = verdict_on(evidence(MUCH, can_read=False))
    assert found.code == OPEN
    assert CANNOT_READ in found.sentences


def test_a_control_is_described_and_a_strange_one_is_named() -> None:
    plain = verdict_on(replace(evidence(Comparison(0.05, 0.02, 0.1)), role="water"))
    assert plain.code == CONTROL
    assert plain.sentences == ("5 % of its spores are broken (2 % to 10 %).",)
    odd = verdict_on(replace(evidence(replace(MUCH, p_value=0.01)), role="untreated"))
    assert "mixed up" in odd.sentences[1]
    nothing = Comparison(math.nan, math.nan, math.nan)
    assert "No spores" in verdict_on(replace(evidence(nothing), role="water")).sentences[0]


def test_dead_eggs_are_no_success() -> None:
    eggs = EggSafety(
        100, 40, 4, 0.4, 0.3, 0.5, word=HARMS,
        sentences=("Harms eggs: .... An agent that kills eggs is no success.",),
    )  # fmt: skip
    assert any("no success" in line for line in verdict_on(evidence(MUCH, eggs=eggs)).sentences)


def test_a_log10_figure_is_no_claim_from_a_standard() -> None:
    area = np.ones(4)
    vanished = reduce_against(counted([1, 0, 2, 1], area), counted([900, 1000, 950, 1010], area))
    found = verdict_on(evidence(MUCH, vanished=vanished))
    assert NO_STANDARD in found.sentences
    assert not any(word in " ".join(found.sentences) for word in ("EN 1", "sporicid", "steril"))


def test_broken_and_vanished_are_compared() -> None:
    area = np.ones(5)
    control = counted([100, 110, 95, 105, 90], area)

    def said(intact: list[int]) -> str:
        return disagreement(MUCH, reduce_against(counted(intact, area), control))

    assert "more whole spores are missing" in said([3, 4, 2, 3, 3])
    assert "more spores are seen broken" in said([100, 98, 105, 110, 95])
    assert said([45, 50, 40, 42, 38]) == ""
    assert "weaker one" in said([10, 150, 60, 20, 90])
    assert disagreement(replace(MUCH, abbott_low=math.nan), reduce_against(control, control)) == ""


def test_spores_dissolved_without_a_trace_are_a_disagreement() -> None:
    """All that is left is broken, so Abbott's share is 1; yet most spores are not there at all."""
    area = np.ones(4)
    control = counted([100, 110, 95, 105], area)
    vanished = reduce_against(counted([0, 0, 0, 0], area), control)
    every = replace(MUCH, abbott=1.0, abbott_low=0.5, abbott_high=1.0)
    lost = reduce_against(counted([3, 2, 4, 3], area), control)
    assert "more whole spores are missing" in disagreement(every, vanished, lost)
    assert disagreement(every, vanished, reduce_against(control, control)) == ""


def test_no_difference_has_no_sign_of_minus() -> None:
    found = verdict_on(evidence(replace(NONE, effect=-0.001)))
    assert ": +0 percentage points" in found.sentences[0]
