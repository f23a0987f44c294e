"""Tables that people bring to a trial (CSV): read as spreadsheet programs write them."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from sporecount.errors import SheetError
from sporecount.trial.near import did_you_mean
from sporecount.trial.tables import EGG_COLUMNS, FEEDING_COLUMNS, SLIDE_OPTIONAL, SLIDE_REQUIRED

#: Pairs of photos of the same place of a slide, before and after treatment; ``arm`` as well
#: where the sheet is not blind.
FOLLOWED_COLUMNS = ("slide", "before", "after")

#: Or, where a person followed the spores, what became of those that were intact.
FATE_COLUMNS = ("arm", "slide", "intact", "damaged", "fragment", "gone")

#: Columns of the table of slides that hold numbers, beside the counts.
_NUMBERS = (
    *(name for name in SLIDE_OPTIONAL if name != "reviewed"),
    "before_per_mm2",
    "fragment_equivalents",
    "fragment_equivalents_low",
    "fragment_equivalents_high",
)

#: Columns of the program's own table that follow from the others.
_WORKED_OUT = (*_NUMBERS[-3:], "broken", "total", "broken_share")

#: Counts of followed spores that may be missing.
_FOLLOWED_COUNTS = ("unmatched", "outside", "crowded", "unclear", "damaged_before", "new")

_TEXT = ("arm", "slide", "batch", "before", "after", "code")
_YES = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False, "": False}
_SEPARATORS = ",;\t"


def read_rows(path: str | Path, required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """Read a table as text.

    Commas, semicolons or tabs between cells, UTF-8, UTF-16 or Windows-1252, and headings in
    any case are all taken as they come from spreadsheet programs.

    Parameters
    ----------
    path : str or Path
        A CSV file.
    required : sequence of str
        Columns it must have.

    Returns
    -------
    list of (int, dict)
        Row in the file, headings being row 1, and heading to cell.

    Raises
    ------
    SheetError
        If the file cannot be read, a column is missing or there twice, a row is longer than
        the headings, or there is no row.
    """
    path = Path(path)
    lines = _lines(path)
    if not lines:
        raise SheetError(path.name, "it is empty", f"give it the columns {', '.join(required)}")
    headings = [re.sub(r"[\s-]+", "_", cell.casefold()) for cell in lines[0][1]]
    for name in required:
        if name not in headings:
            raise SheetError(
                path.name,
                f'there is no column "{name}"',
                f"its columns are: {', '.join(h for h in headings if h) or 'none'}; "
                f"needed are: {', '.join(required)}",
            )
    again = [name for name in headings if name and headings.count(name) > 1]
    if again:
        raise SheetError(path.name, f"the column {again[0]!r} is there twice", "keep one of them")
    rows = []
    for number, cells in lines[1:]:
        if any(cells[len(headings) :]):
            raise SheetError(
                f"{path.name}, row {number}",
                f"there are {len(cells)} cells under {len(headings)} headings",
                "put quotes around cells that hold the separator, such as decimal commas",
            )
        padded = cells + [""] * (len(headings) - len(cells))
        rows.append((number, {name: cell for name, cell in zip(headings, padded) if name}))
    if not rows:
        raise SheetError(path.name, "it has headings and no row", "write a row for each")
    return rows


def read_slides(path: str | Path) -> pd.DataFrame:
    """Read a table of slides that were counted by hand.

    Parameters
    ----------
    path : str or Path
        CSV with the columns :data:`sporecount.trial.tables.SLIDE_REQUIRED` and any of
        :data:`sporecount.trial.tables.SLIDE_OPTIONAL`; others are kept as text. It may be the
        program's own ``slides.csv``: slides that were refused are left out, and what was
        worked out from the counts is worked out again.

    Returns
    -------
    DataFrame
        One row for each slide; a number that is not given is nan.

    Raises
    ------
    SheetError
        If a count is missing or no whole number, or a slide is there twice.
    """
    rows = read_rows(path, SLIDE_REQUIRED)
    if "status" in rows[0][1]:  # the program's own, perhaps corrected by a person
        rows = [
            (number, {name: cell for name, cell in cells.items() if name not in _WORKED_OUT})
            for number, cells in rows
            if cells.get("status") != "refused"
        ]
    if not rows:
        raise SheetError(Path(path).name, "each of its slides was refused", "count one by hand")
    table = _typed(Path(path).name, rows, SLIDE_REQUIRED[2:], _NUMBERS)
    if "reviewed" in table:
        table["reviewed"] = [_YES.get(str(cell).casefold(), False) for cell in table["reviewed"]]
    again = table[table.duplicated(["arm", "slide"])]
    if len(again):
        first = again.iloc[0]
        raise SheetError(
            f"{Path(path).name}, slide {first['slide']!r} of arm {first['arm']!r}",
            "it is there twice",
            "add its counts up into one row",
        )
    return table


def read_eggs(path: str | Path) -> pd.DataFrame:
    """Read the table of eggs, columns :data:`sporecount.trial.tables.EGG_COLUMNS`."""
    rows = read_rows(path, EGG_COLUMNS)
    table = _typed(Path(path).name, rows, ("dipped", "hatched"))
    _not_more(Path(path).name, rows, table, "hatched", "dipped")
    return table


def read_feeding(path: str | Path) -> pd.DataFrame:
    """Read the table of the feeding test, columns :data:`.FEEDING_COLUMNS`; no batch is one."""
    needed = tuple(name for name in FEEDING_COLUMNS if name != "batch")
    rows = read_rows(path, needed)
    for number, cells in rows:
        cells.setdefault("batch", str(number))
    table = _typed(Path(path).name, rows, ("fed", "adults", "infected"))
    _not_more(Path(path).name, rows, table, "adults", "fed")
    _not_more(Path(path).name, rows, table, "infected", "adults")
    return table


def read_followed(path: str | Path) -> pd.DataFrame:
    """Read the table of followed fields.

    Parameters
    ----------
    path : str or Path
        CSV with :data:`FOLLOWED_COLUMNS`, for photos that are to be compared, or with
        :data:`FATE_COLUMNS`, for spores that a person followed; the program's own
        ``followed.csv`` has both.

    Raises
    ------
    SheetError
        If it has neither, or a count is missing or no whole number.
    """
    name = Path(path).name
    headings = set(read_rows(path, ("slide",))[0][1])
    if "gone" not in headings:
        return _typed(name, read_rows(path, FOLLOWED_COLUMNS), ())
    return pd.DataFrame(
        [_fate_row(name, *row) for row in read_rows(path, FATE_COLUMNS)],
    )


def _fate_row(name: str, number: int, cells: dict[str, str]) -> dict[str, object]:
    """Return a row of followed spores; one that was left out has no counts."""
    row: dict[str, object] = dict(cells)
    is_left_out = cells.get("status", "followed") != "followed"
    for column in (*FATE_COLUMNS[2:], *_FOLLOWED_COUNTS):
        cell, where = cells.get(column, ""), f"{name}, row {number}, {column}"
        if is_left_out or (not cell and column in _FOLLOWED_COUNTS):
            row[column] = math.nan
        else:
            row[column] = _count(cell, f"{where} {cell!r}")
    for column in FATE_COLUMNS[:2]:
        if not cells[column]:
            where = f"{name}, row {number}, {column} ''"
            raise SheetError(where, f"the {column} is missing", "write it")
    if "reviewed" in cells:
        row["reviewed"] = _YES.get(cells["reviewed"].casefold(), False)
    return row


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    """Return row number and cells of each row that has any."""
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise SheetError(str(path), f"it cannot be opened ({reason})", "check the name") from error
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    first = text.partition("\n")[0]
    separator = max(_SEPARATORS, key=first.count)
    try:
        reader = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as error:
        raise SheetError(path.name, f"it is no CSV ({error})", "export it as CSV") from error
    cells = [(n, [_cell(cell) for cell in row]) for n, row in enumerate(reader, 1)]
    return [(number, row) for number, row in cells if any(row)]


def _cell(text: str) -> str:
    """Strip a cell; the apostrophe that keeps a spreadsheet from running it goes too."""
    text = " ".join(text.replace("\u00a0", " ").split())
    return text[1:] if re.match(r"'[=+\-@]", text) else text


def _typed(
    name: str,
    rows: Sequence[tuple[int, dict[str, str]]],
    counts: Sequence[str],
    numbers: Sequence[str] = (),
) -> pd.DataFrame:
    """Turn text into counts and numbers."""
    columns: dict[str, list[object]] = {column: [] for column in rows[0][1]}
    for column in rows[-1][1]:
        columns.setdefault(column, [])
    for number, cells in rows:
        for column, into in columns.items():
            cell = cells.get(column, "")
            where = f"{name}, row {number}, {column} {cell!r}"
            if column in counts:
                into.append(_count(cell, where))
            elif column in numbers:
                into.append(_number(cell, where))
            else:
                if column in _TEXT and not cell:
                    raise SheetError(where, f"the {column} is missing", "write it")
                into.append(cell)
    return pd.DataFrame(columns)


def _count(cell: str, where: str) -> int:
    value = _number(cell, where)
    if not value >= 0 or value != int(value):
        raise SheetError(where, "it is a whole number, 0 or more", "write the count, 0 for none")
    return int(value)


def _number(cell: str, where: str) -> float:
    """Read a number of 0 or more; nan where nothing is given."""
    if cell.casefold() in ("", "na", "n/a", "nan"):
        return math.nan
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        value = -1.0
    if not (math.isfinite(value) and value >= 0):
        raise SheetError(where, "it is a number, 0 or more", "correct it")
    return value


def _not_more(
    name: str,
    rows: Sequence[tuple[int, dict[str, str]]],
    table: pd.DataFrame,
    part: str,
    whole: str,
) -> None:
    for (number, _), of, all_ in zip(rows, table[part], table[whole], strict=True):
        if of > all_:
            raise SheetError(
                f"{name}, row {number}", f"{part} {of} is more than {whole} {all_}", "correct it"
            )


def own_arm(arm: str, known: Sequence[str], where: str) -> str:
    """Return the trial's own spelling of an arm.

    Raises
    ------
    SheetError
        If the trial has none of that name.

    Examples
    --------
    >>> own_arm("WATER", ["water", "bleach"], "sheet, row 2")
    'water'
    """
    folded = {" ".join(name.split()).casefold(): name for name in known}
    found = folded.get(" ".join(arm.split()).casefold())
    if found is None:
        raise SheetError(
            f"{where}, arm {arm!r}", "the trial file has no such arm", did_you_mean(arm, known)
        )
    return found
