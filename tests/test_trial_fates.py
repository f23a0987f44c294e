"""What is said of followed spores: shares with the slide as unit, correction, words, tables."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.errors import SheetError
from sporecount.photo.folder import PhotoFile
from sporecount.report.html.trial_before_after import before_after, most_apart
from sporecount.trial.arm import Arm
from sporecount.trial.blind import KeyRow
from sporecount.trial.errors import TrialError
from sporecount.trial.followed.pairs import pair_fields, when_of, with_table
from sporecount.trial.followed.table import by_slide, checked_fields
from sporecount.trial.judge import judge
from sporecount.trial.misread import MisreadRates
from sporecount.trial.plan import Trial
from sporecount.trial.result import ArmResult
from sporecount.trial.table_file import read_followed

PLAN = Trial(
    "followed",
    (Arm("water", "water", "water"), Arm("bleach", "treated", "hypochlorite"),
     Arm("lamp", "treated", "uv-c")),
)  # fmt: skip


def fields(**counts: list[tuple[int, int, int, int]]) -> pd.DataFrame:
    """Return a table of fates: of each arm a tuple for each slide."""
    rows = [
        (arm, f"{arm} {n}", *one) for arm, slides in counts.items() for n, one in enumerate(slides)
    ]
    return pd.DataFrame(rows, columns=["arm", "slide", "intact", "damaged", "fragment", "gone"])


def slides(bleach: int = 3) -> pd.DataFrame:
    rows = [
        (arm, f"{arm} {n}", 50 - broken, broken + n % 2, 0)
        for arm, broken in (("water", 2), ("bleach", bleach), ("lamp", 2))
        for n in range(4)
    ]
    return pd.DataFrame(rows, columns=["arm", "slide", "intact", "damaged", "fragment"])


HARMED = fields(
    water=[(30, 1, 0, 1), (28, 0, 0, 2), (33, 1, 0, 0), (25, 0, 0, 1)],
    bleach=[(8, 9, 8, 6), (6, 10, 9, 5), (10, 8, 7, 8), (7, 9, 10, 4)],
    lamp=[(29, 1, 0, 1), (30, 0, 0, 0), (27, 1, 0, 1), (31, 0, 0, 1)],
)


def followed(table: pd.DataFrame, arm: str, **more: object) -> ArmResult:
    return judge(slides(), PLAN, followed=table, **more).arm(arm)  # type: ignore[arg-type]


def test_shares_are_means_of_slides_and_add_up() -> None:
    """By hand: each slide counts the same, whatever its number of spores."""
    fates = followed(fields(water=[(10, 0, 0, 0), (50, 0, 0, 50)]), "water").followed
    assert fates is not None
    assert fates.shares["gone"].share == pytest.approx((0 + 0.5) / 2)
    assert sum(one.share for one in fates.shares.values()) == pytest.approx(1)
    assert (fates.slides, fates.spores) == (2, 110)
    for one in fates.shares.values():
        assert one.low <= one.share <= one.high
        assert one.corrected == one.share  # people followed
        assert one.corrected_low == pytest.approx(one.low)


def test_harm_is_compared_with_the_followed_control() -> None:
    bleach = followed(HARMED, "bleach").followed
    assert bleach is not None
    assert bleach.harmed.p_adjusted < 0.01
    assert bleach.harmed.effect_low > 0.4
    assert bleach.shows_harm(0.05)
    lamp = followed(HARMED, "lamp")
    assert lamp.followed is not None
    assert not lamp.followed.shows_harm(0.05)
    assert lamp.verdict.code == "looks don't settle this"
    assert not any("fail" in line for line in lamp.verdict.sentences)


def test_arms_swapped_give_the_mirrored_effect() -> None:
    there = followed(HARMED, "bleach").followed
    swapped = HARMED.replace({"arm": {"water": "bleach", "bleach": "water"}})
    back = followed(swapped, "bleach").followed
    assert there is not None
    assert back is not None
    assert back.harmed.effect == pytest.approx(-there.harmed.effect)
    assert back.harmed.effect_low == pytest.approx(-there.harmed.effect_high, abs=1e-6)
    assert not back.shows_harm(0.05)


def test_where_followed_spores_and_slides_disagree_it_is_said() -> None:
    open_case = followed(HARMED, "bleach")  # the slides' own broken share is the control's
    assert open_case.verdict.code in ("can't tell yet", "no visible breakage shown")
    assert any("the stronger sign" in line for line in open_case.verdict.sentences)
    none = fields(water=[(30, 0, 0, 1)] * 3, bleach=[(29, 1, 0, 1)] * 3)
    breaks = judge(slides(40), PLAN, followed=none).arm("bleach")
    assert breaks.verdict.code == "breaks"
    assert any("too few, or too alike" in line for line in breaks.verdict.sentences)


def test_misreading_is_allowed_for_only_where_a_detector_followed() -> None:
    """A third of the damaged called intact, by hand: damaged 20 of 100 were really 30."""
    rates = MisreadRates(((1000, 0, 0, 0), (333, 667, 0, 0), (0, 0, 100, 0)))
    table = fields(water=[(80, 20, 0, 0)] * 4)
    machine = table.assign(before="a.jpg", after="b.jpg")
    by_hand = followed(table, "water", rates=rates).followed
    corrected = followed(machine, "water", rates=rates).followed
    reviewed = followed(machine.assign(reviewed=True), "water", rates=rates).followed
    assert by_hand is not None
    assert corrected is not None
    assert reviewed is not None
    assert corrected.shares["damaged"].corrected == pytest.approx(0.3, abs=0.003)
    assert corrected.shares["damaged"].share == 0.2
    assert by_hand.shares["damaged"].corrected == 0.2
    assert reviewed.shares["damaged"].corrected == 0.2
    wide = corrected.shares["damaged"]
    assert wide.corrected_high - wide.corrected_low > wide.high - wide.low


def test_fields_left_out_and_spores_not_matched_are_said() -> None:
    table = HARMED.assign(status="followed", outside=2, crowded=1, unclear=3, new=0)
    lost = pd.DataFrame([{"arm": "bleach", "slide": "bleach 0", "status": "left out"}])
    arm = followed(pd.concat([table, lost], ignore_index=True), "bleach")
    words = " ".join(arm.verdict.sentences)
    assert "24 more could not be matched: 8 at the edge" in words
    assert "fewer may be intact than is said" in words
    assert "1 of 5 fields left out" in words
    assert "changed most are the likeliest" in words
    assert arm.followed is not None
    assert dict(arm.followed.unmatched) == {"outside": 8, "crowded": 4, "unclear": 12}


def test_many_new_spores_are_a_warning_and_few_are_not() -> None:
    for new, is_said in ((1, False), (9, True)):
        words = followed(HARMED.assign(new=new), "water").followed
        assert words is not None
        assert any("had not been found before" in line for line in words.sentences) == is_said


def test_without_a_followed_control_nothing_is_compared() -> None:
    arm = followed(HARMED[HARMED["arm"] == "bleach"], "bleach")
    assert arm.followed is not None
    assert math.isnan(arm.followed.harmed.effect)
    assert any("No spores of 'water' were followed" in one for one in arm.followed.sentences)


def test_one_slide_an_arm_is_described_and_not_compared() -> None:
    table = fields(water=[(30, 0, 0, 1)], bleach=[(5, 10, 10, 5)])
    fates = followed(table, "bleach").followed
    assert fates is not None
    assert math.isnan(fates.shares["gone"].low)
    assert "With one slide" in fates.sentences[1]


def test_a_field_where_nothing_could_be_matched_is_no_zero() -> None:
    table = fields(bleach=[(0, 0, 0, 0)]).assign(unmatched=5, unclear=5)
    fates = followed(table, "bleach").followed
    assert fates is not None
    assert fates.shares == {}
    assert "5 more could not be matched" in fates.sentences[0]


def test_arms_csv_holds_the_fates() -> None:
    table = judge(slides(), PLAN, followed=HARMED).arms_table.set_index("arm")
    assert table.loc["bleach", "followed"] == 124
    assert table.loc["bleach", "followed_intact"] == pytest.approx(0.25, abs=0.01)
    assert table["followed_effect"].isna().tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"gone": 1.5}, "whole number"), ({"gone": -1}, "whole number"),
        ({"arm": "gin"}, "no such arm"), ({"gone": None}, "whole number"),
    ],
)  # fmt: skip
def test_counts_that_make_no_sense_are_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(TrialError, match=message):
        judge(slides(), PLAN, followed=HARMED.assign(**change))
    with pytest.raises(TrialError, match="there is no gone"):
        judge(slides(), PLAN, followed=HARMED.drop(columns="gone"))


def test_fields_of_one_slide_are_one_slide() -> None:
    table = checked_fields(
        pd.concat([fields(water=[(1, 2, 3, 4)]), fields(water=[(10, 20, 30, 40)])]),
        {"water": "water"},
    )
    summed = by_slide(table)
    assert summed[["intact", "damaged", "fragment", "gone"]].to_numpy().tolist() == [
        [11, 22, 33, 44]
    ]


# Which photos are pairs


def files(*names: str) -> list[PhotoFile]:
    return [PhotoFile(Path(name), name) for name in names]


def row(
    number: int, slide: str, when: str = "", field: str = "", arm: str = ""
) -> dict[str, object]:
    return {"row": number, "slide": slide, "when": when, "field": field, "arm": arm}


KEY = [KeyRow("HKT", "bleach", "bleach 1"), KeyRow("JJX", "water", "water 1")]
ARMS = ["water", "bleach"]


def test_pairs_are_found_by_slide_and_field_and_decoded() -> None:
    sheet = {
        "a.jpg": row(2, "HKT", "before", "1"), "b.jpg": row(3, "hkt", "After", "1"),
        "c.jpg": row(4, "HKT", "before", "2"), "d.jpg": row(5, "JJX", "before"),
        "e.jpg": row(6, "JJX", "after"), "f.jpg": row(7, "JJX"),
    }  # fmt: skip
    pairs = pair_fields(files(*sheet), sheet, ARMS, KEY)
    names = [(p.arm, p.field, p.before and p.before.name, p.after and p.after.name) for p in pairs]
    assert names == [
        ("water", "", "d.jpg", "e.jpg"),
        ("bleach", "1", "a.jpg", "b.jpg"),
        ("bleach", "2", "c.jpg", None),
    ]


def test_two_photos_of_one_field_at_one_time_are_refused() -> None:
    sheet = {"a.jpg": row(2, "HKT", "before", "1"), "b.jpg": row(3, "HKT", "before", "1")}
    with pytest.raises(SheetError, match=r"another photo of it before treatment, a\.jpg"):
        pair_fields(files(*sheet), sheet, ARMS, KEY)
    with pytest.raises(SheetError, match="'later'"):
        when_of({"row": 2, "when": "later"})


def test_a_table_of_pairs_says_the_same_as_the_sheet() -> None:
    table = pd.DataFrame({"slide": ["HKT"], "before": ["A.JPG"], "after": ["b"]})
    sheet = {"p/b.jpg": row(3, "HKT")}
    rows = with_table(sheet, table, ["p/a.jpg", "p/b.jpg"])
    assert when_of(rows["p/a.jpg"]) == "before"
    pairs = pair_fields(files("p/a.jpg", "p/b.jpg"), rows, ARMS, KEY)
    assert [(p.arm, p.slide) for p in pairs] == [("bleach", "bleach 1")]
    assert pairs[0].after is not None
    with pytest.raises(SheetError, match="no such photo"):
        with_table(sheet, table, ["p/b.jpg"])


def test_tables_of_pairs_and_of_fates_are_read(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text("slide,before,after\nHKT,a.jpg,b.jpg\n", "utf-8")
    assert list(read_followed(path)["after"]) == ["b.jpg"]
    path.write_text(
        "arm;slide;intact;damaged;fragment;gone;status;before\nwater;1;3;1;0;2;followed;\n"
        "water;2;;;;;left out;a.jpg\n", "utf-8",
    )  # fmt: skip
    table = read_followed(path)
    assert table["gone"].tolist()[0] == 2
    assert math.isnan(table["gone"].tolist()[1])
    path.write_text("arm,slide,intact,damaged,fragment,gone\nwater,1,3,1,0,\n", "utf-8")
    with pytest.raises(SheetError, match="row 2, gone ''"):
        read_followed(path)


# Pictures


def spores(*places: tuple[float, float, str]) -> pd.DataFrame:
    table = pd.DataFrame(places, columns=["x_um", "y_um", "fate"])
    return table.assign(
        arm="bleach", slide="1", before="a.jpg", after="b.jpg", state_before="intact",
        after_x_um=table["x_um"], after_y_um=table["y_um"],
    )  # fmt: skip


def test_the_spore_that_lies_alone_is_shown_and_not_at_the_edge() -> None:
    table = spores(
        (0, 0, "intact"), (200, 200, "gone"), (100, 100, "intact"), (150, 150, "intact"),
        (155, 150, "intact"),
    )  # fmt: skip
    found = most_apart(table, "intact")
    assert found is not None
    assert (found["x_um"], found["y_um"]) == (100, 100)
    assert most_apart(table, "fragment") is None


def test_pictures_show_before_and_after_and_a_photo_that_is_gone_shows_none() -> None:
    photo = np.full((300, 300, 3), 200, np.uint8)
    table = spores((100, 100, "intact"), (150, 150, "gone"))
    shown = before_after(table, {"a.jpg": 1.0, "b.jpg": 1.0}, lambda name: photo)
    assert [(arm, [one["fate"] for one in own]) for arm, own in shown] == [
        ("bleach", ["still intact", "gone"])
    ]
    assert shown[0][1][0]["wide"] == 2 * 160 + 4
    assert before_after(table, {"a.jpg": 1.0}, lambda name: photo) == []
    assert before_after(pd.DataFrame(), {}, lambda name: photo) == []
