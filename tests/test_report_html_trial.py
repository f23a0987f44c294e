"""The page of a trial: complete in itself, every slide a point, every name escaped."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sporecount.detect.table import COLUMNS
from sporecount.report.html import sources, trial_rows
from sporecount.report.html.trial import TrialData, trial_report, write_trial_report
from sporecount.report.html.trial_charts import Line, density_lines, share_lines
from sporecount.report.html.trial_fates import fates
from sporecount.report.html.trial_shapes import shapes, sizes
from sporecount.trial.cautions import ALWAYS
from sporecount.trial.judge import judge
from sporecount.trial.method import SOURCES
from sporecount.trial.plan import Arm, Trial

BAD = '<script>alert("x")</script>'


NAN = math.nan

EGGS = pd.DataFrame(
    {"arm": ["water", "bleach"] * 4, "batch": list("11223344"), "dipped": [50] * 8,
     "hatched": [45, 15] * 4}
)  # fmt: skip
FED = pd.DataFrame(
    {"arm": ["water", "lamp"], "batch": ["1", "1"], "fed": [20, 20], "adults": [18, 19],
     "infected": [15, 0]}
)  # fmt: skip


class Page(HTMLParser):
    """The tags and the words of a page, and whether tags are well nested."""

    VOID = ("meta", "img", "br", "line", "rect", "path", "circle")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.pieces.append(data)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.pieces))


def made(name: str = "bleach", **values: object) -> TrialData:
    arms = (
        Arm("water", "water", "water"),
        Arm(
            name, "treated", "hypochlorite", label_strength_pct=6.0, dilution="1 + 19", seconds=300
        ),
        Arm("lamp", "treated", "uv-c", watts=15.0),
    )
    trial = Trial(name=f"Shed {BAD}", arms=arms, slides_per_arm=4, spores_per_slide=50)
    rows = []
    for arm, broken in (("water", 4), (name, 38), ("lamp", 5)):
        for slide in range(4):
            rows.append(
                {
                    "arm": arm,
                    "slide": f"{arm}-{slide}",
                    "intact": 60 - broken - slide,
                    "damaged": broken + slide,
                    "fragment": slide,
                    "area_mm2": 0.8,
                }
            )
    eggs, fed = (table.replace("bleach", name) for table in (EGGS, FED))
    result = judge(pd.DataFrame(rows), trial, eggs=eggs, feeding=fed)
    return TrialData(trial, result, **values)  # type: ignore[arg-type]


def test_the_page_holds_every_verdict_and_caution_once_and_loads_nothing(tmp_path: Path) -> None:
    data = made()
    write_trial_report(tmp_path / "t.html", data)
    text = (tmp_path / "t.html").read_text("utf-8")
    page = Page(text)
    assert not page.open
    assert data.result.arm("bleach").verdict.code == "breaks"
    for one in data.result.arms:
        for line in one.verdict.sentences:
            assert page.text.count(line) == 1 or line == trial_rows.NO_STANDARD
        for caution in one.cautions:
            assert page.text.count(caution) == 1
    assert page.text.count(ALWAYS[0]) == 1
    assert "ammonia" in page.text
    assert not re.search(r"""(src|href)\s*=\s*["'](https?:)?//""", text)
    assert "<script" not in text
    named = {attrs["id"] for _, attrs in page.tags if "id" in attrs}
    asked = {a["href"] for tag, a in page.tags if tag == "a"}
    assert {str(one)[1:] for one in asked} <= named


def test_every_verdict_stands_before_the_design_and_the_pictures() -> None:
    text = trial_report(made())
    places = [text.index(f'id="{name}"') for name in ("short", "verdicts", "cautions", "design")]
    assert places == sorted(places)
    assert places[-1] < text.index("<svg")


def test_where_looks_settle_nothing_the_headline_asks_for_a_feeding_test() -> None:
    data = made()
    slides = data.result.slides_table
    alone = judge(slides[["arm", "slide", "intact", "damaged", "fragment"]], data.trial)
    assert trial_rows.headline(alone.arm("lamp")) == "looks don't settle this: feeding test"
    assert trial_rows.headline(data.result.arm("lamp")) == "looks don't settle this"
    assert "failed" not in Page(trial_report(TrialData(data.trial, alone))).text.split("Design")[
        0
    ].replace("does not say that it failed", "")


