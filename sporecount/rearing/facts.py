"""What is known of each sampled adult, in one table: the ground for all that the log tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from sporecount.bath.practice import below_usual
from sporecount.rearing.values import Value

Rows = Mapping[str, Sequence[Mapping[str, Value]]]

#: Columns of the table of facts. Of ``washed``, ``bathed`` and ``kept_apart`` None is "not known".
FACTS: tuple[str, ...] = (
    "adult",
    "brood_id",
    "brood",
    "source",
    "kept_apart",
    "place",
    "plant",
    "washed",
    "bathed",
    "bath_below_usual",
    "begins",
    "ends",
    "month",
    "load_class",
    "heavy",
    "any",
)


def adult_facts(rows: Rows, heavy_from: int) -> pd.DataFrame:
    """Return one row for each adult whose load class is known.

    An adult has the heaviest class of its samples, and a sample the class of its
    newest result that has one: an infection does not go away, and a later tape may
    miss spores.

    Parameters
    ----------
    rows : mapping
        As :meth:`sporecount.rearing.log.RearingLog.rows` returns them.
    heavy_from : int
        Smallest load class that counts as heavily infected.

    Returns
    -------
    DataFrame
        Columns of :data:`FACTS`. An adult without a brood is a brood of its own.
    """
    broods = {brood["id"]: brood for brood in rows["broods"]}
    spans = _spans(rows)
    baths = _broods_below_usual(rows)
    classes = _classes(rows)
    facts = []
    for adult in rows["adults"]:
        if adult["id"] not in classes:
            continue
        load, sampled_on = classes[adult["id"]]
        brood = broods.get(adult["brood_id"], {})
        begins, ends = spans.get(adult["brood_id"], (None, None))
        facts.append(
            {
                "adult": adult["identity"],
                "brood_id": adult["brood_id"] or f"alone {adult['id']}",
                "brood": brood.get("name"),
                "source": brood.get("source"),
                "kept_apart": _known(brood.get("kept_apart")),
                "place": str(brood.get("place") or "").casefold() or None,
                "plant": brood.get("plant"),
                "washed": _known(brood.get("plant_washed")),
                "bathed": _known(brood.get("bathed")),
                "bath_below_usual": adult["brood_id"] in baths,
                "begins": begins,
                "ends": ends,
                "month": str(adult["emerged_on"] or sampled_on)[:7],
                "load_class": load,
                "heavy": load >= heavy_from,
                "any": load >= 1,
            }
        )
    return pd.DataFrame(
        {name: pd.Series([f[name] for f in facts], dtype=_dtype(name)) for name in FACTS}
    )


def _dtype(name: str) -> str:
    return {"load_class": "int64", "heavy": "bool", "any": "bool"}.get(name, "object")


def _known(value: Any) -> bool | None:
    return None if value is None else bool(value)


def _classes(rows: Rows) -> dict[Value, tuple[int, str]]:
    """Return each sampled adult's load class and the day of that sample."""
    newest: dict[Value, Mapping[str, Value]] = {}
    for result in rows["results"]:
        known = newest.get(result["sample_id"])
        if result["load_class"] is not None and (
            known is None or str(result["made_at"]) >= str(known["made_at"])
        ):
            newest[result["sample_id"]] = result
    classes: dict[Value, tuple[int, str]] = {}
    for sample in rows["samples"]:
        result = newest.get(sample["id"], {})
        if sample["adult_id"] is None or not result:
            continue
        load, day = int(result["load_class"] or 0), str(sample["taken_on"] or result["made_at"])
        if load >= classes.get(sample["adult_id"], (-1, ""))[0]:
            classes[sample["adult_id"]] = (load, day)
    return classes


def _spans(rows: Rows) -> dict[Value, tuple[str | None, str | None]]:
    """Return the first and the last day that each brood is known to have been kept."""
    days: dict[Value, list[str]] = {}
    for brood in rows["broods"]:
        days.setdefault(brood["id"], []).extend(_days(brood["collected_on"]))
    for adult in rows["adults"]:
        days.setdefault(adult["brood_id"], []).extend(_days(adult["emerged_on"]))
    return {brood: (min(d, default=None), max(d, default=None)) for brood, d in days.items()}


def _days(value: Value) -> list[str]:
    return [] if value is None else [str(value)]


def _broods_below_usual(rows: Rows) -> set[Value]:
    """Return the broods of which every bath was weaker or shorter than is usual."""
    verdicts: dict[Value, list[bool]] = {}
    for bath in rows["baths"]:
        percent, seconds = bath["percent_by_volume"], bath["real_s"]
        verdicts.setdefault(bath["brood_id"], []).append(
            below_usual(
                None if percent is None else float(percent),
                None if seconds is None else float(seconds),
            )
        )
    return {brood for brood, below in verdicts.items() if all(below)}
