"""The tables of the log and the kinds of their columns, declared once for code and CSV."""

from __future__ import annotations

from dataclasses import dataclass

#: Kinds of columns: ``text``, ``line`` (text on one line, trimmed), ``date``, ``moment``,
#: ``count``, ``number``, ``yes_no``.
Kind = str

SOURCES = ("egg", "caterpillar", "mixed")
SEXES = ("female", "male")


@dataclass(frozen=True)
class Table:
    """One table of the log.

    Attributes
    ----------
    columns : dict of str to str
        Column to its kind, in order.
    refers : dict of str to str
        Column to the table whose ``id`` it holds.
    name : str or None
        Column by which people call a row; None where rows have no name.
    can_change : bool
        Whether a row may be edited, which leaves an edit; other rows are only added.
    """

    columns: dict[str, Kind]
    refers: dict[str, str]
    name: str | None = None
    can_change: bool = False


_RESULT_NUMBERS = (
    "spores_low",
    "spores_high",
    "tape_mm2",
    "tape_spores",
    "tape_low",
    "tape_high",
    *(f"p_class_{load}" for load in range(6)),
)

#: Tables in the order in which they refer to each other.
TABLES: dict[str, Table] = {
    "broods": Table(
        {
            "id": "line",
            "name": "line",
            "source": "line",
            "kept_apart": "yes_no",
            "place": "line",
            "collected_on": "date",
            "bathed": "yes_no",
            "plant": "line",
            "plant_place": "line",
            "plant_washed": "yes_no",
            "eggs": "count",
            "hatched": "count",
            "pupated": "count",
            "emerged": "count",
            "notes": "text",
            "added_at": "moment",
        },
        {},
        "name",
        can_change=True,
    ),
    "adults": Table(
        {
            "id": "line",
            "identity": "line",
            "brood_id": "line",
            "sex": "line",
            "emerged_on": "date",
            "wings": "text",
            "notes": "text",
            "added_at": "moment",
        },
        {"brood_id": "broods"},
        "identity",
        can_change=True,
    ),
    "samples": Table(
        {
            "id": "line",
            "name": "line",
            "adult_id": "line",
            "taken_on": "date",
            "notes": "text",
            "added_at": "moment",
        },
        {"adult_id": "adults"},
        "name",
        can_change=True,
    ),
    "results": Table(
        {
            "id": "line",
            "sample_id": "line",
            "made_at": "moment",
            "status": "text",
            "reason": "text",
            "photos": "count",
            "examined_mm2": "number",
            "spores": "count",
            **dict.fromkeys(_RESULT_NUMBERS, "number"),
            "load_class": "count",
            "decision": "text",
            "more_fields": "count",
            "um_per_px": "number",
            "scale_source": "text",
            "version": "line",
            "settings": "text",
            "further": "text",
            "content_sha256": "line",
        },
        {"sample_id": "samples"},
    ),
    "photos": Table(
        {
            "id": "line",
            "result_id": "line",
            "photo": "text",
            "sha256": "line",
            "um_per_px": "number",
            "scale_source": "text",
        },
        {"result_id": "results"},
    ),
    "decisions": Table(
        {
            "id": "line",
            "sample_id": "line",
            "result_id": "line",
            "words": "text",
            "who": "line",
            "decided_at": "moment",
        },
        {"sample_id": "samples", "result_id": "results"},
    ),
    "baths": Table(
        {
            "id": "line",
            "brood_id": "line",
            "bathed_at": "moment",
            "label_percent": "number",
            "percent_by_volume": "number",
            "product_ml": "number",
            "water_ml": "number",
            "planned_s": "number",
            "real_s": "number",
            "rinsed": "yes_no",
            "notes": "text",
            "added_at": "moment",
        },
        {"brood_id": "broods"},
    ),
    "edits": Table(
        {
            "id": "line",
            "table_name": "line",
            "row_id": "line",
            "field": "line",
            "old": "text",
            "new": "text",
            "edited_at": "moment",
            "who": "line",
        },
        {},
    ),
}

#: One row of a table in words, for messages.
ROW_WORD = {"broods": "brood", "adults": "adult", "samples": "sample"}
