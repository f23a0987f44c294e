"""One photo's result as one row: the columns of ``photos.csv``, declared once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from sporecount.counts.detector_error import spores_range
from sporecount.counts.loadclass import load_class
from sporecount.counts.poisson import density_per_mm2
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT
from sporecount.settings import CountSettings

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from sporecount.field.field import Field
    from sporecount.photo.photo import Photo

#: What can become of a photo that was given.
COUNTED, REFUSED, UNREADABLE = "counted", "refused", "unreadable"
STATUSES = (COUNTED, REFUSED, UNREADABLE)

#: What a row says of a review: the whole photo was looked through, or some of it.
IN_FULL, IN_PART = "in full", "in part"

#: Columns every row has, in order. Those from ``spores`` on to ``fragment`` are
#: None where the photo was not counted.
SUMMARY_COLUMNS: tuple[str, ...] = (
    "photo",
    "status",
    "reason",
    "um_per_px",
    "scale_source",
    "examined_mm2",
    "spores",
    "spores_low",
    "spores_high",
    "per_mm2",
    "per_mm2_low",
    "per_mm2_high",
    "load_class",
    "intact",
    "damaged",
    "fragment",
    "doubtful",
    "warning",
    "notes",
    "sha256",
    "review",
    "reviewed_by",
)


def counted_summary(
    photo: Photo,
    field: Field,
    detections: pd.DataFrame,
    settings: CountSettings,
    rates: DetectorRates | None = None,
    *,
    doubtful: float | None = None,
    scale_check_lengths_um: ArrayLike | None = None,
) -> dict[str, Any]:
    """Return the row of a photo that was counted.

    Parameters
    ----------
    photo : Photo
        The photo.
    field : Field
        What was examined of it.
    detections : DataFrame
        What was found there.
    settings : CountSettings
        Level of the intervals, bounds of the classes.
    rates : DetectorRates, optional
        The detector's mistakes; those that come with the package by default.
    doubtful : float, optional
        Spores expected among what was not sure enough to be counted.
    scale_check_lengths_um : array_like, optional
        Lengths by which the scale is judged; those of the spores counted by default.

    Notes
    -----
    ``spores`` are the intact and the damaged ones; fragments are none.
    ``spores_low`` and ``spores_high`` say how many spores are really in the
    examined area, given the detector's mistakes. ``per_mm2_low`` and
    ``per_mm2_high`` are the limits of sampling, given the count as it is.
    """
    from sporecount.scale.plausible import scale_warning

    found = figures(detections, field.examined_mm2, settings, rates, doubtful)
    if scale_check_lengths_um is None:
        are_spores = detections["state"].isin((INTACT, DAMAGED))
        scale_check_lengths_um = detections.loc[are_spores, "length_um"]
    scale_doubt = scale_warning(scale_check_lengths_um, um_per_px=field.calibration.um_per_px)
    row = _known_row(photo, field)
    row.update(
        found,
        doubtful=doubtful,
        status=COUNTED,
        warning="; ".join(filter(None, (*field.calibration.notes, scale_doubt))),
    )
    return row


def doubtful_of(row: Mapping[str, Any]) -> float | None:
    """Return the spores in doubt on the photo of a row; None where that is not known."""
    value = row.get("doubtful")
    return None if value is None or value == "" or value != value else float(value)


def figures(
    detections: pd.DataFrame,
    examined_mm2: float,
    settings: CountSettings,
    rates: DetectorRates | None = None,
    doubtful: float | None = None,
) -> dict[str, Any]:
    """Return the columns that follow from what stands on a photo, however it was found.

    Parameters
    ----------
    detections : DataFrame
        What was found, or what a person left standing of it.
    examined_mm2 : float
        Area it was found on.
    settings, rates, doubtful
        As for `counted_summary`.

    Returns
    -------
    dict
        ``spores`` to ``fragment`` of `SUMMARY_COLUMNS`.
    """
    states = detections["state"].to_numpy(object)
    are_intact, are_damaged = states == INTACT, states == DAMAGED
    intact, damaged = int(are_intact.sum()), int(are_damaged.sum())
    spores = intact + damaged
    really = spores_range(
        spores,
        examined_mm2,
        rates or load_rates(),
        confidences=detections["confidence"].to_numpy(float)[are_intact | are_damaged],
        doubtful=doubtful,
        level=settings.level,
    )
    density = density_per_mm2(spores, examined_mm2, settings.level)
    return {
        "spores": spores,
        "spores_low": really.low,
        "spores_high": really.high,
        "per_mm2": density.per_mm2,
        "per_mm2_low": density.low,
        "per_mm2_high": density.high,
        "load_class": load_class(spores, settings.class_lower_bounds),
        "intact": intact,
        "damaged": damaged,
        "fragment": int((states == FRAGMENT).sum()),
    }


def refused_summary(photo: Photo, field: Field) -> dict[str, Any]:
    """Return the row of a photo that cannot be judged: a reason and no counts."""
    row = _known_row(photo, field)
    reason = "; ".join(part for part in (field.fitness.reason, field.fitness.remedy) if part)
    row.update(status=REFUSED, reason=reason)
    return row


def unreadable_summary(name: str, reason: str) -> dict[str, Any]:
    """Return the row of a photo that could not be read or worked on at all.

    Examples
    --------
    >>> row = unreadable_summary("a.jpg", "the file is cut off")
    >>> row["status"], row["spores"]
    ('unreadable', None)
    """
    row = _empty_row()
    row.update(photo=name, status=UNREADABLE, reason=reason)
    return row


def _empty_row() -> dict[str, Any]:
    words = ("reason", "scale_source", "warning", "notes", "sha256", "review", "reviewed_by")
    return {name: "" if name in words else None for name in SUMMARY_COLUMNS}


def _known_row(photo: Photo, field: Field) -> dict[str, Any]:
    """Return a row with what is known of any photo that could be read."""
    row = _empty_row()
    row.update(
        photo=photo.name,
        um_per_px=field.calibration.um_per_px,
        scale_source=field.calibration.source,
        examined_mm2=field.examined_mm2,
        notes="; ".join((*photo.notes, *field.notes)),
        sha256=photo.sha256,
    )
    measures = field.fitness.measures
    return row | {name: value for name, value in measures.items() if name not in row}
