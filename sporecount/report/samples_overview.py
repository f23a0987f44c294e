"""The overview of samples at the end of a run, fitted to a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sporecount.counts.summary import COUNTED
from sporecount.report.overview import print_lines, short_name

if TYPE_CHECKING:
    from rich.console import Console

#: Columns a name may take.
_NAME_COLUMNS = 18


def print_samples(console: Console, rows: Sequence[Mapping[str, Any]]) -> None:
    """Print one line for each sample.

    Parameters
    ----------
    console : rich Console
        Where to print.
    rows : sequence of mappings
        Rows of ``samples.csv``.
    """
    headings = ("sample", "photos", "spores", "on the tape", "class", "decision")
    print_lines(console, rows, headings, sample_cells, "samples.csv")


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
