"""The sheet (CSV) in which people write what they know about each photo."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from sporecount.errors import SheetError

#: Columns the program knows; a sheet may have others, which are kept.
KNOWN_COLUMNS = ("photo", "um_per_px", "calibration", "sample", "arm", "slide")

_NUMBER = re.compile(r"\+?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
_NOTHING = ("", "na", "n/a")


def read_sheet(path: str | Path) -> pd.DataFrame:
    """Read a sheet of photos.

    Commas, semicolons or tabs between cells, decimal points or commas, UTF-8,
    UTF-16 or Windows-1252, headers in any case, and backslashes in paths are all
    taken as they come from spreadsheet programs.

    Parameters
    ----------
    path : str or Path
        A CSV file with a column ``photo`` and any of ``um_per_px``,
        ``calibration``, ``sample``, ``arm``, ``slide``.

    Returns
    -------
    DataFrame
        One row per photo: ``row`` (its row in the file, headers being row 1), the
        known columns, then the file's others. Text that is missing is ``""``,
        ``um_per_px`` that is missing is nan.

    Raises
    ------
    SheetError
        If there is no column ``photo``, a photo is listed twice, a scale is not a
        positive number, or a row has more cells than there are headers.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise SheetError(str(path), f"it cannot be opened ({reason})", "check the name") from error
    return parse_sheet(_text(data), path.name)


def parse_sheet(text: str, given: str = "sheet") -> pd.DataFrame:
    r"""Read a sheet from its text; see `read_sheet`.

    Examples
    --------
    >>> table = parse_sheet("Photo;um per px\nday 1\\a.jpg;0,65\n")
    >>> table.loc[0, "photo"], float(table.loc[0, "um_per_px"])
    ('day 1/a.jpg', 0.65)
    """
    lines = _lines(text, given)
    headers = _headers(lines[0][1], given) if lines else []
    if "photo" not in headers:
        raise SheetError(
            given,
            'there is no column "photo"'
            + (f" among {', '.join(repr(h) for h in headers if h)}" if any(headers) else ""),
            'give the first row headers, one of them "photo"',
        )
    columns: dict[str, list[Any]] = {name: [] for name in ("row", *KNOWN_COLUMNS)}
    columns.update({h: [] for h in headers if h and h not in columns})
    for row, cells in lines[1:]:
        record = _record(headers, cells, f"{given}, row {row}")
        columns["row"].append(row)
        for name in list(columns)[1:]:
            columns[name].append(record.get(name, float("nan") if name == "um_per_px" else ""))
    table = pd.DataFrame({n: pd.Series(v, dtype=_dtype(n)) for n, v in columns.items()})
    _check_unique(table, given)
    return table


@dataclass(frozen=True)
class SheetMatch:
    """Which row describes which photo.

    Attributes
    ----------
    rows : dict of str to dict
        Photo name -> its row (column -> value).
    missing : tuple of str
        Photos in the sheet that are not among the photos.
    unlisted : tuple of str
        Photos that are not in the sheet.
    """

    rows: dict[str, dict[str, Any]]
    missing: tuple[str, ...]
    unlisted: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet and its match with photos.

    Attributes
    ----------
    table : DataFrame
        As `read_sheet` returns it.
    given : str
        Name of the file, for messages.
    """

    table: pd.DataFrame
    given: str = "sheet"

    @classmethod
    def read(cls, path: str | Path) -> Sheet:
        """Read a sheet from a file."""
        return cls(read_sheet(path), Path(path).name)

    def match(self, names: Iterable[str]) -> SheetMatch:
        """Match rows to photos by name.

        The whole name counts first, then the name without regard to case, then
        one being the end of the other (``a.jpg`` for ``tray 1/a.jpg``).

        Parameters
        ----------
        names : iterable of str
            Names of `PhotoFile`.

        Raises
        ------
        SheetError
            If a row could mean several photos, or two rows mean the same one.
        """
        names = list(names)
        rows: dict[str, dict[str, Any]] = {}
        missing: list[str] = []
        for record in self.table.to_dict("records"):
            where = f"{self.given}, row {record['row']}"
            fitting = _fitting(record["photo"], names)
            if len(fitting) > 1:
                raise SheetError(
                    f"{where}, photo {record['photo']!r}",
                    f"it could be {' or '.join(repr(n) for n in fitting)}",
                    "write the folder before the photo's name",
                )
            if not fitting:
                missing.append(record["photo"])
                continue
            if fitting[0] in rows:
                raise SheetError(
                    where,
                    f"it means {fitting[0]!r}, as row {rows[fitting[0]]['row']} does",
                    "keep one row for each photo",
                )
            rows[fitting[0]] = {str(k): v for k, v in record.items()}
        unlisted = tuple(n for n in names if n not in rows)
        return SheetMatch(rows, tuple(missing), unlisted)


def _text(data: bytes) -> str:
    """Decode a spreadsheet's export: UTF-16 or UTF-8 by its mark, else UTF-8, else cp1252."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _lines(text: str, given: str) -> list[tuple[int, list[str]]]:
    """Split text into (row number, cells), without empty rows."""
    text = text.removeprefix("\ufeff")
    first, _, rest = text.partition("\n")
    skipped = 0
    if re.fullmatch(r'"?sep=(.)"?\s*', first):  # written by a spreadsheet program for itself
        separator, text, skipped = first.strip().strip('"')[4:] or "\t", rest, 1
    else:
        header = re.sub(r'"[^"]*"', "", first)
        separator = max(",;\t", key=header.count)
    try:
        file = io.StringIO(text, newline="")
        reader = list(csv.reader(file, delimiter=separator, skipinitialspace=True))
    except csv.Error as error:
        raise SheetError(given, f"it is not a CSV file ({error})", "export it as CSV") from error
    numbered = [(i + 1 + skipped, [_clean(c) for c in cells]) for i, cells in enumerate(reader)]
    return [(row, cells) for row, cells in numbered if any(cells)]


