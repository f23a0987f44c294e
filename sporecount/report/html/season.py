"""The report of a season: what the rearing log tells, and every sample in it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sporecount import __version__
from sporecount.literature import HEAVILY_INFECTED_FROM_CLASS
from sporecount.report.files import utf8, write_whole
from sporecount.report.html import words
from sporecount.report.html.charts import share_axis, whisker
from sporecount.report.html.page import render
from sporecount.report.html.sources import SEASON_KEYS, cited

if TYPE_CHECKING:
    import pandas as pd

    from sporecount.rearing.facts import Rows
    from sporecount.rearing.log import RearingLog
    from sporecount.rearing.telling import Telling
    from sporecount.rearing.trend import Trend

#: Ways to part the adults, in the order of the page, with their headings.
_PARTINGS = {
    "brood": "By brood",
    "plant": "By food plant",
    "washed": "By whether the food plant was washed",
    "bathed": "By whether the eggs were bathed",
    "source": "By where the animals came from",
    "month": "By month",
}

#: The same in the middle of a line.
_BY = {
    "plant": "food plant",
    "washed": "food plant washed",
    "bathed": "eggs bathed",
    "source": "where from",
}

_MEASURES = {"heavy": "heavily infected", "any": "any spores"}


@dataclass(frozen=True, eq=False)
class SeasonData:
    """All that a season's report shows.

    Attributes
    ----------
    title : str
        Name of the log or of the season.
    rows : mapping
        As :meth:`sporecount.rearing.log.RearingLog.rows` returns them.
    telling : Telling
        From :func:`sporecount.rearing.telling.tell`, of the same rows.
    made_at : str
        When, as it is to be shown.
    version : str
        Version that made the report.
    """

    title: str
    rows: Rows
    telling: Telling
    made_at: str
    version: str = __version__


def season_report(data: SeasonData) -> str:
    """Return the report of a season as one HTML text that needs no other file.

    Parameters
    ----------
    data : SeasonData
        All that it shows.

    Returns
    -------
    str
        HTML, to be written in UTF-8.
    """
    telling = data.telling
    prevalence = _records(telling.prevalence)
    measured = {
        "heavy": f"heavily infected (class {telling.heavy_from} or more)",
        "any": "any spores (class 1 or more)",
    }
    groups = [
        (by, title, _shares(prevalence, by)) for by, title in _PARTINGS.items()
        if any(row["by"] == by for row in prevalence)
    ]  # fmt: skip
    comparisons = [_comparison(row) for row in _records(telling.comparisons)]
    trends = [(_MEASURES[name], trend_words(one)) for name, one in telling.trends.items()]
    samples = _samples(data.rows)
    broods = _broods(data.rows)
    return render(
        "season.html",
        title=data.title,
        first=telling.notes,
        level=f"{100 * telling.level:.4g} %",
        measured=measured,
        overall=_shares(prevalence, "all"),
        total=next((row for row in prevalence if row["by"] == "all"), None),
        groups=groups,
        axis=share_axis(),
        comparisons=comparisons,
        trends=trends,
        hints=[hint.words for hint in telling.hints],
        samples=samples,
        broods=broods,
        cited=cited(SEASON_KEYS),
        contents=_contents(bool(groups), bool(telling.hints), bool(broods)),
        made_at=data.made_at,
        version=data.version,
    )


def write_season_report(
    log: RearingLog,
    path: str | Path,
    *,
    title: str = "",
    heavy_from: int = HEAVILY_INFECTED_FROM_CLASS,
    level: float = 0.95,
    made_at: str | None = None,
) -> None:
    """Write the report of a log, whole or not at all.

    Parameters
    ----------
    log : RearingLog
        An open log.
    path : str or Path
        File to write or to replace.
    title : str
        Name of the season; by default that of the log's file.
    heavy_from : int
        Smallest load class that counts as heavily infected.
    level : float
        Confidence level of all limits, between 0 and 1.
    made_at : str, optional
        When, as it is to be shown; by default now.

    Raises
    ------
    LogError
        If ``heavy_from`` is no class.
    ValueError
        If ``level`` is not between 0 and 1.
    """
    from sporecount.rearing.telling import tell

    rows = log.rows()
    telling = tell(rows, heavy_from=heavy_from, level=level)
    moment = made_at or f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    data = SeasonData(title or log.path.stem, rows, telling, moment)
    write_whole(Path(path), utf8(season_report(data)))


def trend_words(trend: Trend) -> str:
    """Return a trend in words.

    Examples
    --------
    >>> from sporecount.rearing.trend import Trend
    >>> trend_words(Trend(1.5, 1.1, 2.0, 0.02, 12, 5))
    'the odds changed by a factor of 1.5 from month to month (1.1 to 2; p = 0.02), from 12 \
broods in 5 months.'
    """
    if trend.why_not:
        return f"no trend is told, since {trend.why_not}."
    small = " (a small number)" if trend.broods < 10 else ""
    return (
        f"the odds changed by a factor of {trend.odds_ratio:.2g} from month to month "
        f"({trend.low:.2g} to {trend.high:.2g}; p = {trend.p:.2g}), from {trend.broods} "
        f"broods{small} in {trend.months} months."
    )


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): cell for name, cell in row.items()} for row in table.to_dict("records")]


def _shares(rows: Iterable[Mapping[str, Any]], by: str) -> list[dict[str, Any]]:
    """Return the values of one way of parting, each with a line for each measure."""
    values: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["by"] != by:
            continue
        value = values.setdefault(
            row["value"],
            {
                "name": row["value"],
                "adults": row["adults"],
                "broods": row["broods"],
                "note": row["note"],
                "lines": [],
            },
        )
        value["lines"].append(
            {
                "measure": _MEASURES[row["measure"]],
                "infected": row["infected"],
                "adults": row["adults"],
                "share": row["share"],
                "low": row["low"],
                "high": row["high"],
                "picture": whisker(
                    row["low"], row["share"], row["high"],
                    small=bool(row["note"]), square=row["measure"] == "heavy",
                ),
            }
        )  # fmt: skip
    return list(values.values())


def _comparison(row: Mapping[str, Any]) -> dict[str, str]:
    difference = span = ""
    if not math.isnan(row["difference"]):
        low, high = 100 * row["low"], 100 * row["high"]
        difference = f"{100 * row['difference']:+.0f} points"
        span = f"({low:+.0f} to {high:+.0f})"
    return {
        "by": _BY.get(row["by"], row["by"]),
        "measure": _MEASURES[row["measure"]],
        "values": row["values"],
        "broods": row["broods"],
        "adults": row["adults"],
        "difference": difference or "more than two groups",
        "span": span,
        "p": f"{row['p']:.2g}",
        "least_p": f"{row['least_p']:.2g}",
        "note": words.sentence(row["note"]),
    }


def _samples(rows: Rows) -> list[dict[str, Any]]:
    """Return a line for each sample, and for each adult that has none."""
    adults = {adult["id"]: adult for adult in rows["adults"]}
    broods = {brood["id"]: brood["name"] for brood in rows["broods"]}
    results = _newest(rows["results"], "made_at")
    decisions = _newest(rows["decisions"], "decided_at")
    lines = []
    for sample in rows["samples"]:
        adult = adults.get(sample["adult_id"], {})
        result, decision = results.get(sample["id"], {}), decisions.get(sample["id"], {})
        said = [str(decision["words"]), str(decision["who"])] if decision else []
        lines.append(
            {
                "name": sample["name"],
                "adult": adult.get("identity"),
                "brood": broods.get(adult.get("brood_id")),
                "day": adult.get("emerged_on") or sample["taken_on"],
                "load_class": result.get("load_class"),
                "chance": _chance_of_class(result),
                "load": _load(result),
                "tool": result.get("decision") or result.get("status"),
                "person": f"{said[0]} ({said[1]})" if said else None,
            }
        )
    sampled = {sample["adult_id"] for sample in rows["samples"]}
    for adult in rows["adults"]:
        if adult["id"] not in sampled:
            lines.append(
                {
                    "name": None, "adult": adult["identity"],
                    "brood": broods.get(adult["brood_id"]), "day": adult["emerged_on"],
                    "load_class": None, "chance": "", "load": "", "tool": "not sampled",
                    "person": None,
                }
            )  # fmt: skip
    return lines


def _chance_of_class(result: Mapping[str, Any]) -> str:
    load = result.get("load_class")
    p = result.get(f"p_class_{load}") if load is not None else None
    return words.chance(p) if words.known(p) else ""


def _load(result: Mapping[str, Any]) -> str:
    if not words.known(result.get("tape_spores")):
        return ""
    low, high = result.get("tape_low"), result.get("tape_high")
    limits = f" ({words.whole(low)} to {words.whole(high)})" if words.known(low) else ""
    return f"{words.whole(result['tape_spores'])}{limits}"


def _broods(rows: Rows) -> list[dict[str, Any]]:
    return [
        {
            "name": brood["name"],
            "source": brood["source"],
            "plant": brood["plant"],
            "washed": brood["plant_washed"],
            "bathed": brood["bathed"],
            "stages": [brood[stage] for stage in ("eggs", "hatched", "pupated", "emerged")],
        }
        for brood in rows["broods"]
    ]


def _newest(rows: Iterable[Mapping[str, Any]], moment: str) -> dict[Any, Mapping[str, Any]]:
    """Return the newest row of each sample."""
    return {row["sample_id"]: row for row in sorted(rows, key=lambda row: str(row[moment]))}


def _contents(told: bool, hints: bool, broods: bool) -> list[tuple[str, str]]:
    parts = (
        ("overall", "All adults", told),
        ("hints", "What to look at first", hints),
        ("shares", "Group by group", told),
        ("comparisons", "Comparisons and trend", told),
        ("samples", "Samples", True),
        ("broods", "Broods", broods),
        ("contest", "How to contest it", True),
        ("method", "Method", True),
    )
    return [(anchor, title) for anchor, title, there in parts if there]
