"""What the tool says of the photos to be reviewed: counted once, and kept for the next time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from sporecount import __version__
from sporecount.counting import PhotoCount, count_photo
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.counts.summary import unreadable_summary
from sporecount.detect.table import empty_detections
from sporecount.errors import SporecountError
from sporecount.microscope import Microscope, microscope_for, shared_microscope
from sporecount.photo.folder import PhotoFile
from sporecount.photo.photo import Photo
from sporecount.photo.read import read_photo
from sporecount.report.files import write_whole
from sporecount.report.weights import weights_sha256
from sporecount.review.record import Counted, counted_entry, counted_of
from sporecount.review.use import ReviewFolders
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

#: Folder of kept counts, within the folder of reviews.
KEPT_FOLDER = "counted"

#: What chooses the scale of each photo, and what counts one on a microscope, if one is known.
ScaleOf = Callable[[Photo], Calibration]
Count = Callable[[Photo, Calibration, Settings, Microscope | None], PhotoCount]


@dataclass(frozen=True, eq=False)
class Prepared:
    """A photo that is ready to be opened: read, and counted."""

    photo: Photo
    counted: PhotoCount
    microscope: Microscope | None = None


@dataclass(frozen=True, eq=False)
class ToolCount:
    """What the tool said of a photo, without its pixels.

    Attributes
    ----------
    summary : dict
        Its row of ``photos.csv``.
    detections : DataFrame
        Columns ``sporecount.detect.table.COLUMNS``.
    calibration : Calibration or None
        Its scale; None where it could not be worked on.
    """

    summary: Mapping[str, Any]
    detections: pd.DataFrame
    calibration: Calibration | None


class ToolCounts:
    """Counts of photos, made when they are first asked for.

    They are kept in files beside the reviews, so that a photo that was counted once opens at
    once. Safe to be used from a thread beside the window's.

    Parameters
    ----------
    scale : callable
        Chooses the scale of each photo.
    settings : Settings
        Those to count with.
    folders : ReviewFolders
        Where reviews of photos are.
    count : callable
        What counts a photo: given the photo, its calibration, the settings and the microscope.
    microscopes : sequence of Microscope
        What is known of the user's own.
    """

    def __init__(
        self,
        scale: ScaleOf,
        settings: Settings,
        folders: ReviewFolders,
        count: Count = count_photo,
        microscopes: Sequence[Microscope] = (),
    ) -> None:
        self._scale, self._settings, self._folders, self._count = scale, settings, folders, count
        self._microscopes = tuple(microscopes)
        self._known: dict[str, ToolCount] = {}

    def rates_of(self, rows: Iterable[Mapping[str, Any]]) -> DetectorRates | None:
        """Return the rates of the microscope that counted photos are of; None for the usual."""
        own = shared_microscope(self._microscopes, rows)
        return None if own is None else own.rates

    def known(self, file: PhotoFile) -> ToolCount | None:
        """Return what is known of a photo without counting it."""
        return self._known.get(file.name)

    def prepare(self, file: PhotoFile) -> Prepared:
        """Read a photo, and count it unless it was.

        Raises
        ------
        PhotoUnreadableError, ScaleError
            If it cannot be counted.
        """
        from sporecount.field.make import make_field

        photo = read_photo(file.path, file.name)
        calibration = self._scale(photo)
        microscope = microscope_for(self._microscopes, calibration.um_per_px)
        path = self._path(file, photo, calibration, microscope)
        kept = _load(path)
        if kept is None:
            counted = self._count(photo, calibration, self._settings, microscope)
            _save(path, counted, calibration)
        else:
            field = make_field(photo, calibration, self._settings.field)
            summary = {**kept[0], "photo": file.name}
            counted = PhotoCount(kept[1], summary, field)
        self._known[file.name] = ToolCount(counted.summary, counted.detections, calibration)
        return Prepared(photo, counted, microscope)

    def tool_count(self, file: PhotoFile) -> ToolCount:
        """Return what the tool says of a photo; one that cannot be counted says why."""
        known = self._known.get(file.name)
        if known is None:
            try:
                self.prepare(file)
                known = self._known[file.name]
            except SporecountError as error:
                summary = unreadable_summary(file.name, f"{error.wrong}; {error.remedy}")
                known = self._known[file.name] = ToolCount(summary, empty_detections(), None)
        return known

    def count_all(
        self,
        files: Sequence[PhotoFile],
        done: Callable[[PhotoFile, ToolCount], None],
        cancelled: Callable[[], bool] = lambda: False,
    ) -> bool:
        """Count photos one after the other.

        Parameters
        ----------
        files : sequence of PhotoFile
            The photos.
        done : callable
            Called after each.
        cancelled : callable
            Asked before each; where it says so, the others are left uncounted.

        Returns
        -------
        bool
            False where it was cancelled.
        """
        for file in files:
            if cancelled():
                return False
            done(file, self.tool_count(file))
        return True

    def _path(
        self,
        file: PhotoFile,
        photo: Photo,
        calibration: Calibration,
        microscope: Microscope | None,
    ) -> Path:
        """Return where a count is kept: under a name that changes with whatever changes it."""
        everything = {
            "scale": asdict(calibration),
            "settings": self._settings.as_dict(),
            "rates": asdict(load_rates()),
            "microscope": None if microscope is None else asdict(microscope),
            "detector": weights_sha256(),
            "version": __version__,
        }
        text = json.dumps(everything, sort_keys=True, default=str)
        key = hashlib.sha256(text.encode()).hexdigest()[:12]
        folder = self._folders.of(file.path) / KEPT_FOLDER
        return folder / f"{photo.sha256[:24]}-{key}.json"


def _load(path: Path) -> tuple[dict[str, Any], pd.DataFrame] | None:
    """Return summary and detections as they were kept; None where they must be made again."""
    try:
        kept = json.loads(path.read_text("utf-8"))
        return dict(kept["counted"]["facts"]), counted_of(kept["counted"]).detections
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _save(path: Path, counted: PhotoCount, calibration: Calibration) -> None:
    entry = counted_entry(Counted(counted.detections, calibration.um_per_px, counted.summary))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps(entry, ensure_ascii=False).encode())
    except OSError:
        return  # it is counted again the next time