def _clean(cell: str) -> str:
    """Strip a cell and compose its accents, which some systems write as two characters."""
    return unicodedata.normalize("NFC", cell.replace("\u00a0", " ").strip())


def _headers(cells: list[str], given: str) -> list[str]:
    """Bring headers to the names the program knows; keep the others as they are."""
    headers = []
    for cell in cells:
        plain = re.sub(r"[\s_/-]+", "_", cell.casefold().replace("\u03bc", "u")).strip("_")
        plain = plain.replace("\u00b5", "u")
        headers.append(
            plain if plain in KNOWN_COLUMNS else "row_in_sheet" if plain == "row" else cell
        )
    for header in headers:
        if header and headers.count(header) > 1:
            raise SheetError(
                given, f"the column {header!r} is there twice", "give each column its own name"
            )
    return headers


def _record(headers: list[str], cells: list[str], where: str) -> dict[str, Any]:
    """Turn the cells of one row into values."""
    if any(cells[len(headers) :]):
        raise SheetError(
            where,
            f"there are {len(cells)} cells under {len(headers)} headers",
            "put quotes around cells that hold the separator, such as decimal commas",
        )
    record: dict[str, Any] = {h: c for h, c in zip(headers, cells) if h}
    record["photo"] = _as_name(record.get("photo", ""))
    if not record["photo"]:
        raise SheetError(where, "the photo is missing", "write the photo's file name")
    if "um_per_px" in record:
        record["um_per_px"] = _um_per_px(record["um_per_px"], where)
    return record


def _um_per_px(cell: str, where: str) -> float:
    """Read a scale; nan where the cell is empty."""
    if cell.casefold() in _NOTHING:
        return float("nan")
    value = float(cell.replace(",", ".")) if _NUMBER.fullmatch(cell) else 0.0
    if not 0 < value < float("inf"):
        raise SheetError(
            f"{where}, um_per_px {cell!r}",
            "a scale is a positive number of micrometres per pixel",
            "write a number such as 0.65, or leave the cell empty",
        )
    return value


def _as_name(cell: str) -> str:
    """Bring a path to the form of photo names: forward slashes, nothing before them."""
    return re.sub(r"^(\./+)+", "", re.sub(r"/+", "/", cell.replace("\\", "/")))


def _dtype(column: str) -> str:
    """Return the dtype of a column of the table."""
    return {"row": "int64", "um_per_px": "float64"}.get(column, "str")


def _check_unique(table: pd.DataFrame, given: str) -> None:
    """Refuse a photo that is listed twice."""
    again = table[table["photo"].duplicated(keep="first")]
    if len(again):
        photo = again["photo"].iloc[0]
        rows = table.loc[table["photo"] == photo, "row"].tolist()
        raise SheetError(
            f"{given}, rows {' and '.join(str(r) for r in rows)}",
            f"the photo {photo!r} is listed twice",
            "keep one row for each photo",
        )


def _fitting(photo: str, names: list[str]) -> list[str]:
    """List the names a cell can mean, by the strictest rule that finds any."""
    exact = [n for n in names if _clean(n) == photo]
    if exact:
        return exact
    folded = photo.casefold()
    pairs = [(n, _clean(n).casefold()) for n in names]
    whole = [n for n, f in pairs if f == folded]
    return whole or [n for n, f in pairs if f.endswith("/" + folded) or folded.endswith("/" + f)]
