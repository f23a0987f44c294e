"""What was seen of a tape, checked and put together by place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sporecount.errors import SporecountError

#: Columns that a table of fields must have.
FIELD_COLUMNS: tuple[str, ...] = ("photo", "examined_mm2", "spores")

#: Fields may add up to this much more than the tape before that is an error: areas are rounded.
_MOST_EXCESS = 0.02


class LoadError(SporecountError):
    """Fields or a tape from which no load can be worked out."""


@dataclass(frozen=True)
class Seen:
    """What was seen of one tape.

    Attributes
    ----------
    tape_mm2 : float
        Area of the whole tape.
    areas_mm2, spores : ndarray, shape (places,)
        Area examined and spores counted at each place. A place is one field, or
        several that touch or overlap.
    fields : int
        Number of fields.
    confidences : tuple of ndarray, or None
        For each field, the chance of each detection to be a spore.
    notes : tuple of str
        What the reader should know.
    """

    tape_mm2: float
    areas_mm2: NDArray[np.float64]
    spores: NDArray[np.int64]
    fields: int
    confidences: tuple[NDArray[np.float64], ...] | None = None
    notes: tuple[str, ...] = ()

    @property
    def examined_mm2(self) -> float:
        """Area examined, never more than the tape."""
        return min(float(self.areas_mm2.sum()), self.tape_mm2)

    @property
    def unseen_mm2(self) -> float:
        """Area of the tape that was not examined."""
        return self.tape_mm2 - self.examined_mm2

    @property
    def total(self) -> int:
        """Spores counted."""
        return int(self.spores.sum())

    @property
    def share(self) -> float:
        """Share of the tape that was examined, above 0 and at most 1."""
        return self.examined_mm2 / self.tape_mm2


def seen_from(
    fields: pd.DataFrame,
    tape_mm2: float,
    confidences: Sequence[ArrayLike] | None = None,
) -> Seen:
    """Check a table of fields and put together those that share a ``group``.

    Parameters
    ----------
    fields : DataFrame
        One row for each field; no part of the tape is in two of them. Columns
        ``photo``, ``examined_mm2``, ``spores``, and optionally ``group``: fields
        with the same value touch or overlap and count as one place.
    tape_mm2 : float
        Area of the whole tape.
    confidences : sequence of array_like, optional
        For each row, the chance of each of its detections to be a spore.

    Raises
    ------
    LoadError
        If a column is missing, a value is impossible, or the fields are larger than
        the tape.

    Examples
    --------
    >>> rows = [("a", 1.5, 3, 1), ("b", 1.0, 0, 1), ("c", 2.0, 4, 2)]
    >>> seen = seen_from(pd.DataFrame(rows, columns=[*FIELD_COLUMNS, "group"]), 100.0)
    >>> seen.areas_mm2.tolist(), seen.spores.tolist(), seen.fields
    ([2.5, 2.0], [3, 4], 3)
    """
    areas, counts = _checked(fields)
    notes = _check_tape(float(areas.sum()), tape_mm2)
    chances = _checked_confidences(confidences, counts)
    if "group" in fields:
        groups, _ = pd.factorize(fields["group"], use_na_sentinel=False)
    else:
        groups = np.arange(len(fields))
    places = int(groups.max()) + 1
    if places < len(fields):
        word = "place" if places == 1 else "places"
        notes += (f"{len(fields)} fields that touch in part count as {places} {word}",)
    return Seen(
        tape_mm2=float(tape_mm2),
        areas_mm2=np.bincount(groups, weights=areas, minlength=places).astype(float),
        spores=np.bincount(groups, weights=counts, minlength=places).round().astype(np.int64),
        fields=len(fields),
        confidences=chances,
        notes=notes,
    )


def _checked(fields: pd.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    missing = [name for name in FIELD_COLUMNS if name not in fields]
    if missing:
        raise LoadError(
            f"fields with columns {list(fields.columns)}",
            f"there is no column {', '.join(missing)}",
            f"give {', '.join(FIELD_COLUMNS)}",
        )
    if not len(fields):
        raise LoadError(
            "fields",
            "none was counted, so nothing is known",
            "count at least one photo of the tape",
        )
    areas = fields["examined_mm2"].to_numpy(dtype=float)
    counts = fields["spores"].to_numpy(dtype=float)
    for row, (area, count) in enumerate(zip(areas, counts, strict=True)):
        name = fields["photo"].iloc[row]
        if not (np.isfinite(area) and area > 0.0):
            raise LoadError(
                f"field {name}, examined_mm2 {area}",
                "an examined area is larger than 0",
                "leave out photos that were not counted",
            )
        if not (count >= 0.0 and count == round(count)):
            raise LoadError(
                f"field {name}, spores {count}",
                "a count is a whole number, 0 or more",
                "leave out photos that were not counted",
            )
    return areas, counts.astype(np.int64)


def _check_tape(examined_mm2: float, tape_mm2: float) -> tuple[str, ...]:
    if not (np.isfinite(tape_mm2) and tape_mm2 > 0.0):
        raise LoadError(
            f"tape_mm2 {tape_mm2}",
            "the tape's area is larger than 0",
            "give it in mm2, such as 100",
        )
    excess = examined_mm2 / tape_mm2 - 1.0
    if excess > _MOST_EXCESS:
        raise LoadError(
            f"fields of {examined_mm2:.6g} mm2 on a tape of {tape_mm2:.6g} mm2",
            "they are larger than the tape, so parts were counted twice or an area is wrong",
            "check the tape's area and the scale, and give each part of the tape once",
        )
    if excess > 1e-9:
        return (f"the fields are {excess:.1%} larger than the tape, taken for the whole of it",)
    return ()


def _checked_confidences(
    confidences: Sequence[ArrayLike] | None, counts: NDArray[np.int64]
) -> tuple[NDArray[np.float64], ...] | None:
    if confidences is None:
        return None
    arrays = tuple(np.asarray(values, dtype=float).reshape(-1) for values in confidences)
    sizes = [values.size for values in arrays]
    if sizes != counts.tolist():
        raise LoadError(
            f"confidences for {sizes} detections",
            f"the fields have {counts.tolist()} spores",
            "give one confidence for each spore counted",
        )
    if any(not np.all((values >= 0.0) & (values <= 1.0)) for values in arrays):
        raise LoadError("confidences", "each lies between 0 and 1", "give chances")
    return arrays
