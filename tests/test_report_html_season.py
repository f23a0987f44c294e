"""The report of a season: the log's own numbers, small ones called small, names harmless."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog
from sporecount.rearing.telling import Telling, tell
from sporecount.rearing.trend import Trend
from sporecount.report.html import sources
from sporecount.report.html.charts import whisker
from sporecount.report.html.season import (
    SeasonData,
    season_report,
    trend_words,
    write_season_report,
)
from sporecount.report.html.words import share

ODD_BROOD, ODD_ADULT = "<b>B\"1'</b> & 🦋", "<script>alert(1)</script> דג"


class Page(HTMLParser):
    """The tags and the words of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self._styled = False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._styled = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._styled:
            self.pieces.append(data)

    def handle_endtag(self, tag: str) -> None:
        self._styled = False

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.pieces))


def add_sample(log: RearingLog, name: str, load: int | None) -> None:
    spores = {None: None, 0: 0, 1: 1, 2: 9, 3: 60, 4: 400, 5: 6400}[load]
    row: dict[str, Any] = {"sample": name, "status": "refused" if load is None else "counted"}
    if load is not None:
        row |= {
            "load_class": load,
            "tape_spores": spores,
            "tape_low": spores,
            "tape_high": 2 * (spores or 0) + 3,
            f"p_class_{load}": 0.9,
            "decision": "heavily infected" if load > 3 else "hold and sample again",
        }
    log.record_sample(row)


def fill(log: RearingLog, broods: int = 8) -> None:
    """Washed broods are clean; of others, half the adults are heavily infected."""
    for b in range(broods):
        name = ODD_BROOD if b == 0 else f"B{b}"
        log.add_brood(name, source="egg", plant="milkweed", plant_washed=bool(b % 2), eggs=12)
        for a in range(4):
            adult = ODD_ADULT if (a, b) == (0, 0) else f"{b}-{a}"
            log.add_adult(adult, brood=name, emerged_on=f"2026-0{6 + b % 3}-0{a + 1}")
            add_sample(log, adult, 4 if b % 2 == 0 and a < 2 else a % 2)
    log.decide("1-0", "released <i>", 'R. "K"')
    log.add_adult("not sampled yet", brood="B1")
    add_sample(log, "loose", None)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> tuple[SeasonData, str]:
    with RearingLog.open(tmp_path_factory.mktemp("log") / "log.sqlite3") as log:
        fill(log)
        rows = log.rows()
    data = SeasonData("Summer <2026>", rows, tell(rows), "2026-10-01")
    return data, season_report(data)


def test_names_are_shown_and_do_nothing(season: tuple[SeasonData, str]) -> None:
    page = Page(season[1])
    assert not {"script", "b", "i"} & {tag for tag, _ in page.tags}
    for name in (ODD_BROOD, ODD_ADULT, "Summer <2026>", 'released <i> (R. "K")'):
        assert name in page.text


