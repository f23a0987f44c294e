"""Named calibrations, kept in one JSON file in the user's configuration folder."""

from __future__ import annotations

import datetime
import json
import math
import os
import re
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sporecount.errors import ScaleError
from sporecount.scale.calibration import Calibration

#: Overrides the folder, for tests and for shared computers.
CONFIG_DIR_VARIABLE = "SPORECOUNT_CONFIG_DIR"
FILE_NAME = "calibrations.json"

#: Width over height may differ by this share and still be "the same shape".
SAME_SHAPE = 0.01

_NAME = re.compile(r"\w[\w .+-]{0,62}\w|\w")


@dataclass(frozen=True)
class SavedCalibration:
    """A calibration under a name.

    Attributes
    ----------
    name : str
        Name; upper and lower case count as the same.
    um_per_px : float
        Micrometres per pixel.
    standard_error : float
        Its standard error, um per pixel; nan where unknown.
    source : str
        Where it came from.
    date : str
        Day it was saved, YYYY-MM-DD.
    width_px, height_px : int
        Size of the photos it is for.
    """

    name: str
    um_per_px: float
    standard_error: float
    source: str
    date: str
    width_px: int
    height_px: int

    def for_photo(self, width_px: int, height_px: int) -> Calibration:
        """Return the calibration for a photo of a given size.

        Parameters
        ----------
        width_px, height_px : int
            Size of the photo.

        Returns
        -------
        Calibration
            With a note where the photo has another shape, as a crop has.

        Raises
        ------
        ScaleError
            If the photo has the shape of the calibrated ones but another size:
            it was resized or digitally zoomed, which changes the scale.
        """
        own, other = sorted((self.width_px, self.height_px)), sorted((width_px, height_px))
        photo = f"a photo of {width_px} x {height_px} px"
        saved = f"calibration {self.name!r} is for {self.width_px} x {self.height_px} px"
        notes: tuple[str, ...] = ()
        if own != other:
            shape = (own[1] / own[0]) / (other[1] / other[0])
            if abs(math.log(shape)) < SAME_SHAPE:
                raise ScaleError(
                    photo,
                    f"{saved}: the same shape in another size, so it was resized or digitally "
                    "zoomed and its scale is another",
                    "use the photo as it left the camera, or calibrate with a micrometer photo "
                    "of this size",
                )
            notes = (f"{photo}, but {saved}: right only if the photo was cropped, not resized",)
        source = f"saved calibration {self.name!r} of {self.date}: {self.source}"
        return Calibration(self.um_per_px, source, self.standard_error, notes)


def calibrations_path() -> Path:
    """Return the file that keeps the calibrations; it need not exist."""
    folder = os.environ.get(CONFIG_DIR_VARIABLE)
    if folder:
        return Path(folder) / FILE_NAME
    import platformdirs

    return Path(platformdirs.user_config_dir("sporecount", appauthor=False)) / FILE_NAME


def list_calibrations() -> list[SavedCalibration]:
    """Return all saved calibrations, sorted by name.

    Raises
    ------
    ScaleError
        If the file is damaged.
    """
    path = calibrations_path()
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))["calibrations"]
        saved = [_from_json(name, entry) for name, entry in stored.items()]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ScaleError) as error:
        raise ScaleError(
            str(path),
            "the file of saved calibrations cannot be read",
            "mend it, or move it away and calibrate again",
        ) from error
    return sorted(saved, key=lambda s: (s.name.casefold(), s.name))


def load_calibration(name: str) -> SavedCalibration:
    """Return a saved calibration by its name.

    Raises
    ------
    ScaleError
        If there is none of that name.
    """
    saved = list_calibrations()
    for one in saved:
        if one.name.casefold() == name.strip().casefold():
            return one
    names = ", ".join(repr(s.name) for s in saved)
    raise ScaleError(
        f"calibration {name!r}",
        "there is no saved calibration of that name",
        f"use one of {names}" if names else "save one with `sporecount calibrate` first",
    )


def save_calibration(
    name: str,
    calibration: Calibration,
    width_px: int,
    height_px: int,
    *,
    replace: bool = False,
    date: datetime.date | None = None,
) -> SavedCalibration:
    """Keep a calibration under a name.

    Parameters
    ----------
    name : str
        Letters, digits, spaces and ``. _ + -``, up to 64 characters.
    calibration : Calibration
        What to keep.
    width_px, height_px : int
        Size of the photo it was measured on.
    replace : bool
        Overwrite one of the same name.
    date : date, optional
        Today by default.

    Returns
    -------
    SavedCalibration
        As it was written.

    Raises
    ------
    ScaleError
        If the name is not allowed or taken, the size is impossible, or the file
        cannot be written.
    """
    name = name.strip()
    if not _NAME.fullmatch(name):
        raise ScaleError(
            f"calibration name {name!r}",
            "a name has 1 to 64 letters, digits, spaces or . _ + - and starts and ends with a "
            "letter or digit",
            'choose one such as "10x camera"',
        )
    if width_px < 1 or height_px < 1:
        raise ScaleError(
            f"photo size {width_px} x {height_px}",
            "a photo has at least one pixel",
            "give the size of the photo that was calibrated",
        )
    saved = list_calibrations()
    if not replace and any(s.name.casefold() == name.casefold() for s in saved):
        raise ScaleError(
            f"calibration {name!r}",
            "there is one of that name already",
            "choose another name, or say that it is to be replaced",
        )
    new = SavedCalibration(
        name=name,
        um_per_px=float(calibration.um_per_px),
        standard_error=float(calibration.standard_error),
        source=calibration.source,
        date=(date or datetime.date.today()).isoformat(),
        width_px=int(width_px),
        height_px=int(height_px),
    )
    _write([s for s in saved if s.name.casefold() != name.casefold()] + [new])
    return new


def _from_json(name: str, entry: dict[str, Any]) -> SavedCalibration:
    """Check and convert one entry of the file."""
    error = entry["standard_error"]
    saved = SavedCalibration(
        name=name,
        um_per_px=float(entry["um_per_px"]),
        standard_error=math.nan if error is None else float(error),
        source=str(entry["source"]),
        date=str(entry["date"]),
        width_px=int(entry["width_px"]),
        height_px=int(entry["height_px"]),
    )
    Calibration(saved.um_per_px, saved.source)  # refuses an impossible scale
    if min(saved.width_px, saved.height_px) < 1:
        raise ValueError("a photo has at least one pixel")
    return saved


def _write(saved: list[SavedCalibration]) -> None:
    """Write all calibrations to a new file, then put it in the old one's place."""
    path = calibrations_path()
    entries: dict[str, dict[str, Any]] = {}
    for one in sorted(saved, key=lambda s: s.name.casefold()):
        entry = asdict(one)
        if not math.isfinite(one.standard_error):
            entry["standard_error"] = None  # JSON knows no nan
        entries[entry.pop("name")] = entry
    text = json.dumps({"version": 1, "calibrations": entries}, indent=2, ensure_ascii=False)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".calibrations-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text + "\n")
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise ScaleError(
            str(path),
            f"it cannot be written ({error.strerror})",
            f"check your rights, or name another folder in {CONFIG_DIR_VARIABLE}",
        ) from error
