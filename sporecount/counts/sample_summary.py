"""One sample's result as one row: the columns of ``samples.csv``, declared once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sporecount.counts.detector_error import spores_range
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.counts.summary import COUNTED, IN_FULL, REFUSED, UNREADABLE, doubtful_of
from sporecount.detect.table import SPORE_STATES
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.settings import CountSettings

if TYPE_CHECKING:
    from sporecount.decision.decide import Decision
    from sporecount.tape.tape import Tape

#: Columns every row has, in order.
SAMPLE_COLUMNS: tuple[str, ...] = (
    "sample",
    "status",
    "reason",
    "photos",
    "examined_mm2",
    "spores",
    "spores_low",
    "spores_high",
    "tape_mm2",
    "tape_spores",
    "tape_low",
    "tape_high",
    *(f"p_class_{load}" for load in range(len(LOAD_CLASS_LOWER_BOUNDS))),
    "load_class",
    "decision",
    "more_fields",
    "photos_used",
    "parts",
    "spores_if_apart",
    "examined_if_apart_mm2",
    "um_per_px",
    "scale_source",
    "warning",
    "notes",
    "layout",
    "reviewed_by",
)

_WORDS = ("reason", "decision", "scale_source", "warning", "notes", "layout", "reviewed_by")

#: Photos that are named in a reason before it says "and more".
_MOST_NAMED = 3


def scored_row(
    sample: str,
    photos: Sequence[Mapping[str, Any]],
    tape: Tape,
    decision: Decision,
    settings: CountSettings,
    rates: DetectorRates | None = None,
) -> dict[str, Any]:
    """Return the row of a sample that was scored.

    Parameters
    ----------
    sample : str
        Its name.
    photos : sequence of mappings
        Rows of ``photos.csv`` of all photos given.
    tape : Tape
        What they say together.
    decision : Decision
        What that means.
    settings : CountSettings
        Level of the limits.
    rates : DetectorRates, optional
        The detector's mistakes; those that come with the package by default.
    """
    counted = tape.detections[tape.detections["counted"]]
    whole = counted[counted["state"].isin(SPORE_STATES)]
    really = spores_range(
        tape.spores,
        tape.examined_mm2,
        rates or load_rates(),
        confidences=whole["confidence"],
        doubtful=_doubtful(photos, tape.examined_mm2),
        level=settings.level,
    )
    row = _known_row(sample, photos, tape)
    row.update(decision.estimate.as_row())
    row.update(
        status=COUNTED,
        reason=not_used(photos),
        # Of the union as it was measured; the estimate's own never passes the tape's.
        examined_mm2=tape.examined_mm2,
        spores_low=really.low,
        spores_high=really.high,
        decision=decision.outcome,
        more_fields=decision.more_fields,
        notes="; ".join((*tape.notes, *decision.estimate.notes)),
    )
    return row


def _doubtful(photos: Sequence[Mapping[str, Any]], examined_mm2: float) -> float | None:
    """Return the spores in doubt on a tape whose photos may overlap; None if unknown."""
    counted = [row for row in photos if row["status"] == COUNTED]
    doubtful = [each for row in counted if (each := doubtful_of(row)) is not None]
    area = sum(float(row["examined_mm2"]) for row in counted)
    if len(doubtful) < len(counted) or not area > 0:
        return None
    return sum(doubtful) * min(examined_mm2 / area, 1.0)


def refused_row(
    sample: str, photos: Sequence[Mapping[str, Any]], tape: Tape, tape_mm2: float, reason: str = ""
) -> dict[str, Any]:
    """Return the row of a sample that nobody could judge: a reason, no counts, no decision.

    Parameters
    ----------
    sample, photos, tape
        As for :func:`scored_row`.
    tape_mm2 : float
        Area of the whole tape.
    reason : str
        Why; by default why no photo was counted.
    """
    row = _known_row(sample, photos, tape)
    unreadable = bool(photos) and all(photo["status"] == UNREADABLE for photo in photos)
    row.update(
        status=UNREADABLE if unreadable else REFUSED,
        reason=reason or not_used(photos) or "there is no photo of it",
        tape_mm2=tape_mm2,
        notes="; ".join(tape.notes),
    )
    return row


def failed_row(
    sample: str, photos: Sequence[Mapping[str, Any]], tape_mm2: float, reason: str
) -> dict[str, Any]:
    """Return the row of a sample whose photos could not be put together at all.

    Examples
    --------
    >>> row = failed_row("A1", [], 100.0, "it could not be worked on")
    >>> row["status"], row["spores"], row["decision"]
    ('refused', None, '')
    """
    row = _empty_row()
    row.update(sample=sample, status=REFUSED, reason=reason, photos=len(photos), tape_mm2=tape_mm2)
    return row


def not_used(photos: Sequence[Mapping[str, Any]]) -> str:
    """Say which photos were not counted, and why.

    Examples
    --------
    >>> not_used([{"photo": "a.jpg", "status": "counted"},
    ...     {"photo": "b.jpg", "status": "refused", "reason": "it is too dark"}])
    '1 of 2 photos not used: b.jpg (refused: it is too dark)'
    """
    out = [photo for photo in photos if photo["status"] != COUNTED]
    if not out:
        return ""
    named = [
        f"{photo['photo']} ({photo['status']}: {photo['reason']})" for photo in out[:_MOST_NAMED]
    ]
    more = [f"and {len(out) - _MOST_NAMED} more, see photos.csv"] if out[_MOST_NAMED:] else []
    of = f"{len(photos)} photo{'' if len(photos) == 1 else 's'}"
    return f"{len(out)} of {of} not used: {', '.join((*named, *more))}"


def in_full(photos: Sequence[Mapping[str, Any]]) -> bool:
    """Tell whether a person looked through all the photos that were counted.

    Examples
    --------
    >>> in_full([{"status": "counted", "review": "in full"}, {"status": "refused"}])
    True
    """
    counted = [photo for photo in photos if photo["status"] == COUNTED]
    return bool(counted) and all(photo.get("review") == IN_FULL for photo in counted)


def reviewed_by(photos: Sequence[Mapping[str, Any]]) -> str:
    """Say who reviewed how many of the photos.

    Examples
    --------
    >>> photo = {"status": "counted", "reviewed_by": "Ann", "review": "in full"}
    >>> reviewed_by([photo, {**photo, "review": "in part"}, {"status": "counted"}])
    'Ann (2 of 3 photos, 1 in full)'
    >>> reviewed_by([{"status": "counted"}])
    ''
    """
    counted = [photo for photo in photos if photo["status"] == COUNTED]
    theirs = [photo for photo in counted if photo.get("reviewed_by")]
    if not theirs:
        return ""
    names = ", ".join(sorted({photo["reviewed_by"] for photo in theirs}))
    full = sum(photo["review"] == IN_FULL for photo in theirs)
    of = f"{len(theirs)} of {len(counted)} photo{'' if len(counted) == 1 else 's'}"
    return f"{names} ({of}, {full} in full)"


def _empty_row() -> dict[str, Any]:
    return {name: "" if name in _WORDS else None for name in SAMPLE_COLUMNS}


def _known_row(sample: str, photos: Sequence[Mapping[str, Any]], tape: Tape) -> dict[str, Any]:
    """Return a row with what is known of any sample."""
    row = _empty_row()
    placed = tape.layout.placements
    used = placed[(placed["group"] >= 0) & (placed["repeats_of"] == "")]
    row.update(
        sample=sample,
        photos=len(photos),
        photos_used=len(used),
        parts=int(used["group"].nunique()),
        um_per_px=_common(photos, "um_per_px"),
        scale_source=_common(photos, "scale_source") or "",
        warning=_warnings(photos),
        reviewed_by=reviewed_by(photos),
    )
    if len(used):
        row.update(
            spores_if_apart=tape.spores_if_apart, examined_if_apart_mm2=tape.examined_if_apart_mm2
        )
    return row


def _common(photos: Sequence[Mapping[str, Any]], name: str) -> Any:
    """Return what all counted photos have in common, or None."""
    values = {photo[name] for photo in photos if photo["status"] == COUNTED}
    return values.pop() if len(values) == 1 else None


def _warnings(photos: Sequence[Mapping[str, Any]]) -> str:
    """Return each warning once, with the first photo that has it."""
    first: dict[str, str] = {}
    for photo in photos:
        if photo.get("warning"):
            first.setdefault(photo["warning"], photo["photo"])
    return "; ".join(f"{photo}: {warning}" for warning, photo in first.items())
