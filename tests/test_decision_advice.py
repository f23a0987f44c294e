"""The outcome in plain words: which risk, which class, and which words never."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from sporecount.counts.rates import DetectorRates
from sporecount.decision import texts
from sporecount.decision.decide import Decision, decide
from sporecount.errors import SettingsError
from sporecount.load.estimate import CHECKED_BY_HAND
from sporecount.settings import DecisionSettings, Settings

#: Commands that no text may give, and verdicts that no tape allows.
FORBIDDEN = re.compile(
    r"\b(kill|destroy it|euthani[sz]e|freez|must|has to be|have to be|guarantee|"
    r"safe to release|is clean|disease-free|release it|throw away|dispose)",
    re.IGNORECASE,
)


def table(spores: list[int], field_mm2: float = 2.5) -> pd.DataFrame:
    names = [f"{n}.jpg" for n in range(len(spores))]
    return pd.DataFrame({"photo": names, "examined_mm2": field_mm2, "spores": spores})


def decided(spores: list[int], field_mm2: float = 2.5, **rule: float) -> Decision:
    settings = Settings(decision=DecisionSettings(**rule))  # type: ignore[arg-type]
    return decide(table(spores, field_mm2), rates=CHECKED_BY_HAND, settings=settings)


CASES = {
    texts.CLEAR: decided([0] * 4, 20.0),
    texts.HOLD: decided([0] * 4),
    texts.LIGHT: decided([1, 0, 1, 3], 20.0),
    texts.HEAVY: decided([60, 20, 35, 81]),
}


@pytest.mark.parametrize("outcome", texts.OUTCOMES)
def test_each_outcome_is_reached_and_has_its_texts(outcome: str) -> None:
    assert CASES[outcome].outcome == outcome
    assert CASES[outcome].choices == texts.CHOICES[outcome]
    assert "{" not in CASES[outcome].as_text()


@pytest.mark.parametrize("outcome", texts.OUTCOMES)
def test_no_text_orders_or_promises(outcome: str) -> None:
    assert FORBIDDEN.findall(CASES[outcome].as_text()) == []


def test_no_text_at_all_holds_forbidden_words() -> None:
    every = [texts.CONTACT, texts.CLASS_3, texts.RELEASE_RULE, texts.MORE, texts.MORE_CLEAN]
    every += [
        texts.HOLD_FEW,
        texts.NO_MORE,
        texts.FALSE_ONES,
        *texts.CAUTIONS,
        *texts.MEANING.values(),
    ]
    every += [choice for choices in texts.CHOICES.values() for choice in choices]
    assert FORBIDDEN.findall("\n".join(every)) == []
    assert FORBIDDEN.search("You must kill it")


@pytest.mark.parametrize("outcome", texts.OUTCOMES)
def test_every_text_defers_to_programme_law_and_practice(outcome: str) -> None:
    text = CASES[outcome].as_text().lower()
    for words in ("programme", "the law", "licensed practice", "a person decides", "not proof"):
        assert words in text


def test_what_becomes_of_a_heavy_adult_is_left_to_the_programme() -> None:
    text = CASES[texts.HEAVY].as_text()
    assert "differs between programmes" in text
    assert "does not choose" in text


def test_light_loads_may_come_from_contact_and_sources_differ() -> None:
    text = CASES[texts.LIGHT].as_text()
    assert "by contact" in text
    assert "need not be the adult's own infection" in text
    assert "sources differ" in text


def test_class_3_is_called_uncertain() -> None:
    assert "Class 3 is uncertain" in decided([10, 12, 9, 11], 25.0).as_text()
    assert "Class 3 is uncertain" not in CASES[texts.CLEAR].as_text()


def test_clear_states_its_chance_and_the_risk_chosen() -> None:
    case = CASES[texts.CLEAR]
    assert case.more_fields == 0
    assert re.search(r"above class 0 is \d\.\d %, within the risk chosen \(5\.0 %\)", case.meaning)


def test_hold_says_how_many_more_fields() -> None:
    case = CASES[texts.HOLD]
    assert case.more_fields
    assert any(
        f"{case.more_fields} more photos" in remark and "stays clean" in remark
        for remark in case.remarks
    )
    more = decided([0] * (4 + case.more_fields))
    assert more.outcome == texts.CLEAR


def test_hold_says_so_when_no_field_will_do() -> None:
    settings = Settings(decision=DecisionSettings(risk_release=0.001))
    case = decide(table([0] * 4), rates=DetectorRates(0.8, 0.1, 0.0), settings=settings)
    assert (case.outcome, case.more_fields) == (texts.HOLD, None)
    assert texts.NO_MORE in case.remarks


def test_few_photos_hold_in_words_that_say_how_many_it_takes() -> None:
    case = decided([9, 14], 0.5)
    assert (case.outcome, case.more_fields) == (texts.HOLD, 1)
    assert re.fullmatch(
        r"So far it looks like class 4-5 \(chance [\w. ]+ %\), but that rests on 2 photos alone\. "
        r"Spores lie in patches, so it is settled only after at least 3 photos from different "
        r"places\.",
        case.meaning,
    )
    assert case.remarks[0].startswith("About 1 more photo of the same size would settle it, if")
    assert decided([9], 0.5, least_fields=2).meaning.count("rests on 1 photo alone") == 1


def test_the_programme_s_class_wins_over_the_default() -> None:
    spores = [0, 1, 0, 1]
    assert decided(spores, 20.0).outcome == texts.LIGHT
    case = decided(spores, 20.0, releasable_up_to=2)
    assert case.outcome == texts.CLEAR
    assert any("a choice set by you" in remark for remark in case.remarks)


def test_the_risks_are_the_user_s() -> None:
    assert decided([0] * 9).outcome == texts.HOLD
    assert decided([0] * 9, risk_release=0.2).outcome == texts.CLEAR
    spores = [1, 2, 9, 5]
    assert decided(spores).outcome == texts.HOLD
    assert decided(spores, risk_call=0.4).outcome == texts.HEAVY


def test_possible_false_detections_are_to_be_looked_at_first() -> None:
    case = decide(table([1, 0, 0, 0]), rates=DetectorRates(0.9, 0.05, 0.1, 0.3))
    assert texts.FALSE_ONES in case.remarks


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        ({"risk_release": 0.0}, "decision.risk_release 0.0: it lies between 0 and 0.5"),
        ({"risk_call": 0.5}, "decision.risk_call"),
        ({"releasable_up_to": 4}, "below decision.heavy_from"),
        ({"heavy_from": 0}, "decision.heavy_from 0: it is a class from 1 up"),
        ({"least_fields": 0}, "decision.least_fields"),
    ],
)
def test_rules_that_make_no_sense_are_refused(rule: dict, message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        DecisionSettings(**rule)
