"""The report of a sample: one file, nothing loaded, every name harmless, every number as given."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sporecount.counts.loadclass import class_range
from sporecount.decision import texts
from sporecount.decision.decide import Decision, decide
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, empty_detections
from sporecount.literature import TAPE_MM2
from sporecount.load.estimate import CHECKED_BY_HAND
from sporecount.report.html import sources
from sporecount.report.html.charts import class_chances, load_line
from sporecount.report.html.pictures import (
    CROP_PX,
    CROP_UM,
    LEAST_SURE,
    SUREST,
    data_uri,
    gallery,
    reduced,
)
from sporecount.report.html.sample import SampleData, sample_report, write_sample_report
from sporecount.report.html.words import chance, measure, visible, whole
from sporecount.settings import CountSettings, Settings
from sporecount.tape.layout import PLACEMENT_COLUMNS, Layout
from sporecount.tape.pose import Pose
from sporecount.tape.tape import FIELD_COLUMNS, Tape
from sporecount.tape.union import UNITED_COLUMNS

#: Names that break careless pages: markup, quotes, emoji, right-to-left, hidden letters.
ODD = (
    "<script>alert(1)</script>.jpg",
    "\"><img src=x onerror='alert(2)'>.png",
    "🦋 Flügel & Co {{ 7*7 }} {% raw %}.tif",
    "דגימה 12 عينة.jpg",
    "wing\u202egpj.exe",
    "new\nline\x00.jpg",
    "half \udcff letter.jpg",
)

#: Elements that have no end.
VOID = {"meta", "img", "br", "rect", "line", "path", "circle"}


class Page(HTMLParser):
    """A page taken apart, which must be well nested."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.pieces.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.pieces))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def ring(x: float, y: float, r: float = 9.0) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    return np.column_stack([x + 1.4 * r * np.cos(turn), y + r * np.sin(turn)])


def finds(photos: list[str], per_photo: int, state: str = INTACT) -> pd.DataFrame:
    rng = np.random.default_rng(2)
    rows = []
    for photo in photos:
        for _ in range(per_photo):
            x, y = rng.uniform(20, 380, 2)
            row: dict[str, Any] = dict.fromkeys(UNITED_COLUMNS, 1.0)
            row |= {"photo": photo, "group": 0, "x_px": x, "y_px": y, "state": state, "seen_in": 1,
                    "confidence": rng.uniform(0.65, 1.0), "length_um": 12.6, "width_um": 8.1,
                    "outline_px": ring(x, y)}  # fmt: skip
            rows.append(row)
    if not rows:
        return pd.DataFrame({n: pd.Series([], dtype=k) for n, k in UNITED_COLUMNS.items()})
    return pd.DataFrame(rows, columns=list(UNITED_COLUMNS)).astype(UNITED_COLUMNS)


def tape_of(photos: list[str], detections: pd.DataFrame, notes: tuple[str, ...] = ()) -> Tape:
    places = pd.DataFrame(
        {"photo": photos, "sha256": ["ab" * 32] * len(photos), "group": 0, "x_um": 0.0,
         "y_um": 0.0, "angle_deg": 0.0, "certain": True, "repeats_of": "", "notes": ""}
    ).astype(PLACEMENT_COLUMNS)  # fmt: skip
    spores = [int((detections["photo"] == photo).sum()) for photo in photos]
    fields = pd.DataFrame(
        {"photo": photos, "group": 0, "examined_mm2": 2.5, "spores": spores, "counted": True}
    ).astype(FIELD_COLUMNS)
    layout = Layout(places, [Pose()] * len(photos), np.zeros((1, 1), bool), 0.0, pd.DataFrame(), ())
    area = 2.5 * len(photos)
    found = detections.assign(counted=True)
    return Tape(layout, found, fields, sum(spores), area, sum(spores), area, (), notes)


def data_of(
    photos: list[str],
    per_photo: int,
    *,
    sample: str = "Willow 7",
    notes: tuple[str, ...] = (),
    settings: Settings | None = None,
) -> SampleData:
    settings = settings or Settings()
    detections = finds(photos, per_photo)
    tape = tape_of(photos, detections, notes)
    decision: Decision = decide(tape.fields, TAPE_MM2, rates=CHECKED_BY_HAND, settings=settings)
    row = {"sample": sample, "status": "counted", "reason": "", "photos": len(photos),
           "spores_low": 3, "spores_high": 77, **decision.estimate.as_row(),
           "decision": decision.outcome, "more_fields": decision.more_fields}  # fmt: skip
    facts = [{"photo": photo, "sha256": f"{n:064x}", "um_per_px": 0.9, "scale_source": "given",
              "status": "counted"} for n, photo in enumerate(photos)]  # fmt: skip
    pixels = np.random.default_rng(4).integers(90, 230, (400, 400, 3)).astype(np.uint8)
    return SampleData(
        row=row,
        made_at="2026-07-04",
        photos=facts,
        tape=tape,
        decision=decision,
        layout=np.full((300, 400, 3), 200, np.uint8),
        crops=gallery(tape.detections, dict.fromkeys(photos, 0.9), lambda _: pixels),
        settings=settings,
    )


