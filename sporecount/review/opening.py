"""Which photos a review is about: those of folders, of a sheet, of a log's sample, of a trial."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sporecount.errors import SheetError
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile, find_photos
from sporecount.photo.photo import Photo
from sporecount.photo.samples import by_folder
from sporecount.photo.sheet import Sheet
from sporecount.review.errors import ReviewError
from sporecount.review.queue import COUNT, STATES
from sporecount.scale.calibration import Calibration
from sporecount.scale.choose import choose_calibration
from sporecount.scale.eyepiece import Eyepiece


@dataclass(frozen=True)
class ScaleChoice:
    """What a person said about the scale; see `sporecount.scale.choose.choose_calibration`.

    Attributes
    ----------
    measured : Calibration or None
        One that was measured just now, on a ruling: it counts before all others.
    um_per_px : float or None
        Scale of all photos.
    saved_name : str or None
        Name of a saved scale for all photos.
    eyepiece : Eyepiece or None
        Numbers engraved on the microscope.
    """

    measured: Calibration | None = None
    um_per_px: float | None = None
    saved_name: str | None = None
    eyepiece: Eyepiece | None = None


@dataclass(frozen=True)
class ToReview:
    """Photos to review, with what is known of them.

    Attributes
    ----------
    files : tuple of PhotoFile
        The photos.
    samples : mapping of str to str
        Photo name to the tape (in a trial: the slide) that it shows.
    rows : mapping of str to mapping
        Photo name to its row of a sheet, for the scale.
    scale : ScaleChoice
        What else is said of the scale.
    blind : bool
        Names and arms must not be seen before all are closed.
    aim : str
        What a review is for: ``COUNT`` or ``STATES`` of `sporecount.review.queue`.
    notes : tuple of str
        What a person should know.
    """

    files: tuple[PhotoFile, ...]
    samples: Mapping[str, str]
    rows: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    scale: ScaleChoice = field(default_factory=ScaleChoice)
    blind: bool = False
    aim: str = COUNT
    notes: tuple[str, ...] = ()

    def scale_of(self, photo: Photo) -> Calibration:
        """Return the scale of a photo.

        Raises
        ------
        ScaleError
            If there is none, or the one that counts is impossible.
        """
        if self.scale.measured is not None:
            return self.scale.measured
        return choose_calibration(
            photo,
            um_per_px=self.scale.um_per_px,
            sheet_row=self.rows.get(photo.name),
            saved_name=self.scale.saved_name,
            eyepiece=self.scale.eyepiece,
        )


def from_paths(
    paths: Sequence[str | Path],
    scale: ScaleChoice | None = None,
    *,
    sheet: Path | None = None,
    blind: bool = False,
) -> ToReview:
    """Return photos and folders of them; each folder is a tape unless a sheet says otherwise.

    Raises
    ------
    PhotoUnreadableError, SheetError
        If there is no photo, or the sheet cannot be used.
    """
    files = tuple(find_photos(paths))
    samples = {
        file.name: sample.name
        for sample in by_folder(files, [Path(path) for path in paths])
        for file in sample.files
    }
    rows: dict[str, dict[str, Any]] = {}
    notes: tuple[str, ...] = ()
    if sheet is not None:
        match = Sheet.read(sheet).match(file.name for file in files)
        rows = match.rows
        named = {name: str(row["sample"]) for name, row in rows.items() if row.get("sample")}
        samples = {**samples, **named}
        if match.missing:
            notes = (f"in the sheet but not among the photos: {', '.join(match.missing[:3])}",)
    return ToReview(files, samples, rows, scale or ScaleChoice(), blind, notes=notes)


def from_log(
    log_file: Path,
    sample: str,
    folders: Sequence[str | Path],
    scale: ScaleChoice | None = None,
    *,
    blind: bool = False,
) -> ToReview:
    """Return the photos of a sample's newest result in a rearing log.

    The log keeps no pictures; they are known again by their hashes, whatever they are called
    by now, and have the scale of the result unless another one is given.

    Parameters
    ----------
    log_file : Path
        The log.
    sample : str
        Name of the sample, or its id.
    folders : sequence of paths
        Where to look for the photos.
    scale : ScaleChoice, optional
        Another scale.
    blind : bool
        As for `ToReview`.

    Raises
    ------
    LogError
        If there is no such sample.
    ReviewError
        If it has no result, or none of its photos is there.
    """
    from sporecount.rearing.log import RearingLog

    with RearingLog.open(log_file) as log:
        found, tables = log.find("samples", sample), log.rows()
    results = [one for one in tables["results"] if one["sample_id"] == found["id"]]
    newest = max(results, key=lambda one: str(one["made_at"]), default={})
    wanted = {
        str(one["sha256"]): one
        for one in tables["photos"]
        if newest and one["result_id"] == newest["id"]
    }
    files, rows = [], {}
    for file in find_photos(folders) if wanted else ():
        one = wanted.pop(file_sha256(file.path), None)
        if one is not None:
            files.append(file)
            kept = one["um_per_px"]
            rows[file.name] = {"um_per_px": math.nan if kept is None else kept}
    if not files:
        wrong = "none of its photos is in the folders" if newest else "it has no result"
        raise ReviewError(f"sample {sample}", wrong, "give the folder that its photos are in")
    missing = [str(one["photo"]) for one in wanted.values()]
    notes = (f"not in the folders: {', '.join(missing[:3])}",) if missing else ()
    samples = {file.name: str(found["name"]) for file in files}
    return ToReview(tuple(files), samples, rows, scale or ScaleChoice(), blind, notes=notes)


def from_trial(
    trial_file: Path,
    scale: ScaleChoice | None = None,
    *,
    photos: Path | None = None,
    sheet: Path | None = None,
    key: Path | None = None,
) -> ToReview:
    """Return the photos of a sanitizer trial; its review is always blind.

    Parameters
    ----------
    trial_file : Path
        The trial's plan, as `sporecount trial report` takes it.
    scale : ScaleChoice, optional
        The scale, where the sheet has none.
    photos, sheet, key : Path, optional
        In place of what the plan names.

    Raises
    ------
    TrialError, SheetError, PhotoUnreadableError
        If the plan, its sheet, its key or its photos cannot be used.
    """
    from sporecount.trial.blind import read_key
    from sporecount.trial.photos import group_photos, with_endings
    from sporecount.trial.plan_file import read_trial

    trial = read_trial(trial_file)
    sheet = sheet or _beside(trial_file, trial.sheet)
    if sheet is None:
        wrong = "it names no sheet of photos"
        raise SheetError(str(trial_file), wrong, 'write sheet = "photos.csv" into it')
    folder = photos or _beside(trial_file, trial.photos) or sheet.parent
    files = find_photos(folder)
    names = [file.name for file in files]
    read = Sheet.read(sheet)
    rows = Sheet(with_endings(read.table, names), read.given).match(names).rows
    key = key or _beside(trial_file, trial.key)
    slides, _ = group_photos(
        [file for file in files if file.name in rows],
        rows,
        [arm.name for arm in trial.arms],
        read_key(key) if key else (),
    )
    samples = {file.name: f"{one.arm} {one.slide}" for one in slides for file in one.files}
    kept = tuple(file for file in files if file.name in samples)
    return ToReview(kept, samples, rows, scale or ScaleChoice(), blind=True, aim=STATES)


def _beside(file: Path, name: str) -> Path | None:
    return file.parent / name if name else None