def test_nothing_is_loaded_and_links_have_targets(season: tuple[SeasonData, str]) -> None:
    page = Page(season[1])
    ids = [str(a["id"]) for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    assert {str(a["href"])[1:] for tag, a in page.tags if tag == "a"} <= set(ids)
    assert [a for _, a in page.tags if "src" in a or "style" in a] == []
    assert all(a.get("aria-label") for tag, a in page.tags if tag == "svg")


def test_every_share_is_that_of_the_log(season: tuple[SeasonData, str]) -> None:
    data, text = season
    page = Page(text)
    table = data.telling.prevalence
    assert set(table["by"]) == {"all", "brood", "plant", "washed", "source", "bathed", "month"}
    for row in table.to_dict("records"):
        words = f"{row['infected']} of {row['adults']}: {share(row['share'])}"
        assert f"{words} ({share(row['low'])} to {share(row['high'])})" in page.text
    assert text.count('class="whisker"') >= len(table)


def test_small_numbers_are_called_small_and_drawn_so(season: tuple[SeasonData, str]) -> None:
    data, text = season
    small = int((data.telling.prevalence["note"] != "").sum())
    assert small > 0
    assert text.count("stroke-dasharray") == small
    assert "Small number: 4 adults." in Page(text).text


def test_hints_comparisons_and_trend_are_told(season: tuple[SeasonData, str]) -> None:
    data, text = season
    page = Page(text)
    assert data.telling.hints
    first = data.telling.hints[0].words
    assert first[0].upper() + first[1:] in page.text
    for row in data.telling.comparisons.to_dict("records"):
        assert f"{row['difference'] * 100:+.0f} points" in page.text
        assert f"{row['p']:.2g}" in page.text
    assert trend_words(data.telling.trends["heavy"]) in page.text


def test_each_sample_has_its_class_and_both_decisions(season: tuple[SeasonData, str]) -> None:
    data, text = season
    part = text[text.index('id="samples"') : text.index('id="broods"')]
    rows = re.findall(r"<tr><th.*?</tr>", part, re.S)[1:]
    assert len(rows) == len(data.rows["samples"]) + 1
    heavy = Page(next(row for row in rows if ">2-0<" in row)).text
    assert "4 (90.0 %)" in heavy
    assert "400 (400 to 803)" in heavy
    assert "heavily infected" in heavy
    assert "not yet" in heavy
    loose = Page(next(row for row in rows if ">loose<" in row)).text
    assert "refused" in loose
    assert "not named" in loose
    assert "not sampled" in Page(next(row for row in rows if "not sampled yet" in row)).text


def test_an_empty_log_says_so(tmp_path: Path) -> None:
    with RearingLog.open(tmp_path / "log.sqlite3") as log:
        write_season_report(log, tmp_path / "season.html", made_at="2026-10-01")
    page = Page((tmp_path / "season.html").read_text("utf-8"))
    assert "nothing to tell yet" in page.text
    assert "no sample and no adult" in page.text
    assert "svg" not in {tag for tag, _ in page.tags}


def test_clean_adults_are_no_proof(tmp_path: Path) -> None:
    with RearingLog.open(tmp_path / "summer.sqlite3") as log:
        log.add_adult("A1", emerged_on="2026-07-01")
        add_sample(log, "A1", 0)
        write_season_report(log, tmp_path / "season.html")
    page = Page((tmp_path / "season.html").read_text("utf-8"))
    assert "summer" in page.text
    assert "That is no proof of clean stock" in page.text
    assert "1 adults are a small number" in page.text
    assert "0 of 1: 0 % (0 % to 79 %)" in page.text  # Wilson's limits of 0 of 1, worked by hand


def test_what_counts_as_heavy_can_be_chosen(tmp_path: Path) -> None:
    with RearingLog.open(tmp_path / "log.sqlite3") as log:
        log.add_adult("A1", emerged_on="2026-07-01")
        add_sample(log, "A1", 3)
        write_season_report(log, tmp_path / "season.html", heavy_from=3, level=0.8)
        with pytest.raises(LogError, match="class 0 is no infection"):
            write_season_report(log, tmp_path / "other.html", heavy_from=0)
    page = Page((tmp_path / "season.html").read_text("utf-8"))
    assert "heavily infected (class 3 or more)" in page.text
    assert "80 % limits" in page.text
    assert not (tmp_path / "other.html").exists()


def test_a_trend_that_is_not_told_says_why() -> None:
    nan = float("nan")
    told = trend_words(Trend(nan, nan, nan, nan, 3, 1, "all adults are of one month"))
    assert told == "no trend is told, since all adults are of one month."
    assert "(a small number)" in trend_words(Trend(1.5, 1.1, 2.0, 0.02, 7, 5))


def test_whiskers_stand_where_the_numbers_say() -> None:
    drawn = str(whisker(0.25, 0.5, 1.0, small=False, square=True))
    ends = re.search(r"M([\d.]+) 12H([\d.]+)", drawn)
    mark = re.search(r'<rect x="([\d.]+)"', drawn)
    assert ends
    assert mark
    assert [float(ends[1]), float(ends[2])] == [6 + 228 / 4, 6 + 228]
    assert float(mark[1]) + 5.5 == 6 + 228 / 2
    assert "stroke-dasharray" not in drawn


def test_the_sources_named_are_those_of_the_method(season: tuple[SeasonData, str]) -> None:
    cited = set(re.findall(r"<code>\[(\w+)\]</code>", season[1]))
    assert cited == set(sources.SEASON_KEYS)


def test_notes_stand_at_the_top(season: tuple[SeasonData, str]) -> None:
    data, text = season
    telling: Telling = data.telling
    page = Page(text)
    assert telling.notes
    for note in telling.notes:
        assert note in page.text
    assert text.index('id="first"') < text.index('id="overall"')
