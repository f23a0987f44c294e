"""The overview of samples at the end of a run, fitted to a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sporecount.counts.summary import COUNTED
from sporecount.report.overview import short_name

if TYPE_CHECKING:
    from rich.console import Console

#: Columns a name may take.
_NAME_COLUMNS = 18

#: More samples than this are not listed one by one.
_MOST_LISTED = 60


def print_samples(console: Console, rows: Sequence[Mapping[str, Any]]) -> None:
    """Print one line for each sample.

    Parameters
    ----------
    console : rich Console
        Where to print.
    rows : sequence of mappings
        Rows of ``samples.csv``.
    """
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("sample", no_wrap=True)
    for heading in ("photos", "spores", "on the tape", "class"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("decision", no_wrap=True)
    for row in rows[:_MOST_LISTED]:
        style = "" if row["status"] == COUNTED else "yellow"
        table.add_row(*(Text(text) for text in sample_cells(row)), style=style)
    console.print(table)
    if len(rows) > _MOST_LISTED:
        console.print(f"... and {len(rows) - _MOST_LISTED} more, see samples.csv")


def sample_cells(row: Mapping[str, Any]) -> list[str]:
    """Return the texts of one sample's line.

    Examples
    --------
    >>> sample_cells({"sample": "A1", "status": "counted", "photos": 3, "photos_used": 2,
    ...     "spores": 4, "tape_low": 40, "tape_high": 300, "load_class": 4,
    ...     "decision": "hold and sample again"})
    ['A1', '2 of 3', '4', '40-300', '4', 'hold and sample again']
    >>> sample_cells({"sample": "A2", "status": "refused", "photos": 3})
    ['A2', '3', '', '', '', 'none: refused']
    """
    name = short_name(row["sample"], _NAME_COLUMNS)
    if row["status"] != COUNTED:
        return [name, str(row["photos"]), "", "", "", f"none: {row['status']}"]
    used, photos = row["photos_used"], row["photos"]
    return [
        name,
        str(photos) if used == photos else f"{used} of {photos}",
        str(row["spores"]),
        f"{row['tape_low']}-{row['tape_high']}",
        str(row["load_class"]),
        row["decision"],
    ]
