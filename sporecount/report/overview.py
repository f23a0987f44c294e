"""The overview at the end of a run, fitted to a terminal of 80 columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sporecount.counts.summary import COUNTED, STATUSES

if TYPE_CHECKING:
    from rich.console import Console

#: Columns a name may take.
_NAME_COLUMNS = 27

#: More photos or samples than this are not listed one by one.
_MOST_LISTED = 60


def print_overview(console: Console, rows: Sequence[Mapping[str, Any]]) -> None:
    """Print one line for each photo, totals, and what needs a look.

    Parameters
    ----------
    console : rich Console
        Where to print. Styles appear on a terminal only.
    rows : sequence of mappings
        Rows of ``photos.csv``.
    """
    from rich.text import Text

    headings = ("photo", "spores", "likely", "per mm2", "class", "status")
    print_lines(console, rows, headings, overview_cells, "photos.csv")
    console.print()
    console.print(Text(totals_line(rows), style="bold"))
    for line in notice_lines(rows):
        console.print(Text(line, style="yellow"))


def print_lines(
    console: Console,
    rows: Sequence[Mapping[str, Any]],
    headings: Sequence[str],
    cells: Callable[[Mapping[str, Any]], list[str]],
    file: str,
) -> None:
    """Print one line for each row, names left and numbers right; the rest is in ``file``."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column(headings[0], no_wrap=True)
    for heading in headings[1:-1]:
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(headings[-1], no_wrap=True)
    for row in rows[:_MOST_LISTED]:
        style = "" if row["status"] == COUNTED else "yellow"
        table.add_row(*(Text(text) for text in cells(row)), style=style)
    console.print(table)
    if len(rows) > _MOST_LISTED:
        console.print(f"... and {len(rows) - _MOST_LISTED} more, see {file}")


def overview_cells(row: Mapping[str, Any]) -> list[str]:
    """Return the texts of one photo's line.

    Examples
    --------
    >>> overview_cells({"photo": "a.jpg", "status": "counted", "spores": 12, "spores_low": 10,
    ...     "spores_high": 16, "per_mm2": 3.0, "load_class": 2})
    ['a.jpg', '12', '10-16', '3', '2', 'counted']
    """
    name = short_name(row["photo"], _NAME_COLUMNS)
    if row["status"] != COUNTED:
        return [name, "", "", "", "", row["status"]]
    return [
        name,
        str(row["spores"]),
        f"{row['spores_low']}-{row['spores_high']}",
        f"{row['per_mm2']:.3g}",
        str(row["load_class"]),
        row["status"],
    ]


def totals_line(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the numbers of photos by status, and of spores.

    Examples
    --------
    >>> totals_line([{"status": "counted", "spores": 12}, {"status": "refused"}])
    '2 photos: 1 counted, 1 refused; 12 spores'
    """
    by_status = Counter(row["status"] for row in rows)
    parts = ", ".join(f"{by_status[status]} {status}" for status in STATUSES if by_status[status])
    spores = sum(row["spores"] for row in rows if row["status"] == COUNTED)
    photos = "1 photo" if len(rows) == 1 else f"{len(rows)} photos"
    if not by_status[COUNTED]:
        return f"{photos}: {parts}"
    return f"{photos}: {parts}; {spores} spore{'' if spores == 1 else 's'}"


def notice_lines(rows: Sequence[Mapping[str, Any]], most: int = 20) -> list[str]:
    """Return a line for each photo with a warning or a reason why it was not counted."""
    notices = [
        f"{short_name(row['photo'], _NAME_COLUMNS)}: {row.get('reason') or row['warning']}"
        for row in rows
        if row.get("reason") or row.get("warning")
    ]
    if len(notices) > most:
        return [*notices[:most], f"... and {len(notices) - most} more, see photos.csv"]
    return notices


def short_name(name: str, most: int) -> str:
    """Shorten a name in the middle to a number of terminal columns.

    Examples
    --------
    >>> short_name("tray 4/butterfly 17, left side.jpg", 20)
    'tray 4/bu...side.jpg'
    """
    from rich.cells import cell_len

    name = "".join(letter if letter.isprintable() else "?" for letter in name)
    if cell_len(name) <= most:
        return name
    head = tail = ""
    room = most - len("...")
    # Letters are taken from both ends in turn; some are two columns wide.
    for place in range(len(name)):
        left = place % 2 == 0
        letter = name[place // 2] if left else name[-(place // 2) - 1]
        if cell_len(head + letter + tail) > room:
            break
        head, tail = (head + letter, tail) if left else (head, letter + tail)
    return f"{head}...{tail}"
