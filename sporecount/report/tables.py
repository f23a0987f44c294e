"""The two tables: ``detections.csv`` and ``photos.csv``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.counts.summary import SUMMARY_COLUMNS
from sporecount.detect.table import COLUMNS

#: Columns of ``detections.csv``, in order.
DETECTION_COLUMNS: tuple[str, ...] = (
    "photo",
    *(name for name in COLUMNS if name != "outline_px"),
    "outline",
)

#: First characters that make a spreadsheet take a cell for a formula.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: Digits that are kept of a number with a fraction.
_DIGITS = 6


def detections_csv(photos: Iterable[tuple[str, pd.DataFrame]]) -> str:
    """Return the text of ``detections.csv``.

    Parameters
    ----------
    photos : iterable of (str, DataFrame)
        Each photo's name and its detections.

    Returns
    -------
    str
        Columns of :data:`DETECTION_COLUMNS`; ``outline`` holds the points of the
        outline as ``x,y x,y ...`` in photo pixels.
    """
    return csv_text(
        DETECTION_COLUMNS, (row for name, table in photos for row in _detection_rows(name, table))
    )


def photos_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the text of ``photos.csv``: one row for each photo that was given.

    Parameters
    ----------
    rows : sequence of mappings
        Rows with the columns of :data:`SUMMARY_COLUMNS`; further columns follow
        in the order in which they first occur.
    """
    further = dict.fromkeys(name for row in rows for name in row if name not in SUMMARY_COLUMNS)
    columns = (*SUMMARY_COLUMNS, *further)
    return csv_text(columns, ([row.get(name) for name in columns] for row in rows))


def outline_text(outline_px: NDArray[np.float64]) -> str:
    """Return an outline as text.

    Examples
    --------
    >>> outline_text(np.array([[1.0, 2.04], [3.26, 4.0]]))
    '1.0,2.0 3.3,4.0'
    """
    points = np.asarray(outline_px, dtype=float).reshape(-1, 2)
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def cell(value: Any) -> str:
    """Return a value as the text of one cell.

    Numbers keep six digits. Text that a spreadsheet would run as a formula gets
    an apostrophe in front; numbers never do.

    Examples
    --------
    >>> [cell(value) for value in (1 / 3, -2, None, float("nan"), True, "=A1", "a=b")]
    ['0.333333', '-2', '', '', 'yes', "'=A1", 'a=b']
    """
    if value is None or value is pd.NA:
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if isinstance(value, (float, np.floating)):
        return f"{float(value):.{_DIGITS}g}" if math.isfinite(value) else ""
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _detection_rows(name: str, table: pd.DataFrame) -> Iterable[list[Any]]:
    plain = [column for column in COLUMNS if column != "outline_px"]
    for values, outline in zip(
        table[plain].itertuples(index=False), table["outline_px"], strict=True
    ):
        yield [name, *values, outline_text(outline)]


def csv_text(columns: Sequence[str], rows: Iterable[Iterable[Any]]) -> str:
    """Return a table as CSV, cells as `cell` makes them."""
    lines = [",".join(map(_quoted, map(cell, columns)))]
    lines += [",".join(_quoted(cell(value)) for value in row) for row in rows]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Quote a cell where it must be; the csv module forgets to for a lone carriage return."""
    if any(mark in text for mark in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text
