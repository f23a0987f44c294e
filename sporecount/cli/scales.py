"""The scale of each photo of a run, known before anything is counted."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sporecount.errors import PhotoUnreadableError
from sporecount.photo.folder import PhotoFile
from sporecount.photo.photo import Photo
from sporecount.photo.read import read_photo
from sporecount.scale.calibration import Calibration
from sporecount.scale.choose import choose_calibration
from sporecount.scale.eyepiece import Eyepiece
from sporecount.scale.saved import load_calibration


@dataclass(frozen=True)
class ScaleRequest:
    """What a person said about the scale.

    Attributes
    ----------
    um_per_px : float or None
        Scale of all photos.
    saved_name : str or None
        Name of a saved calibration for all photos.
    eyepiece : Eyepiece or None
        Numbers engraved on the microscope.
    sheet_rows : mapping of str to mapping
        Photo name to its row of the sheet.
    """

    um_per_px: float | None
    saved_name: str | None
    eyepiece: Eyepiece | None
    sheet_rows: Mapping[str, Mapping[str, Any]]

    def asked(self, name: str) -> dict[str, Any]:
        """Return all that decides on a photo's scale, apart from the photo itself."""
        row = self.sheet_rows.get(name, {})
        in_sheet = row.get("um_per_px")
        names = (row.get("calibration") or None, self.saved_name)
        return {
            "um_per_px": self.um_per_px,
            "sheet": None if in_sheet is None or math.isnan(in_sheet) else in_sheet,
            "saved": [asdict(load_calibration(name)) for name in names if name],
            "eyepiece": asdict(self.eyepiece) if self.eyepiece else None,
        }

    def choose(self, photo: Photo) -> Calibration:
        """Return the scale of a photo.

        Raises
        ------
        ScaleError
            If there is none, or the one that counts is impossible.
        """
        return choose_calibration(
            photo,
            um_per_px=self.um_per_px,
            sheet_row=self.sheet_rows.get(photo.name),
            saved_name=self.saved_name,
            eyepiece=self.eyepiece,
        )

    def check(self, files: Sequence[PhotoFile]) -> None:
        """Make sure that every photo has a scale, before any is counted.

        Photos that cannot be read are passed over: they get their row later.

        Raises
        ------
        ScaleError
            For the first photo that has none.
        """
        for file in files:
            try:
                photo = read_photo(file.path, file.name)
            except PhotoUnreadableError:
                continue
            self.choose(photo)
            if self.um_per_px is not None:
                return  # the same for all others
