"""A trial from its tables to the result."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sporecount.trial.errors import TrialError
from sporecount.trial.inputs import counted_by_detector, supposed_trial
from sporecount.trial.judge import judge
from sporecount.trial.misread import MisreadRates
from sporecount.trial.more_slides import more_slides
from sporecount.trial.plan import Arm, Trial
from sporecount.trial.result import BREAKS, CONTROL, NONE_SHOWN, OPEN, UNSETTLED
from sporecount.trial.result_tables import MORE_COLUMNS
from sporecount.trial.tables import ARM_COLUMNS

PLAN = Trial(
    "test",
    (
        Arm("untreated", "untreated", "none"),
        Arm("water", "water", "water"),
        Arm("bleach", "treated", "hypochlorite"),
        Arm("lamp", "treated", "uv-c"),
    ),
)
EGGS = pd.DataFrame(
    {"arm": ["water", "bleach"] * 3, "batch": list("112233"), "dipped": [70] * 6,
     "hatched": [63, 31, 64, 30, 62, 32]}
)  # fmt: skip
FEEDING = pd.DataFrame(
    {"arm": ["water", "lamp"], "fed": [22, 22], "adults": [20, 20], "infected": [18, 0]}
)


def rows(arm: str, intact: list[int], damaged: list[int]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "arm": arm, "slide": [f"{arm} {n}" for n in range(len(intact))], "intact": intact,
            "damaged": damaged, "fragment": 0, "area_mm2": 2.0,
        }
    )  # fmt: skip


def slides(**changed: pd.DataFrame) -> pd.DataFrame:
    arms = {
        "untreated": rows("untreated", [96, 88, 104, 92, 99], [2, 1, 2, 3, 2]),
        "water": rows("water", [90, 102, 85, 95, 99], [3, 2, 4, 2, 3]),
        "bleach": rows("bleach", [30, 25, 41, 33, 28], [60, 72, 66, 58, 70]),
        "lamp": rows("lamp", [94, 91, 88, 103, 97], [3, 3, 2, 4, 2]),
    }
    return pd.concat([table for table in (arms | changed).values() if len(table)])


def test_a_whole_trial() -> None:
    given = slides()
    before = given.copy()
    found = judge(given, PLAN, eggs=EGGS, feeding=FEEDING)
    assert [arm.verdict.code for arm in found.arms] == [CONTROL, CONTROL, BREAKS, UNSETTLED]
    assert found.control == "water"
    bleach, lamp = found.arm("bleach"), found.arm("lamp")
    assert bleach.eggs is not None
    assert bleach.eggs.word == "harms eggs"
    assert bleach.vanished is not None
    assert bleach.vanished.reduction == pytest.approx(1 - 157 / 471)
    assert "So the agent takes infectivity away" in lamp.verdict.sentences[-1]
    assert lamp.cautions
    assert not found.arm("water").cautions
    pd.testing.assert_frame_equal(given, before)
    with pytest.raises(KeyError):
        found.arm("gin")


def test_the_table_of_arms_keeps_its_promise() -> None:
    table = judge(slides(), PLAN).arms_table
    assert list(table.columns) == [*ARM_COLUMNS, *MORE_COLUMNS]
    bleach = table.set_index("arm").loc["bleach"]
    assert bleach["slides"] == 5
    assert bleach["spores"] == 157 + 326
    assert bleach["intact_per_mm2"] == pytest.approx(157 / 10)
    assert bleach["log10_reduction"] == pytest.approx(math.log10(471 / 157))
    assert bleach["effect"] == pytest.approx(
        bleach["broken_share"] - table.set_index("arm").loc["water", "broken_share"]
    )
    assert table.set_index("arm").loc["water", ["effect", "p_value"]].isna().all()
    assert table["p_adjusted"].notna().sum() == 2


def test_a_slide_is_a_point_and_has_a_row() -> None:
    found = judge(slides(), PLAN)
    assert len(found.slides_table) == 20
    point = found.arm("bleach").slides[0]
    assert (point.intact, point.damaged, point.broken) == (30, 60, pytest.approx(60 / 90))
    assert point.intact_per_mm2 == 15


def test_the_same_tables_give_the_same_result() -> None:
    table = slides().assign(reviewed=False)
    pd.testing.assert_frame_equal(judge(table, PLAN).arms_table, judge(table, PLAN).arms_table)


def test_swapped_arms_mirror_the_effect() -> None:
    """With counts by hand and no pieces; the names say which is the control."""
    there = judge(slides(), PLAN).arm("bleach").broken
    swapped = slides().replace({"arm": {"water": "bleach", "bleach": "water"}})
    back = judge(swapped, PLAN).arm("bleach").broken
    assert back.effect == pytest.approx(-there.effect)
    assert back.effect_low == pytest.approx(-there.effect_high, abs=1e-6)
    assert back.p_value == pytest.approx(there.p_value)
    reduced = [judge(t, PLAN).arm("bleach").vanished for t in (slides(), swapped)]
    assert reduced[0] is not None
    assert reduced[1] is not None
    assert reduced[0].log10 == pytest.approx(-reduced[1].log10)
    assert judge(swapped, PLAN).arm("bleach").verdict.code == NONE_SHOWN


# Who counted


def test_only_a_detectors_counts_are_corrected() -> None:
    hand = judge(slides(), PLAN).arm("bleach")
    machine = judge(slides().assign(photos_used=4), PLAN)
    reviewed = judge(slides().assign(photos_used=4, reviewed=True), PLAN).arm("bleach")
    assert hand.broken == hand.seen == reviewed.broken
    assert hand.vanished_corrected is None
    assert machine.arm("bleach").broken.share > hand.broken.share + 0.03
    assert machine.arm("bleach").vanished_corrected is not None
    assert any("rogangladen1978" in line for line in machine.method)
    assert counted_by_detector(slides().assign(reviewed=False)).all()


def test_reviewed_detections_replace_the_rates_that_ship() -> None:
    known = pd.DataFrame({"intact": [980, 600], "damaged": [20, 400]}, index=["intact", "damaged"])
    table = slides().assign(reviewed=False)
    low = judge(table, PLAN, rates=known).arm("bleach").broken
    assert low.share > judge(table, PLAN).arm("bleach").broken.share + 0.05


def test_a_detector_that_cannot_tell_gives_no_verdict_on_breakage() -> None:
    blind = MisreadRates(((80, 20, 0, 0), (75, 25, 0, 0), (0, 0, 9, 0)))
    found = judge(slides().assign(reviewed=False), PLAN, rates=blind)
    assert found.arm("bleach").verdict.code == OPEN
    assert any("can't tell them apart" in note for note in found.notes)
    assert found.arm("bleach").broken == found.arm("bleach").seen


def test_partly_reviewed_arms_are_named() -> None:
    table = slides().assign(reviewed=[True, *[False] * 19])
    assert any("Some slides of untreated" in note for note in judge(table, PLAN).notes)


# What is missing


def test_without_control_arms_are_described() -> None:
    plan = Trial("test", PLAN.treated)
    found = judge(slides().query("arm in ('bleach', 'lamp')"), plan)
    assert found.control == ""
    assert any("no control" in note for note in found.notes)
    assert found.arm("bleach").verdict.code == OPEN
    assert math.isnan(found.arm("bleach").broken.effect)
    assert found.arm("bleach").broken.share > 0.6
    assert "no control to compare with" in found.arm("bleach").verdict.sentences[0]


def test_a_water_arm_without_slides_leaves_the_untreated_one() -> None:
    found = judge(slides(water=pd.DataFrame()), PLAN)
    assert found.control == "untreated"
    assert any("'water' were counted" in note for note in found.notes)
    assert found.arm("bleach").verdict.code == BREAKS
    assert found.arm("water").notes == ("water: no slides.",)


@pytest.mark.parametrize("number", [1, 2])
def test_one_slide_is_described_and_two_say_little(number: int) -> None:
    few = rows("bleach", [30, 25][:number], [60, 72][:number])
    bleach = judge(slides(bleach=few), PLAN).arm("bleach")
    assert bleach.broken.share > 0.6
    assert bleach.notes
    if number == 1:
        assert math.isnan(bleach.broken.p_value)
        assert bleach.verdict.code == OPEN
        assert any("one slide" in line for line in bleach.verdict.sentences)


def test_an_arm_without_slides_is_a_row_of_words() -> None:
    found = judge(slides(bleach=pd.DataFrame()), PLAN)
    row = found.arms_table.set_index("arm").loc["bleach"]
    assert (row["slides"], row["verdict"]) == (0, OPEN)
    assert math.isnan(row["broken_share"])
    assert "no spores" in found.arm("bleach").verdict.sentences[0]


@pytest.mark.parametrize("machine", [False, True])
def test_all_zero_and_all_broken_arms(machine: bool) -> None:
    table = slides(
        water=rows("water", [90, 95, 99], [0, 0, 0]), bleach=rows("bleach", [0, 0, 0], [90, 80, 99])
    )
    found = judge(table.assign(reviewed=not machine), PLAN)
    bleach = found.arm("bleach")
    assert bleach.verdict.code == BREAKS
    assert bleach.vanished is not None
    assert bleach.vanished.is_bound
    row = found.arms_table.set_index("arm").loc["bleach"]
    assert math.isnan(row["log10_reduction"])
    assert row["log10_low"] > 0.5
    numbers = found.arms_table.select_dtypes("number").to_numpy()
    assert not np.isinf(numbers).any()


def test_slides_without_any_spore_leave_no_figures_and_no_error() -> None:
    nothing = rows("lamp", [0, 0, 0], [0, 0, 0])
    found = judge(slides(lamp=nothing), PLAN).arm("lamp")
    assert found.verdict.code == OPEN
    assert "no spores" in found.verdict.sentences[0]
    assert math.isnan(found.slides[0].broken)


def test_without_areas_nothing_is_said_of_vanished_spores() -> None:
    found = judge(slides().drop(columns="area_mm2"), PLAN).arm("bleach")
    assert found.vanished is None


def test_counts_before_are_allowed_for() -> None:
    before = slides().assign(before_per_mm2=50.0)
    before.loc[before["arm"] == "bleach", "before_per_mm2"] = 25.0
    found = judge(before, PLAN).arm("bleach").vanished
    assert found is not None
    assert found.relative_to_before
    assert found.reduction == pytest.approx(1 - 2 * 157 / 471)


# Errors and names


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda t: t.drop(columns="damaged"), "there is no damaged"),
        (lambda t: t.rename(columns={"area_mm2": "fragments"}), "column 'fragments'"),
        (lambda t: t.assign(intact=-1), "0 or more"),
        (lambda t: t.assign(intact=1.5), "whole number"),
        (lambda t: t.assign(intact="many"), "0 or more"),
        (lambda t: t.assign(area_mm2=-2.0), "area_mm2 -2"),
        (lambda t: t.assign(arm="gin"), "no such arm"),
        (lambda t: t.assign(slide="1"), "twice"),
        (lambda t: t.iloc[:0], "no row"),
    ],
)
def test_tables_that_make_no_sense_are_refused(change: object, match: str) -> None:
    with pytest.raises(TrialError, match=match):
        judge(change(slides()), PLAN)  # type: ignore[operator]


def test_eggs_and_feeding_that_make_no_sense_are_refused() -> None:
    with pytest.raises(TrialError, match="hatched 300 is more than dipped 70"):
        judge(slides(), PLAN, eggs=EGGS.assign(hatched=300))
    with pytest.raises(TrialError, match="infected"):
        judge(slides(), PLAN, feeding=FEEDING.drop(columns="infected"))
    with pytest.raises(TrialError, match="no such arm"):
        judge(slides(), PLAN, eggs=EGGS.assign(arm="gin"))


def test_arms_are_matched_without_regard_to_case() -> None:
    table = slides().replace({"arm": {"bleach": "Bleach "}})
    assert judge(table, PLAN).arm("bleach").verdict.code == BREAKS


def test_names_tell_what_arms_are_where_there_is_no_plan() -> None:
    plan = supposed_trial(["Water", "no treatment, control", "UV-C 10 s", "acetone", "Bleach"])
    assert [(arm.role, arm.agent) for arm in plan.arms] == [
        ("water", "water"),
        ("untreated", "none"),
        ("treated", "uv-c"),
        ("treated", "other"),
        ("treated", "hypochlorite"),
    ]
    found = judge(slides())
    assert found.arm("lamp").verdict.code == UNSETTLED
    assert "No plan was given" in found.notes[0]


def test_pieces_without_area_are_said() -> None:
    found = judge(slides().assign(fragment=3), PLAN)
    assert any("third of a spore" in note for note in found.notes)


def test_more_slides_than_there_are_or_none_known() -> None:
    assert more_slides(0.05, 0.5, 0.1, 50, 3, 0.05) in (0, 1)
    assert (more_slides(0.05, 0.2, 0.2, 50, 3, 0.05) or 99) > 2
    assert more_slides(0.05, 0.02, 0.3, 20, 3, 0.05) is None
    assert more_slides(math.nan, 0.2, 0.1, 50, 3, 0.05) is None
    assert more_slides(0.9, 0.99, 0.1, 50, 3, 0.05) is None
