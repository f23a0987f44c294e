"""The followed fields of a trial, each from its two counted photos, and kept when finished."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from sporecount.cli.batch import PROBLEMS_FILE, Batch, Problems
from sporecount.cli.parts import PARTS_FOLDER, PhotoResult, name_of, plain_value
from sporecount.counts.summary import COUNTED
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.report.files import write_whole
from sporecount.scoring import view_of
from sporecount.tape.view import View
from sporecount.trial.followed.match import SPORE_COLUMNS
from sporecount.trial.followed.pairs import FieldPhotos
from sporecount.trial.followed.table import (
    FIELD_COLUMNS,
    blank_row,
    empty_spores,
    field_row,
)

#: Changes with the way spores are followed, so that nothing kept from before is taken over.
_WAY = 3

#: Photos of other fields that tell specks on the lens: two would do.
_OTHERS = 3


@dataclass(frozen=True, eq=False)
class FieldResult:
    """What is kept of one field.

    Attributes
    ----------
    row : dict
        Columns :data:`sporecount.trial.followed.table.FIELD_COLUMNS`.
    spores : DataFrame
        Columns :data:`sporecount.trial.followed.match.SPORE_COLUMNS`.
    photo : dict
        Row of ``photos.csv`` of its photo before treatment.
    """

    row: dict[str, Any]
    spores: pd.DataFrame
    photo: dict[str, Any]


def follow_fields(
    batch: Batch,
    fields: Sequence[FieldPhotos],
    photos: Mapping[str, PhotoResult],
    tell: Callable[[FieldResult], None],
) -> list[FieldResult]:
    """Follow the spores of each field, or return its result where it is finished already.

    Parameters
    ----------
    batch : Batch
        What is the same for all photos.
    fields : sequence of FieldPhotos
        The fields.
    photos : mapping of str to PhotoResult
        Photo name to what counting it gave.
    tell : callable
        Called with each result.
    """
    follower = _Follower(batch, fields, photos)
    results = []
    for field in fields:
        results.append(follower.result(field))
        tell(results[-1])
    return results


class _Follower:
    """Follows one field after the other; keeps the views that tell specks on the lens."""

    def __init__(
        self, batch: Batch, fields: Sequence[FieldPhotos], photos: Mapping[str, PhotoResult]
    ) -> None:
        self._batch, self._photos = batch, photos
        self._before = [
            one.before
            for one in fields
            if one.before and photos[one.before.name].summary["status"] == COUNTED
        ]
        self._views: dict[str, View] = {}

    def result(self, field: FieldPhotos) -> FieldResult:
        """Return what became of a field; whatever goes wrong becomes its row."""
        before = self._photo(field.before)
        try:
            return self._followed(field, before)
        except Exception as error:
            name = field.before.name if field.before else field.slide
            Problems(self._batch.out / PROBLEMS_FILE, go_on=True).add(name, error)
            words = f"it could not be followed ({type(error).__name__}); see {PROBLEMS_FILE}"
            return FieldResult(blank_row(field, words), empty_spores(), before)

    def _followed(self, field: FieldPhotos, before: dict[str, Any]) -> FieldResult:
        reason = self._reason(field)
        if reason or field.before is None or field.after is None:
            return FieldResult(blank_row(field, reason), empty_spores(), before)
        others = self._others(field.before)
        path = self._batch.out / PARTS_FOLDER / f"field-{self._key(field, others)}.json"
        kept = None if self._batch.afresh else _load(path)
        if kept is not None:
            return FieldResult(*kept, before)
        settings = self._batch.settings
        row, spores = field_row(
            field,
            self._view(field.before),
            self._view(field.after, keep=False),
            settings.follow,
            settings.tape,
            tuple(self._view(other) for other in others),
        )
        _save(path, row, spores)
        return FieldResult(row, spores, before)

    def _reason(self, field: FieldPhotos) -> str:
        """Return why a field can't be followed by what its photos are."""
        if field.after is None:
            return "there is no photo of it after treatment"
        for file, when in ((field.before, "before"), (field.after, "after")):
            row = self._photo(file)
            if row["status"] != COUNTED:
                return f"the photo {when} {row['status']}: {row['reason']}"
        return ""

    def _photo(self, file: PhotoFile | None) -> dict[str, Any]:
        return {} if file is None else dict(self._photos[file.name].summary)

    def _others(self, own: PhotoFile) -> list[PhotoFile]:
        """Return photos of the fields that come before this one, or of the last ones."""
        place = next((n for n, file in enumerate(self._before) if file.name == own.name), 0)
        near = [self._before[place - n - 1] for n in range(min(_OTHERS, len(self._before) - 1))]
        return [file for file in near if file.name != own.name]

    def _view(self, file: PhotoFile, *, keep: bool = True) -> View:
        if file.name not in self._views:
            result = self._photos[file.name]
            photo = read_photo(file.path, file.name)
            view = view_of(
                photo,
                self._batch.scales.choose(photo),
                result.summary,
                result.detections,
                self._batch.settings,
            )
            if not keep:
                return view
            while len(self._views) > _OTHERS:
                self._views.pop(next(iter(self._views)))
            self._views[file.name] = view
        return self._views[file.name]

    def _key(self, field: FieldPhotos, others: Sequence[PhotoFile]) -> str:
        """Return a name that changes with anything that can change the result."""
        files = [file for file in (field.before, field.after, *others) if file is not None]
        photos = [self._batch.key(file, file_sha256(file.path)) for file in files]
        named = [field.arm, field.slide, field.code, field.field, [file.name for file in files]]
        return name_of([_WAY, named, photos, FIELD_COLUMNS, list(SPORE_COLUMNS)])


def _load(path: Path) -> tuple[dict[str, Any], pd.DataFrame] | None:
    try:
        kept = json.loads(path.read_text("utf-8"))
        spores = {
            name: pd.Series(kept["spores"][name], dtype=kind)
            for name, kind in SPORE_COLUMNS.items()
        }
        return dict(kept["row"]), pd.DataFrame(spores)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _save(path: Path, row: Mapping[str, Any], spores: pd.DataFrame) -> None:
    columns = {name: [plain_value(value) for value in spores[name]] for name in SPORE_COLUMNS}
    text = json.dumps({"row": row, "spores": columns}, default=plain_value)
    write_whole(path, text.encode())
