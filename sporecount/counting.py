"""The chain: a photo becomes a field, detections, a count, intervals and a class.

Nothing here looks at pixels; each stage does its own work in its own package.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from sporecount.counts.summary import counted_summary, refused_summary
from sporecount.detect.table import empty_detections
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sporecount.field.field import Field
    from sporecount.microscope import Microscope
    from sporecount.photo.photo import Photo


class Counted(NamedTuple):
    """What :func:`count` returns.

    Attributes
    ----------
    detections : DataFrame
        One row for each detection, with the columns of
        :data:`sporecount.detect.table.COLUMNS`.
    summary : dict
        The photo's row of ``photos.csv``, with the columns of
        :data:`sporecount.counts.summary.SUMMARY_COLUMNS`; None where a refused
        photo has no value.
    """

    detections: pd.DataFrame
    summary: dict[str, Any]


@dataclass(frozen=True, eq=False)
class PhotoCount:
    """The result for one photo, with the field it was counted on."""

    detections: pd.DataFrame
    summary: dict[str, Any]
    field: Field


def count_photo(
    photo: Photo,
    calibration: Calibration,
    settings: Settings | None = None,
    microscope: Microscope | None = None,
) -> PhotoCount:
    """Count the spores on one photo.

    Parameters
    ----------
    photo : Photo
        An upright photo.
    calibration : Calibration
        Its scale.
    settings : Settings, optional
        Everything else that can change the result.
    microscope : Microscope, optional
        What was measured on the user's own, in place of what comes with the tool.

    Returns
    -------
    PhotoCount
        A photo that cannot be judged is refused: no detections, and a summary
        whose ``status`` is ``"refused"`` with the reason. That is never a zero.
    """
    from sporecount.detect.detector import detect_with_doubt
    from sporecount.detect.size import lengths_for_scale_check, of_possible_size
    from sporecount.field.make import make_field

    settings = settings or Settings()
    field = make_field(photo, calibration, settings.field)
    if not field.fitness.usable:
        return PhotoCount(empty_detections(), refused_summary(photo, field), field)
    if microscope is not None:
        settings = microscope.settings(settings)
    found, doubtful = detect_with_doubt(field, settings.detect)
    # Before sizes are ruled out: what a wrong scale rules out is what tells of it.
    lengths_um = lengths_for_scale_check(field, found, settings.detect)
    detections = found[of_possible_size(found)].reset_index(drop=True)
    rates = None
    if microscope is not None:
        detections, rates = microscope.table(detections), microscope.rates
    summary = counted_summary(
        photo,
        field,
        detections,
        settings.count,
        rates,
        doubtful=round(doubtful, 3),
        scale_check_lengths_um=lengths_um,
    )
    if microscope is not None:
        summary["notes"] = "; ".join(filter(None, (summary["notes"], microscope.note)))
    return PhotoCount(detections, summary, field)


def count(
    image: NDArray[np.generic] | str | Path,
    *,
    um_per_px: float | None = None,
    settings: Settings | None = None,
) -> Counted:
    """Count the spores on one image.

    Parameters
    ----------
    image : ndarray or path
        A photo's file, or its pixels: shape (height, width), (height, width, 3)
        or (height, width, 4).
    um_per_px : float, optional
        Micrometres per pixel. May be left out for a file that carries its scale.
    settings : Settings, optional
        Everything else that can change the result.

    Returns
    -------
    Counted
        The named pair ``(detections, summary)``.

    Raises
    ------
    ScaleError
        If there is no scale, or an impossible one.
    PhotoUnreadableError
        If the file or the array cannot be read as a picture.

    Examples
    --------
    >>> import numpy as np
    >>> table, summary = count(np.full((400, 400), 200, np.uint8), um_per_px=0.65)
    >>> len(table)
    0
    """
    from sporecount.photo.read import photo_from_array, read_photo
    from sporecount.scale.choose import choose_calibration

    if isinstance(image, (str, Path)):
        photo = read_photo(Path(image))
    else:
        photo = photo_from_array(image, "image")
    calibration = choose_calibration(photo, um_per_px=um_per_px)
    result = count_photo(photo, calibration, settings)
    return Counted(result.detections, result.summary)