def test_names_are_escaped_wherever_they_stand() -> None:
    text = trial_report(made(name=BAD))
    assert BAD not in text
    assert "alert(" in text
    assert not [tag for tag, _ in Page(text).tags if tag == "script"]


def test_every_slide_is_a_point_and_a_row() -> None:
    text = trial_report(made())
    assert text.count("<circle") == 2 * 12  # shares and densities; no finds, so no sizes
    for slide in range(4):
        for arm in ("water", "bleach", "lamp"):
            assert text.count(f'<th scope="row"><bdi>{arm}-{slide}</bdi></th>') == 1


def test_the_design_tells_what_was_done_and_what_nobody_wrote_down() -> None:
    data = made()
    bleach, lamp = (trial_rows.design(data.trial, data.result.arm(n)) for n in ("bleach", "lamp"))
    assert "0.3 % active" in bleach["strength"]
    assert "6 % on the label" in bleach["strength"]
    assert bleach["time"] == "300 s (5 min)"
    assert lamp["dose"] == "15 W, distance: not written down"
    assert lamp["time"] == "not written down"
    assert bleach["slides"] == "4 of 4"


def test_points_stand_where_their_shares_are() -> None:
    svg = str(share_lines([Line("a", "", [0.0, 1.0, NAN], 0.5, 0.25, 0.75)], "told", 0.5))
    at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
    assert at == [14.0, 366.0]
    line = re.search(r'd="M([\d.]+) 30H([\d.]+)', svg)
    assert line is not None
    assert [float(x) for x in line.groups()] == [102.0, 278.0]
    dotted = re.search(r'x1="([\d.]+)"[^>]*stroke-dasharray', svg)
    assert dotted is not None
    assert float(dotted[1]) == 190.0


def test_densities_are_in_powers_of_ten_and_none_stands_apart() -> None:
    svg = str(density_lines([Line("a", "", [1.0, 10.0, 100.0])], "told"))
    assert [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)] == [14.0, 190.0, 366.0]
    with_none = density_lines([Line("a", "", [1.0, 10.0, 100.0]), Line("b", "", [0.0])], "told")
    at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', str(with_none))]
    assert at == [48.0, 207.0, 366.0, 14.0]
    assert ">0</text>" in str(with_none)
    assert density_lines([Line("a", "", [NAN, 0.0])], "told") is None


@pytest.mark.parametrize(("least", "most"), [(3e-4, 7e5), (40.0, 41.0), (1.0, 1.0)])
def test_the_axis_of_densities_can_be_read_and_holds_all(least: float, most: float) -> None:
    svg = str(density_lines([Line("a", "", [least, most])], "told"))
    labels = [float(words) for words in re.findall(r'text-anchor="\w+">([\d.]+)</text>', svg)]
    assert 2 <= len(labels) <= 7
    assert labels == sorted(labels)
    assert labels[0] <= least
    assert all(14 <= float(x) <= 366 for x in re.findall(r'<circle cx="([\d.]+)"', svg))


def test_fates_are_bars_of_the_shares_slide_by_slide() -> None:
    followed = pd.DataFrame(
        {"arm": ["bleach", "bleach", "bleach", "water"], "slide": ["1", "1", "2", "9"],
         "intact": [1, 1, 0, 0], "damaged": [1, 1, 0, 0], "fragment": [0, 0, 3, 0],
         "gone": [0, 4, 1, 0]}
    )  # fmt: skip
    svg = str(fates(followed))
    wide = [float(w) for w in re.findall(r'class="fate"[^>]*width="([\d.]+)"', svg)]
    assert wide == [88.0, 88.0, 176.0, 264.0, 88.0]
    assert "12 spores" in svg
    assert "still intact 2, damaged 2, in pieces 3, gone 5" in svg
    assert fates(followed[followed["arm"] == "water"]) is None
    assert 'id="fates"' in trial_report(made(followed=followed))
    assert 'id="fates"' not in trial_report(made())


def test_eggs_and_feeding_are_drawn_with_their_limits() -> None:
    data = made()
    eggs, fed = trial_rows.egg_lines(data.result), trial_rows.feeding_lines(data.result)
    assert [line.name for line in eggs] == ["water", "bleach"]
    assert eggs[1].label.startswith("60 of 200, 30 % (")
    assert fed[1].label.startswith("0 of 19, 0 % (0 to 18 %")  # Clopper-Pearson: 17.6 %
    text = Page(trial_report(data)).text
    assert "60 of 200 hatched: harms eggs" in text
    assert "0 of 19" in text


