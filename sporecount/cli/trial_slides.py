"""The slides of a trial, each put together from its counted photos, and kept when finished."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sporecount.cli.batch import PROBLEMS_FILE, Batch, Problems
from sporecount.cli.parts import PARTS_FOLDER, PhotoResult, name_of, plain_value
from sporecount.counts.summary import UNREADABLE
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.report.files import write_whole
from sporecount.scoring import view_of
from sporecount.tape.tape import Tape, assemble, empty_united
from sporecount.tape.union import UNITED_COLUMNS
from sporecount.tape.view import View
from sporecount.trial.photos import SlidePhotos, slide_row

#: Columns of what is found on a slide: those of the united photos, and whether it counts.
FOUND_COLUMNS: dict[str, str] = {**UNITED_COLUMNS, "counted": "bool"}


@dataclass(frozen=True, eq=False)
class SlideResult:
    """What is kept of one slide.

    Attributes
    ----------
    row : dict
        Its row, columns `sporecount.trial.photos.SLIDE_COLUMNS`.
    found : DataFrame
        Each object once, columns :data:`FOUND_COLUMNS`; ``photo`` and ``x_px``, ``y_px``
        say where it is to be seen.
    photos : list of dict
        Rows of ``photos.csv`` of its photos.
    """

    row: dict[str, Any]
    found: pd.DataFrame
    photos: list[dict[str, Any]]


def count_slide(batch: Batch, slide: SlidePhotos, photos: Mapping[str, PhotoResult]) -> SlideResult:
    """Put a slide together, or return its result where it is finished already.

    Whatever goes wrong becomes its row: one slide must not stop the others.

    Parameters
    ----------
    batch : Batch
        What is the same for all photos.
    slide : SlidePhotos
        The slide.
    photos : mapping of str to PhotoResult
        Photo name to what counting it gave.
    """
    own = [photos[file.name] for file in slide.files]
    try:
        return _count_or_recall(batch, slide, own)
    except Exception as error:
        Problems(batch.out / PROBLEMS_FILE, go_on=True).add(slide.slide, error)
        rows = [dict(photo.summary) for photo in own]
        row = slide_row(slide, rows, None)
        row["notes"] = (
            f"its photos could not be put together ({type(error).__name__}); see {PROBLEMS_FILE}"
        )
        return SlideResult(row, _empty(), rows)


def _count_or_recall(
    batch: Batch, slide: SlidePhotos, photos: Sequence[PhotoResult]
) -> SlideResult:
    rows = [dict(photo.summary) for photo in photos]
    path = batch.out / PARTS_FOLDER / f"slide-{_key(batch, slide, rows)}.json"
    kept = None if batch.afresh else _load(path)
    if kept is not None:
        return SlideResult(*kept, rows)
    tape = _tape(batch, slide.files, photos)
    found = _empty() if tape is None else tape.detections.loc[:, list(FOUND_COLUMNS)]
    result = SlideResult(slide_row(slide, rows, tape), found, rows)
    _save(path, result)
    return result


def _tape(batch: Batch, files: Sequence[PhotoFile], photos: Sequence[PhotoResult]) -> Tape | None:
    readable = [
        (file, photo)
        for file, photo in zip(files, photos, strict=True)
        if photo.summary["status"] != UNREADABLE
    ]
    if not readable:
        return None

    def view(pair: tuple[PhotoFile, PhotoResult]) -> View:
        file, result = pair
        photo = read_photo(file.path, file.name)
        scale = batch.scales.choose(photo)
        return view_of(photo, scale, result.summary, result.detections, batch.settings)

    with ThreadPoolExecutor(batch.jobs) as pool:
        return assemble(list(pool.map(view, readable)), batch.settings.tape)


def _key(batch: Batch, slide: SlidePhotos, rows: Sequence[Mapping[str, Any]]) -> str:
    """Return a name that changes with anything that can change the result."""
    photos = [batch.key(file, file_sha256(file.path)) for file in slide.files]
    status = [(row["status"], row["reason"]) for row in rows]
    everything = [slide.arm, slide.slide, slide.code, photos, status, list(FOUND_COLUMNS)]
    return name_of(everything)


def _load(path: Path) -> tuple[dict[str, Any], pd.DataFrame] | None:
    try:
        kept = json.loads(path.read_text("utf-8"))
        return dict(kept["row"]), _table(kept["found"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _save(path: Path, result: SlideResult) -> None:
    found = {name: [plain_value(value) for value in result.found[name]] for name in FOUND_COLUMNS}
    text = json.dumps({"row": result.row, "found": found}, default=plain_value)
    write_whole(path, text.encode())


def _table(columns: Mapping[str, list[Any]]) -> pd.DataFrame:
    shaped = {
        name: [np.array(value, float).reshape(-1, 2) for value in columns[name]]
        if name == "outline_px"
        else columns[name]
        for name in FOUND_COLUMNS
    }
    return pd.DataFrame(
        {name: pd.Series(shaped[name], dtype=kind) for name, kind in FOUND_COLUMNS.items()}
    )


def _empty() -> pd.DataFrame:
    return empty_united().assign(counted=pd.Series([], dtype=bool))