REFUSED = SampleData(
    row={"sample": ODD[0], "status": "refused", "reason": "none of the photos is sharp"},
    made_at="2026-07-04",
    photos=[{"photo": ODD[1], "sha256": "cd" * 32, "reason": "blurred", "status": "refused"}],
)

CASES = {
    "many": data_of(["a.jpg", "b.jpg"], 1000),
    "some": data_of(["a.jpg", "b.jpg", "c.jpg"], 7),
    "none": data_of(["a.jpg", "b.jpg", "c.jpg"], 0),
    "one": data_of(["a.jpg"], 1),
    "odd": data_of(list(ODD), 2, sample=ODD[1], notes=tuple(f"{name} is odd" for name in ODD)),
    "refused": REFUSED,
}
PAGES = {name: sample_report(data) for name, data in CASES.items()}


@pytest.fixture(params=list(CASES))
def case(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_the_page_is_well_nested_and_says_what_it_is(case: str) -> None:
    page = Page(PAGES[case])
    assert PAGES[case].startswith("<!doctype html>")
    assert page.all("html")[0]["lang"] == "en"
    assert len(page.all("h1")) == 1
    assert "width=device-width" in str([m for m in page.all("meta") if m.get("name") == "viewport"])


def test_nothing_is_loaded_and_nothing_runs(case: str) -> None:
    page = Page(PAGES[case])
    assert not {"script", "link", "iframe", "object", "embed", "form", "base"} & {
        tag for tag, _ in page.tags
    }
    for tag, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on") or name == "style"], tag
        for name in ("src", "href", "srcset", "action", "xlink:href"):
            if name in attributes:
                assert str(attributes[name]).startswith(("#", "data:image/jpeg;base64,"))
    assert "@import" not in PAGES[case]
    assert re.findall(r"url\((?!#)", PAGES[case]) == []


def test_the_policy_names_the_very_style_that_is_there(case: str) -> None:
    page = Page(PAGES[case])
    policy = next(m["content"] for m in page.all("meta") if "http-equiv" in m)
    style = re.search(r"<style>(.*?)</style>", PAGES[case], re.S)
    assert style
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy is not None
    assert "default-src 'none'" in policy
    assert f"style-src 'sha256-{digest}'" in policy
    assert "script-src" not in policy


def test_pictures_have_texts_and_links_have_targets(case: str) -> None:
    page = Page(PAGES[case])
    assert all(image.get("alt") for image in page.all("img"))
    assert all(picture.get("aria-label") for picture in page.all("svg"))
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    wanted = [str(a["href"])[1:] for a in page.all("a")]
    wanted += [str(a["aria-labelledby"]) for _, a in page.tags if "aria-labelledby" in a]
    assert set(wanted) <= {str(name) for name in ids}


def test_headings_go_down_one_step_at_a_time(case: str) -> None:
    levels = [int(tag[1]) for tag, _ in Page(PAGES[case]).tags if re.fullmatch(r"h\d", tag)]
    # The box that is to be read first, the result and the rest are all of second rank.
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:]))


def test_every_cell_of_a_table_has_headings(case: str) -> None:
    page = Page(PAGES[case])
    assert all(heading.get("scope") in {"col", "row", "rowgroup"} for heading in page.all("th"))


def test_odd_names_are_shown_and_do_nothing() -> None:
    page = Page(PAGES["odd"])
    for name in ODD:
        assert re.sub(r"\s+", " ", visible(name)) in page.text
    assert "49" not in re.findall(r"Co ([^.]*)\.tif", page.text)[0]
    assert not [a for _, a in page.tags if "onerror" in a]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00]", PAGES["odd"])


def test_odd_names_can_be_written(tmp_path: Path) -> None:
    file = tmp_path / "report ü.html"
    write_sample_report(file, CASES["odd"])
    assert file.read_bytes().decode("utf-8") == PAGES["odd"]
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