def _found(states: list[str]) -> pd.DataFrame:
    rows = []
    for number, state in enumerate(states):
        row: dict[str, object] = dict.fromkeys(COLUMNS, 9.0)
        outline = np.array([[30.0, 40], [40, 30], [50, 40], [40, 50]])
        row.update(x_px=40.0, y_px=40.0, state=state, confidence=0.9, outline_px=outline)
        rows.append({**row, "photo": f"p{number % 2}.png", "arm": "bleach"})
    return pd.DataFrame(rows)


def test_finds_are_drawn_by_state_and_cut_out() -> None:
    found = _found(["intact", "damaged", "fragment", "intact"])
    svg = str(sizes(found))
    assert svg.count("<circle") == 2
    assert svg.count("<path") == 2
    for state in ("intact: 2", "damaged: 1", "pieces: 1"):
        assert state in svg
    text = trial_report(
        made(
            found=found,
            um_per_px={"p0.png": 0.5, "p1.png": 0.5},
            pixels_of=lambda name: np.full((90, 90, 3), 180, np.uint8),
        )
    )
    assert text.count('src="data:image/jpeg') == 4
    without = trial_report(made(found=found))
    assert 'src="data:' not in without
    assert 'id="gallery"' not in without


def test_finds_that_do_not_count_are_in_no_picture() -> None:
    found = _found(["intact"] * 3).assign(counted=[True, False, True])
    text = trial_report(made(found=found))
    assert "intact: 2" in text


def test_shapes_are_bars_of_shares_from_the_least_filled() -> None:
    found = _found(["intact"] * 4).assign(solidity=[1.0, 1.0, 1.0, 0.902])
    bars = re.findall(
        r'y="([\d.]+)" width="[\d.]+" height="([\d.]+)" fill="#1b', str(shapes(found))
    )
    high = [float(h) for _, h in bars]
    assert len(high) == 2
    assert high[1] == pytest.approx(3 * high[0], rel=0.01)
    assert {float(y) + float(h) for y, h in bars} == {110.0}


def test_a_trial_without_photos_says_so_and_asks_for_a_second_count() -> None:
    text = Page(trial_report(made())).text
    assert "Let a second person count" in text
    assert "marked copies" not in text
    assert "marked copies" in Page(trial_report(made(found=_found(["intact"])))).text


def test_doubts_stand_first_and_how_arms_are_compared_does_not() -> None:
    text = trial_report(made(notes=["2 of 9 photos could not be counted"]))
    box = text[text.index('id="first"') : text.index('id="short"')]
    assert "2 of 9 photos could not be counted." in box
    assert "Arms are compared with" not in box
    assert "Arms are compared with" in text


def test_notes_of_an_arm_do_not_spell_its_name_anew() -> None:
    data = made()
    slides = data.result.slides_table
    kept = slides[~slides["slide"].isin(["lamp-2", "lamp-3"])]
    few = judge(kept[["arm", "slide", "intact", "damaged", "fragment"]], data.trial)
    text = Page(trial_report(TrialData(data.trial, few))).text
    assert "Two slides hardly tell" in text
    assert "Lamp:" not in text
    assert "How much slides differ, in lamp" in text


def test_changes_of_density_are_not_claimed_where_limits_reach_over_none() -> None:
    gone = [trial_rows.gone(one.vanished) for one in made().result.arms]
    assert gone[0] == ""
    assert gone[1].endswith("%)")
    assert "fewer" in gone[1]
    assert gone[2].startswith("no sure change (")


def test_sources_of_the_method_are_told_and_in_the_bibliography() -> None:
    written = (Path(__file__).parents[1] / "docs/bibliography.md").read_text("utf-8")
    text = trial_report(made())
    for key in SOURCES:
        assert f"**[{key}]**" in written
        assert sources.SOURCES[key]
        assert f"<code>[{key}]</code>" in text


@pytest.mark.parametrize("drop", ["water", "lamp"])
def test_an_arm_without_slides_still_makes_a_page(drop: str) -> None:
    data = made()
    slides = data.result.slides_table
    kept = slides[slides["arm"] != drop][["arm", "slide", "intact", "damaged", "fragment"]]
    page = Page(trial_report(TrialData(data.trial, judge(kept, data.trial))))
    assert not page.open
    assert "0 of 4" in page.text
    if drop == "water":
        assert "no control" in page.text
