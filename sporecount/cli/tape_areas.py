"""The area of each sample's tape: what the sheet says, or else what holds for all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from sporecount.errors import SheetError
from sporecount.photo.samples import SampleFiles

#: The column of a sheet.
TAPE_COLUMN = "tape_mm2"


def tape_areas(
    samples: Sequence[SampleFiles], sheet_rows: Mapping[str, Mapping[str, Any]], usual_mm2: float
) -> dict[str, float]:
    """Return the area of each sample's tape, mm2.

    Parameters
    ----------
    samples : sequence of SampleFiles
        The samples.
    sheet_rows : mapping of str to mapping
        Photo name to its row of the sheet.
    usual_mm2 : float
        The area where the sheet says nothing.

    Raises
    ------
    SheetError
        If an area is no positive number, or photos of one tape have different ones.

    Examples
    --------
    >>> from pathlib import Path
    >>> from sporecount.photo.folder import PhotoFile
    >>> files = tuple(PhotoFile(Path(name), name) for name in ("1.jpg", "2.jpg"))
    >>> tape_areas([SampleFiles("A1", files)], {"2.jpg": {"tape_mm2": "40"}}, 100.0)
    {'A1': 40.0}
    """
    return {sample.name: _area(sample, sheet_rows, usual_mm2) for sample in samples}


def _area(
    sample: SampleFiles, sheet_rows: Mapping[str, Mapping[str, Any]], usual_mm2: float
) -> float:
    said = {}
    for file in sample.files:
        cell = str(sheet_rows.get(file.name, {}).get(TAPE_COLUMN) or "").strip()
        if cell:
            said[_number(cell, file.name)] = file.name
    if len(said) > 1:
        raise SheetError(
            f"sample {sample.name}, {TAPE_COLUMN} of {' and '.join(list(said.values())[:2])}",
            "one tape has one area",
            "write the same number for all photos of a sample",
        )
    return next(iter(said), usual_mm2)


def _number(cell: str, photo: str) -> float:
    try:
        area = float(cell.replace(",", "."))
    except ValueError:
        area = 0.0
    if not (math.isfinite(area) and area > 0):
        raise SheetError(
            f"photo {photo}, {TAPE_COLUMN} {cell!r}",
            "the area of a tape is a positive number of mm2",
            "write a number such as 40, or leave the cell empty",
        )
    return area