@pytest.mark.parametrize("name", ["many", "some", "none", "one"])
def test_the_numbers_are_those_of_the_row(name: str) -> None:
    row, page = CASES[name].row, Page(PAGES[name])
    shown = dict(
        re.findall(r'<tr><th scope="row">([^<]*)</th><td class="number">([^<]*)</td>', PAGES[name])
    )
    assert shown["Spores counted"] == whole(row["spores"])
    assert shown["Spores really there"] == "3 to 77"
    assert shown["Area seen"] == measure(row["examined_mm2"], "mm²")
    assert shown["Spores on the whole tape"] == whole(row["tape_spores"])
    assert (
        shown["Limits for the whole tape"]
        == f"{whole(row['tape_low'])} to {whole(row['tape_high'])}"
    )
    assert shown["Load class"] == str(row["load_class"])
    likely = chance(row[f"p_class_{row['load_class']}"])
    assert f"{row['load_class']} (most likely, {likely})" in page.text
    told = str([svg["aria-label"] for svg in page.all("svg")])
    for load in range(6):
        assert f"class {load} ({class_range(load)}) {chance(row[f'p_class_{load}'])}" in told


@pytest.mark.parametrize("name", ["many", "some", "none", "one"])
def test_the_decision_is_there_word_for_word(name: str) -> None:
    decision, page = CASES[name].decision, Page(PAGES[name])
    assert decision is not None
    assert decision.outcome.capitalize() in page.text
    for text in (decision.meaning, *decision.remarks, *decision.choices, *texts.CAUTIONS):
        assert text in page.text


def test_each_photo_has_its_line_and_its_hash() -> None:
    page = Page(PAGES["some"])
    for number, photo in enumerate(CASES["some"].photos, 1):
        assert f"{number}. {photo['photo']}" in page.text
        assert str(photo["sha256"]) in page.text
    assert page.text.count("2.5 mm²") == 3


def test_a_refused_sample_shows_no_number_and_no_decision() -> None:
    page = Page(PAGES["refused"])
    assert "None of the photos is sharp." in page.text
    assert "That is not a zero" in page.text
    assert page.all("svg") == []
    assert not [outcome for outcome in texts.OUTCOMES if outcome.capitalize() in page.text]


def test_no_spores_are_said_to_be_no_zero() -> None:
    page = Page(PAGES["none"])
    assert "No spore seen is no zero" in page.text
    assert "none seen, which is no zero" in page.text
    assert "about 0" not in page.text
    assert "there is nothing to show" in page.text


def test_warnings_stand_above_the_result() -> None:
    page = sample_report(data_of(["a.jpg"], 2, notes=("2 parts of the layout may overlap",)))
    assert page.index("2 parts of the layout may overlap.") < page.index('aria-label="Result"')


def test_only_what_is_no_doubt_stands_below_the_numbers() -> None:
    calm, doubt = "9 fields that touch in part count as 1 place", "a note nobody foresaw"
    page = sample_report(data_of(["a.jpg"], 2, notes=(calm, doubt)))
    assert page.index("A note nobody foresaw.") < page.index('aria-label="Result"')
    assert page.index(f"{calm}.") > page.index('id="numbers"')


def test_the_settings_that_differ_are_named() -> None:
    settings = Settings(count=CountSettings(level=0.8))
    page = Page(sample_report(data_of(["a.jpg"], 2, settings=settings)))
    assert "count.level = 0.8 (usually 0.95)" in page.text
    assert "80 % limits" in page.text
    assert "95 %" not in page.text
    assert "All settings are the usual ones" in Page(PAGES["some"]).text


def test_cells_that_are_missing_are_not_known() -> None:
    data = SampleData({"sample": "A", "status": "counted", "spores": 0}, "2026-07-04")
    page = Page(sample_report(data))
    assert "Limits for the whole tapenot known" in page.text
    assert page.all("svg") == []


def test_two_thousand_finds_stay_a_small_file() -> None:
    assert len(CASES["many"].crops) == 12
    assert len(PAGES["many"]) < 1_000_000


def test_a_large_layout_is_reduced() -> None:
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 255, (300, 400, 3)).astype(np.uint8)
    large = np.kron(noise, np.ones((8, 8, 1), np.uint8))
    small = reduced(large)
    assert small.shape == (1350, 1800, 3)
    assert len(data_uri(small)) < 6_000_000
    assert large.shape == (2400, 3200, 3)


def test_the_gallery_holds_the_surest_and_the_least_sure() -> None:
    found = pd.concat([finds(["a"], 30), finds(["a"], 3, DAMAGED), finds(["a"], 1, FRAGMENT)])
    found = found.reset_index(drop=True)
    crops = gallery(found, {"a": 0.9}, lambda _: np.full((400, 400, 3), 200, np.uint8), 4)
    order = np.sort(found.loc[found["state"] == INTACT, "confidence"])[::-1]
    intact = [crop for crop in crops if crop.state == INTACT]
    assert [crop.which for crop in intact] == [SUREST] * 4 + [LEAST_SURE] * 4
    np.testing.assert_allclose(
        [crop.confidence for crop in intact], [*order[:4], *order[-4:]], rtol=1e-12
    )
    kinds = [(crop.state, crop.which) for crop in crops if crop.state != INTACT]
    assert kinds == [(DAMAGED, SUREST)] * 2 + [(DAMAGED, LEAST_SURE)] + [(FRAGMENT, SUREST)]


