"""Which of the scales that a photo could have is used."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sporecount.errors import ScaleError
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.scale.eyepiece import Eyepiece, eyepiece_calibration
from sporecount.scale.plausible import check_scale, scale_warning
from sporecount.scale.saved import load_calibration
from sporecount.scale.tags import calibration_from_tags

__all__ = ["choose_calibration", "scale_warning"]

#: Two scales of one photo that differ by more than this are worth a note.
NOTED_DIFFERENCE = 0.10


def choose_calibration(
    photo: Photo,
    *,
    um_per_px: float | None = None,
    sheet_row: Mapping[str, Any] | None = None,
    saved_name: str | None = None,
    eyepiece: Eyepiece | None = None,
) -> Calibration:
    """Choose the scale of a photo.

    The first that is there counts: the scale given outright, the sheet's
    ``um_per_px``, the sheet's ``calibration``, the saved calibration named for
    all photos, the eyepiece, the file's own tags.

    Parameters
    ----------
    photo : Photo
        The photo.
    um_per_px : float, optional
        Micrometres per pixel, given for all photos.
    sheet_row : mapping, optional
        The photo's row of the sheet; ``um_per_px`` and ``calibration`` are used.
    saved_name : str, optional
        Name of a saved calibration.
    eyepiece : Eyepiece, optional
        Numbers engraved on the microscope; the round field must be seen.

    Returns
    -------
    Calibration
        With a note where the sheet or the tags say something else by more than
        10 percent.

    Raises
    ------
    ScaleError
        If there is no scale, or the one that counts is impossible.
    """
    row = sheet_row if sheet_row is not None else {}
    in_sheet = _number(row.get("um_per_px"))
    named = row.get("calibration")
    tags = calibration_from_tags(photo.tag_scale) if photo.tag_scale is not None else None
    if um_per_px is not None:
        chosen = _plausible(float(um_per_px), "um per pixel given", photo)
    elif in_sheet is not None:
        chosen = _plausible(in_sheet, "um_per_px in the sheet", photo)
    elif isinstance(named, str) and named.strip():
        chosen = _saved(named, photo)
    elif saved_name is not None:
        chosen = _saved(saved_name, photo)
    elif eyepiece is not None:
        chosen = _from_eyepiece(photo, eyepiece)
    elif tags is not None:
        chosen = tags
    else:
        raise _no_scale(photo)
    others = [tags] if tags is not None else []
    if in_sheet is not None:
        others.append(Calibration(in_sheet, "um_per_px in the sheet"))
    notes = tuple(note for other in others for note in _disagreement(chosen, other))
    return replace(chosen, notes=chosen.notes + notes)


def _number(value: object) -> float | None:
    """Return a sheet's number, None where the cell is empty."""
    if isinstance(value, (int, float)) and not math.isnan(value):
        return float(value)
    return None


def _plausible(um_per_px: float, source: str, photo: Photo) -> Calibration:
    """Make a calibration of a number that a person typed."""
    calibration = Calibration(um_per_px, source)
    check_scale(
        um_per_px,
        f"{photo.name}, {source}: {um_per_px:g}",
        "check whether it is in micrometres (not nm or mm) per pixel",
    )
    return calibration


def _saved(name: str, photo: Photo) -> Calibration:
    """Return a saved calibration that fits the photo's size."""
    height, width = photo.pixels.shape[:2]
    try:
        return load_calibration(name).for_photo(width, height)
    except ScaleError as error:
        raise ScaleError(f"{photo.name}, {error.given}", error.wrong, error.remedy) from error


def _from_eyepiece(photo: Photo, eyepiece: Eyepiece) -> Calibration:
    """Return the scale from the round field, naming the photo if there is none."""
    try:
        return eyepiece_calibration(photo.pixels, eyepiece)
    except ScaleError as error:
        raise ScaleError(photo.name, error.wrong, error.remedy) from error


def _no_scale(photo: Photo) -> ScaleError:
    unused = "; ".join(note for note in photo.notes if "scale" in note)
    return ScaleError(
        photo.name,
        "its scale is unknown" + (f" ({unused})" if unused else ""),
        "give --um-per-px, or calibrate once with a photo of a stage micrometer, or give the "
        "eyepiece's field number and the objective",
    )


def _disagreement(chosen: Calibration, other: Calibration) -> tuple[str, ...]:
    """Say so where another source differs from the one that counts."""
    ratio = other.um_per_px / chosen.um_per_px
    if abs(ratio - 1) <= NOTED_DIFFERENCE:
        return ()
    factor = max(ratio, 1 / ratio)
    return (
        f"{chosen.source} ({chosen.um_per_px:.4g} um/px) is used, but {other.source} says "
        f"{other.um_per_px:.4g} um/px: a factor of {factor:.2f}",
    )
