"""The log in tables and words for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from sporecount.rearing.columns import TABLES
from sporecount.rearing.facts import Rows
from sporecount.rearing.telling import Telling
from sporecount.rearing.transfer import ImportReport
from sporecount.rearing.trend import Trend

if TYPE_CHECKING:
    from rich.console import Console

_MEASURES = {"heavy": "heavily infected", "any": "any spores"}
_BY = {"all": "all", "washed": "plant washed", "plant": "food plant"}


def print_log(console: Console, rows: Rows) -> None:
    """Print broods and adults with their newest result and decision."""
    headings = ("brood", "from", "food plant", "washed", "bathed", "eggs", "hatched", "pupated")
    broods = [
        [
            brood["name"],
            brood["source"],
            brood["plant"],
            _yes_no(brood["plant_washed"]),
            _yes_no(brood["bathed"]),
            *(brood[stage] for stage in ("eggs", "hatched", "pupated", "emerged")),
        ]
        for brood in rows["broods"]
    ]
    _print_table(console, (*headings, "emerged"), broods)
    names = {brood["id"]: brood["name"] for brood in rows["broods"]}
    adults = {adult["id"]: adult for adult in rows["adults"]}
    sampled = {sample["adult_id"] for sample in rows["samples"]}
    lines = [
        [adult["identity"], names.get(adult["brood_id"]), adult["emerged_on"], None, None, None]
        for adult in rows["adults"]
        if adult["id"] not in sampled
    ]
    results = _newest_of_samples(rows["results"], "made_at")
    decisions = _newest_of_samples(rows["decisions"], "decided_at")
    for sample in rows["samples"]:
        adult = adults.get(sample["adult_id"], {})
        result, decision = results.get(sample["id"], {}), decisions.get(sample["id"])
        lines.append(
            [
                adult.get("identity") or f"(sample {sample['name']})",
                names.get(adult.get("brood_id")),
                adult.get("emerged_on"),
                result.get("load_class"),
                result.get("decision"),
                f"{decision['words']} ({decision['who']})" if decision else None,
            ]
        )
    _print_table(
        console,
        ("adult", "brood", "emerged", "class", "the tool said", "a person decided"),
        lines,
    )


def print_telling(console: Console, telling: Telling) -> None:
    """Print what the log tells."""
    for measure, words in _MEASURES.items():
        if telling.prevalence.empty:
            break
        title = f"{words} (class {telling.heavy_from if measure == 'heavy' else 1} and above)"
        console.print(f"{title[:1].upper()}{title[1:]}", style="bold")
        _print_table(
            console,
            ("by", "", "broods", "infected", "share", f"{telling.level:.0%} limits", ""),
            [_prevalence_cells(row) for row in _of(telling.prevalence, measure)],
        )
        for line in _comparison_lines(_of(telling.comparisons, measure)):
            _print_line(console, line)
        _print_line(console, f"Trend: {trend_words(telling.trends[measure])}")
        console.print()
    if telling.hints:
        console.print("What to look at first (places to look, not proofs)", style="bold")
        for number, hint in enumerate(telling.hints, 1):
            _print_line(console, f"{number}. {hint.words[:1].upper()}{hint.words[1:]}")
        console.print()
    for note in telling.notes:
        _print_line(console, f"Note: {note}")


def trend_words(trend: Trend) -> str:
    """Return a trend in words.

    Examples
    --------
    >>> trend_words(Trend(1.5, 1.1, 2.0, 0.02, 12, 5))
    'the odds change by 1.5 each month (1.1 to 2; p = 0.02; 12 broods in 5 months)'
    """
    if trend.why_not:
        return f"none is told, since {trend.why_not}"
    small = ", a small number" if trend.broods < 10 else ""
    return (
        f"the odds change by {trend.odds_ratio:.2g} each month ({trend.low:.2g} to "
        f"{trend.high:.2g}; p = {trend.p:.2g}; {trend.broods} broods{small} in "
        f"{trend.months} months)"
    )


def report_lines(report: ImportReport) -> Iterator[str]:
    """Yield what an import did, line by line."""
    for counter, what in (
        (report.added, "New rows"),
        (report.updated, "Later in the file, taken"),
        (report.older, "Earlier in the file, not taken"),
        (report.same, "There already"),
    ):
        if counter:
            counts = (f"{counter[table]} {table}" for table in TABLES if counter[table])
            yield f"{what}: {', '.join(counts)}."
    for one in report.conflicts:
        newer = {"unknown": "changed by hand", "file": "the file's is newer"}.get(
            one.newer, "the log's is newer"
        )
        yield (
            f"Both changed: {one.table} {one.name}, {one.field}: log {one.in_log!r}, file "
            f"{one.in_file!r} ({newer}); kept: {one.kept}."
        )
    if report.open_conflicts:
        yield (
            f"{len(report.open_conflicts)} not settled: the log's version stays. Give --take file "
            "or --take log to settle them (results, photos, decisions and baths always stay)."
        )
    for note in report.notes:
        yield f"Note: {note}"


def _of(table: Any, measure: str) -> list[dict[str, Any]]:
    return [row for row in table.to_dict("records") if row["measure"] == measure]


def _prevalence_cells(row: Mapping[str, Any]) -> list[Any]:
    return [
        _BY.get(row["by"], row["by"]),
        "" if row["by"] == "all" else row["value"],
        row["broods"],
        f"{row['infected']} of {row['adults']}",
        f"{row['share']:.0%}",
        f"{row['low']:.0%} to {row['high']:.0%}",
        row["note"],
    ]


def _comparison_lines(rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    for row in rows:
        by = _BY.get(row["by"], row["by"])
        span = ""
        if not math.isnan(row["difference"]):
            span = (
                f"difference {row['difference']:+.0%} ({row['low']:+.0%} to {row['high']:+.0%}), "
            )
        note = f" [{row['note']}]" if row["note"] else ""
        yield (
            f"{by}, {row['values']}: {span}p = {row['p']:.2g} with {row['broods']} broods as "
            f"the unit{note}"
        )


def _newest_of_samples(
    rows: Iterable[Mapping[str, Any]], moment: str
) -> dict[Any, Mapping[str, Any]]:
    return {row["sample_id"]: row for row in sorted(rows, key=lambda row: str(row[moment]))}


def _yes_no(value: Any) -> str | None:
    return None if value is None else ("yes" if value else "no")


def _print_table(console: Console, headings: Iterable[str], rows: Iterable[Iterable[Any]]) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        # Names are text and never markup.
        table.add_row(*(Text("" if cell is None else _printable(str(cell))) for cell in row))
    console.print(table)
    console.print()


def _print_line(console: Console, text: str) -> None:
    from rich.text import Text

    console.print(Text(_printable(text)))


def _printable(text: str) -> str:
    from sporecount.cli.edge import one_line

    return one_line(text)
