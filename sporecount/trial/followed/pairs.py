"""Which photos show the same field before and after treatment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import pandas as pd

from sporecount.errors import SheetError
from sporecount.photo.folder import PhotoFile
from sporecount.trial.blind import KeyRow
from sporecount.trial.photos import meant_by, natural

#: What the column ``when`` of a sheet may say; empty is after.
BEFORE, AFTER = "before", "after"


@dataclass(frozen=True)
class FieldPhotos:
    """The photos of one field.

    Attributes
    ----------
    arm, slide, code : str
        Of its slide, as in :class:`sporecount.trial.photos.SlidePhotos`.
    field : str
        Which field of the slide.
    before, after : PhotoFile or None
        None where there is no such photo.
    """

    arm: str
    slide: str
    code: str
    field: str
    before: PhotoFile | None = None
    after: PhotoFile | None = None


def when_of(row: Mapping[str, Any] | None) -> str:
    """Return whether a photo was taken before or after treatment, by its row of the sheet.

    Raises
    ------
    SheetError
        If the column ``when`` says something else.

    Examples
    --------
    >>> when_of({"row": 2, "when": "Before"}), when_of({"row": 3})
    ('before', 'after')
    """
    word = str((row or {}).get("when") or "").strip().casefold()
    if word not in ("", BEFORE, AFTER):
        raise SheetError(
            f"sheet, row {(row or {}).get('row')}, when {word!r}",
            f"a photo was taken {BEFORE} or {AFTER} treatment",
            f"write {BEFORE} or {AFTER}, or leave it empty",
        )
    return BEFORE if word == BEFORE else AFTER


def with_table(
    rows: Mapping[str, Mapping[str, Any]], table: pd.DataFrame | None, names: Iterable[str]
) -> dict[str, dict[str, Any]]:
    """Return the sheet's rows with what a table of followed fields adds.

    Parameters
    ----------
    rows : mapping of str to mapping
        Photo name to its row of the sheet.
    table : DataFrame or None
        From `sporecount.trial.table_file.read_followed`: ``slide``, ``before``, ``after``,
        perhaps ``arm`` and ``field``.
    names : iterable of str
        Names of the photos that are there.

    Raises
    ------
    SheetError
        If a photo of the table is not there, or is in two of its rows.
    """
    both: dict[str, dict[str, Any]] = {name: dict(row) for name, row in rows.items()}
    if table is None or BEFORE not in table:
        return both
    there = list(names)
    taken: dict[str, int] = {}
    for place, row in enumerate(table.to_dict("records"), 2):
        for when in (BEFORE, AFTER):
            where = f"table of followed fields, row {place}"
            name = _photo(str(row[when]), there, where)
            if name in taken:
                raise SheetError(
                    f"{where}, {name}",
                    f"it is in row {taken[name]} too",
                    "a photo shows one field, before or after",
                )
            taken[name] = place
            own = {"row": place, "slide": row["slide"], "arm": row.get("arm", "")}
            own |= {key: value for key, value in both.get(name, {}).items() if value != ""}
            both[name] = {**own, "when": when, "field": row.get("field") or str(place - 1)}
    return both


def pair_fields(
    files: Iterable[PhotoFile],
    rows: Mapping[str, Mapping[str, Any]],
    arms: Sequence[str],
    key: Sequence[KeyRow] = (),
) -> list[FieldPhotos]:
    """Return each field of which there is a photo before treatment.

    Parameters
    ----------
    files : iterable of PhotoFile
        The photos.
    rows : mapping of str to mapping
        Photo name to its row of the sheet: ``slide``, ``field`` (which field of the slide;
        empty where only one is followed), ``when``, and ``arm`` where it is not blind.
    arms, key
        As in :func:`sporecount.trial.photos.group_photos`.

    Returns
    -------
    list of FieldPhotos
        By arm as in ``arms``, by slide and field.

    Raises
    ------
    SheetError
        If two photos show one field at one time, or a slide or an arm makes no sense.
    """
    found: dict[tuple[str, str, str], dict[str, Any]] = {}
    for file in files:
        row = rows.get(file.name)
        if row is None or not row.get("slide"):
            continue
        when, field = when_of(row), " ".join(str(row.get("field") or "").split())
        if when == AFTER and not field and not row.get("when"):
            continue  # a photo of the slide, of no followed field
        arm, slide, code = meant_by(row, arms, key)
        own = found.setdefault(
            (arm, slide.casefold(), field.casefold()),
            {"arm": arm, "slide": slide, "code": code, "field": field},
        )
        if when in own:
            raise SheetError(
                f"sheet, row {row['row']}, slide {row['slide']!r}, field {field!r}",
                f"there is another photo of it {when} treatment, {own[when].name}",
                "give each field of a slide its own number in the column field",
            )
        own[when] = file
    order = {name: place for place, name in enumerate(arms)}
    fields = [FieldPhotos(**one) for one in found.values() if BEFORE in one]
    return sorted(fields, key=lambda one: (order[one.arm], natural(one.slide), natural(one.field)))


def _photo(name: str, there: Sequence[str], where: str) -> str:
    """Return the photo that is meant, without regard to case and, if need be, folder and ending."""
    wanted = name.replace("\\", "/").casefold()
    for own in (
        lambda photo: photo.casefold(),
        lambda photo: PurePosixPath(photo).name.casefold(),
        lambda photo: PurePosixPath(photo).stem.casefold(),
    ):
        like = [photo for photo in there if own(photo) == own(wanted)]
        if len(like) == 1:
            return like[0]
    raise SheetError(
        f"{where}, photo {name!r}", "there is no such photo", "check the name, or add the photo"
    )