def test_finds_that_are_not_counted_are_not_in_the_gallery() -> None:
    found = finds(["a"], 5).assign(counted=[True, False, False, True, False])
    crops = gallery(found, {"a": 0.9}, lambda _: np.full((400, 400, 3), 200, np.uint8))
    assert sorted(c.x_px for c in crops) == sorted(found.loc[found["counted"], "x_px"])


@pytest.mark.parametrize("um_per_px", [0.2, 0.45, 1.2])
def test_all_crops_are_at_one_scale_with_the_find_in_the_middle(um_per_px: float) -> None:
    side = round(200 / um_per_px)
    pixels = np.full((side, side, 3), 220, np.uint8)
    x, y = 0.4 * side, 0.55 * side
    rows, columns = np.mgrid[:side, :side]
    # A disc of 12 um: it has to be as large in each crop, whatever the photo's scale.
    pixels[np.hypot(columns - x, rows - y) < 6 / um_per_px] = 60
    found = finds(["a"], 1)
    found["x_px"], found["y_px"] = x, y
    kept = pixels.copy()
    (crop,) = gallery(found, {"a": um_per_px}, lambda _: pixels)
    dark = crop.picture[: CROP_PX - 20, :CROP_PX, 0] < 140
    middle = [float(part.mean()) for part in np.nonzero(dark)]
    across = 2 * np.sqrt(dark.sum() / np.pi) * CROP_UM / CROP_PX
    assert across == pytest.approx(12, abs=0.7)
    np.testing.assert_allclose(middle, (CROP_PX - 1) / 2, atol=2)
    np.testing.assert_array_equal(pixels, kept)


def test_each_photo_is_asked_for_once_and_may_be_missing() -> None:
    asked: list[str] = []

    def pixels_of(name: str) -> np.ndarray | None:
        asked.append(name)
        return None if name == "b" else np.full((400, 400, 3), 200, np.uint8)

    crops = gallery(finds(["a", "b"], 3), {"a": 0.9, "b": 0.9}, pixels_of)
    assert sorted(asked) == ["a", "b"]
    assert {crop.photo for crop in crops} == {"a"}
    assert gallery(empty_detections().assign(photo=[]), {}, pixels_of) == ()


def test_the_pictures_in_the_page_are_pictures() -> None:
    uris = [str(image["src"]) for image in Page(PAGES["some"]).all("img")]
    sizes = {Image.open(io.BytesIO(base64.b64decode(uri.split(",")[1]))).size for uri in uris}
    assert sizes == {(400, 300), (2 * CROP_PX + 4, CROP_PX)}


def test_bars_are_as_long_as_the_chances() -> None:
    chart = str(class_chances([0.5, 0.25, 0.125, 0.125, 0.0, 0.0], 0))
    wide = [float(w) for w in re.findall(r'y="\d+" width="([\d.]+)" height="20"', chart)]
    np.testing.assert_allclose(wide[0] / np.array(wide[1:4]), [2, 4, 4], rtol=0.01)
    assert wide[4:] == [0.0, 0.0]
    # The longest words end within the picture, at 9 for a bold letter of a wide font.
    sure = str(class_chances([0.0] * 5 + [1.0], 5))
    start = float(re.findall(r'<text x="([\d.]+)"[^>]*>above 99.9 %', sure)[0])
    assert start + 9 * len("above 99.9 %") <= 380
    assert chart.count("url(#hatch)") == 5


def test_the_line_reaches_from_limit_to_limit() -> None:
    path = r'<path d="M([\d.]+) 44H([\d.]+)M'
    at = re.search(path, str(load_line(20, 60, 100)))
    wider = re.search(path, str(load_line(0, 60, 1000)))
    assert at
    assert wider
    assert float(wider[1]) < float(at[1]) < float(at[2]) < float(wider[2])


def test_the_sources_are_entries_of_the_bibliography() -> None:
    text = (Path(__file__).parent.parent / "docs/bibliography.md").read_text("utf-8")
    assert {key for key in sources.SOURCES if f"**[{key}]**" not in text} == set()
    cited = set(re.findall(r"<code>\[(\w+)\]</code>", PAGES["some"]))
    assert cited == set(sources.SAMPLE_KEYS)
