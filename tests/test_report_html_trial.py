"""The page of a trial: complete in itself, every slide a point, every name escaped."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sporecount.detect.table import COLUMNS
from sporecount.report.html.trial import TrialData, trial_report, write_trial_report
from sporecount.report.html.trial_charts import density_dots, share_dots, sizes
from sporecount.trial.judge import judge
from sporecount.trial.plan import Arm, Trial

BAD = '<script>alert("x")</script>'


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
    return TrialData(trial, judge(pd.DataFrame(rows), trial), **values)  # type: ignore[arg-type]


def test_the_page_holds_verdicts_cautions_numbers_and_loads_nothing(tmp_path: Path) -> None:
    data = made()
    write_trial_report(tmp_path / "t.html", data)
    text = (tmp_path / "t.html").read_text("utf-8")
    for one in data.result.arms:
        assert f"</bdi>: {one.verdict.code}".replace("'", "&#39;") in text
    assert data.result.arm("bleach").verdict.code == "breaks"
    assert data.result.arm("lamp").verdict.code != "breaks"
    assert "ammonia" in text
    assert not re.search(r"""(src|href)\s*=\s*["'](https?:)?//""", text)
    assert "<script" not in text


def test_names_are_escaped() -> None:
    text = trial_report(made(name=BAD))
    assert BAD not in text
    assert text.count("&lt;script&gt;") >= 5


def test_every_slide_is_a_point() -> None:
    text = trial_report(made())
    assert text.count("<circle") == 2 * 12  # shares and densities; no finds, so no sizes


def test_points_stand_where_their_shares_are() -> None:
    svg = str(share_dots([("a", [0.0, 1.0, float("nan")], 0.5, 0.25, 0.75)]))
    at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
    assert at == [14.0, 366.0]
    line = re.search(r'x1="([\d.]+)" x2="([\d.]+)" y1="28"', svg)
    assert line is not None
    assert [float(x) for x in line.groups()] == [102.0, 278.0]


def test_densities_are_in_powers_of_ten_and_none_stands_at_the_edge() -> None:
    svg = str(density_dots([("a", [1.0, 10.0, 100.0]), ("b", [0.0])]))
    at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
    assert at == [14.0, 190.0, 366.0, 14.0]
    assert density_dots([("a", [float("nan")])]) is None


def _found(states: list[str]) -> pd.DataFrame:
    rows = []
    for number, state in enumerate(states):
        row = dict.fromkeys(COLUMNS, 9.0)
        outline = np.array([[30.0, 40], [40, 30], [50, 40], [40, 50]])
        row.update(x_px=40.0, y_px=40.0, state=state, confidence=0.9, outline_px=outline)
        rows.append({**row, "photo": f"p{number % 2}.png", "arm": "bleach"})
    return pd.DataFrame(rows)


def test_finds_are_drawn_by_state_and_cut_out() -> None:
    found = _found(["intact", "damaged", "fragment", "intact"])
    svg = str(sizes(found))
    assert svg.count("<circle") == 2
    assert svg.count("<path") == 2
    text = trial_report(
        made(
            found=found,
            um_per_px={"p0.png": 0.5, "p1.png": 0.5},
            pixels_of=lambda name: np.full((90, 90, 3), 180, np.uint8),
        )
    )
    assert text.count('src="data:image/jpeg') == 4
    assert "data:" not in trial_report(made(found=found)).split("</style>")[1].replace(
        "img-src data:", ""
    )


@pytest.mark.parametrize("drop", ["water", "lamp"])
def test_an_arm_without_slides_still_makes_a_page(drop: str) -> None:
    data = made()
    slides = data.result.slides_table
    kept = slides[slides["arm"] != drop][["arm", "slide", "intact", "damaged", "fragment"]]
    text = trial_report(TrialData(data.trial, judge(kept, data.trial)))
    assert "not known" in text or drop in text
