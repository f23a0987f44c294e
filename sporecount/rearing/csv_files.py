"""The log as CSV files, one for each table: written whole, and read with the line named.

UTF-8, commas, CRLF and double quotes as RFC 4180 has them; dates and moments as
ISO 8601 has them; ``yes`` and ``no``; an empty cell where something is not known.
Numbers keep all their digits, so that nothing changes on the way.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sporecount.rearing import rows as log_rows
from sporecount.rearing.cells import guarded, to_cell, unguarded
from sporecount.rearing.columns import TABLES
from sporecount.rearing.errors import LogError
from sporecount.rearing.values import Value
from sporecount.report.files import utf8, write_whole

#: Columns that a file made by hand may have in place of an id: the other row's name.
BY_NAME: dict[str, dict[str, str]] = {
    "adults": {"brood": "brood_id"},
    "samples": {"adult": "adult_id"},
}


@dataclass(frozen=True)
class FileRow:
    """One row of a file.

    Attributes
    ----------
    values : dict
        Columns of the table that the file has, as the log keeps them.
    names : dict
        Column that holds an id to the name that stands for it.
    given : str
        File and line, for messages.
    """

    values: dict[str, Value]
    names: dict[str, str]
    given: str


def write_tables(
    folder: Path, rows: Mapping[str, Sequence[Mapping[str, Value]]], *, replace: bool
) -> list[Path]:
    """Write all tables into a folder.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    rows : mapping
        Table to its rows.
    replace : bool
        Let the files take the place of others of the same names.

    Raises
    ------
    LogError
        If there are such files and they may not be replaced.
    """
    paths = {table: folder / f"{table}.csv" for table in rows}
    there = [path for path in paths.values() if path.exists()]
    if there and not replace:
        raise LogError(
            str(there[0]),
            "there is such a file already",
            "name another folder, or give --replace if what is in it was brought in",
        )
    for table, path in paths.items():
        write_whole(path, utf8(table_text(table, rows[table])))
    return list(paths.values())


def table_text(table: str, rows: Sequence[Mapping[str, Value]]) -> str:
    """Return the text of one table's file."""
    columns = TABLES[table].columns
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        cells = (to_cell(row[name], kind) for name, kind in columns.items())
        writer.writerow([guarded(cell) for cell in cells])
    return text.getvalue()


def read_tables(folder: Path) -> dict[str, list[FileRow]]:
    """Read the tables in a folder; a table may be missing.

    Raises
    ------
    LogError
        If there is none, or a file cannot be used. File and line are named.
    """
    files = {table: folder / f"{table}.csv" for table in TABLES}
    there = {table: path for table, path in files.items() if path.is_file()}
    if not there:
        raise LogError(
            str(folder),
            "it holds no tables of a rearing log",
            f"name a folder with {', '.join(path.name for path in files.values())}",
        )
    return {table: parse_table(table, _text(path), path.name) for table, path in there.items()}


def parse_table(table: str, text: str, given: str) -> list[FileRow]:
    """Read one table from its text.

    Commas, semicolons or tabs may part the cells.

    Parameters
    ----------
    table : str
        Name of the table.
    text : str
        All of the file.
    given : str
        Name of the file, for messages.

    Raises
    ------
    LogError
        If a column is not known, so that nothing is dropped in silence; or if a
        row has another number of cells; or if a value does not fit.
    """
    header_line = text.partition("\n")[0]
    delimiter = next((mark for mark in ",;\t" if mark in header_line), ",")
    found = []
    header: list[str] | None = None
    with _any_length():
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        try:
            for cells in reader:
                where = f"{given}, line {reader.line_num}"
                if not any(cells):
                    continue
                if header is None:
                    header = _checked_header(table, cells, given)
                    continue
                if len(cells) != len(header):
                    raise LogError(
                        where,
                        f"it has {len(cells)} cells, the first line {len(header)}",
                        "put text that holds commas or line breaks in double quotes",
                    )
                found.append(_file_row(table, dict(zip(header, cells)), where))
        except csv.Error as error:
            raise LogError(
                f"{given}, line {reader.line_num}", f"it is no CSV ({error})", "correct it"
            ) from error
    return found


def _checked_header(table: str, cells: Sequence[str], given: str) -> list[str]:
    header = [cell.strip().lower() for cell in cells]
    known = (*TABLES[table].columns, *BY_NAME.get(table, {}))
    unknown = [name for name in header if name not in known]
    if unknown:
        raise LogError(
            f"{given}, column {unknown[0]!r}",
            "the log has no such column, so it would be lost",
            "take it out, or update sporecount if a newer one wrote the file",
        )
    if len(set(header)) < len(header):
        raise LogError(given, "a column is there twice", "take one out")
    return header


def _file_row(table: str, cells: Mapping[str, str], given: str) -> FileRow:
    others = BY_NAME.get(table, {})
    plain = {name: unguarded(cell) for name, cell in cells.items()}
    values = {name: cell for name, cell in plain.items() if name not in others}
    names = {
        column: " ".join(plain[name].split())
        for name, column in others.items()
        if plain.get(name, "").strip()
    }
    return FileRow(log_rows.checked_row(table, values, f"{given}, "), names, given)


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LogError(
            path.name, "it is not UTF-8", "save it as 'CSV UTF-8' from the spreadsheet"
        ) from error


@contextmanager
def _any_length() -> Iterator[None]:
    """Let cells be as long as they are: settings and notes have no bound."""
    before = csv.field_size_limit(min(sys.maxsize, 2**31 - 1))
    try:
        yield
    finally:
        csv.field_size_limit(before)
