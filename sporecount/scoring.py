"""The chain for one sample: its counted photos become one tape, a load and a decision.

Nothing here looks at pixels; each stage does its own work in its own package.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from sporecount.counting import PhotoCount, count_photo
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.counts.sample_summary import in_full, refused_row, scored_row
from sporecount.counts.summary import unreadable_summary
from sporecount.detect.table import SPORE_STATES
from sporecount.errors import PhotoUnreadableError
from sporecount.literature import TAPE_MM2
from sporecount.settings import Settings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sporecount.decision.decide import Decision
    from sporecount.photo.photo import Photo
    from sporecount.scale.calibration import Calibration
    from sporecount.tape.pairs import Known
    from sporecount.tape.tape import Tape
    from sporecount.tape.view import View


@dataclass(frozen=True, eq=False)
class SampleScore:
    """What the photos of one tape say about the adult.

    Attributes
    ----------
    summary : dict
        The sample's row of ``samples.csv``; columns
        :data:`sporecount.counts.sample_summary.SAMPLE_COLUMNS`.
    detections : DataFrame
        Each object once, in the tape's own coordinates.
    photos : tuple of dict
        Row of ``photos.csv`` of each photo given.
    tape : Tape
        Where the photos lie, and what each adds.
    decision : Decision or None
        None where nothing could be judged: that is never a "clear".
    views : tuple of View
        The photos, reduced, for drawing.
    """

    summary: dict[str, Any]
    detections: pd.DataFrame
    photos: tuple[dict[str, Any], ...]
    tape: Tape
    decision: Decision | None
    views: tuple[View, ...]

    def as_text(self) -> str:
        """Return the outcome in plain words, with the sample's name above."""
        return outcome_text(
            self.summary, None if self.decision is None else self.decision.as_text()
        )


def outcome_text(summary: Mapping[str, Any], decision: str | None) -> str:
    """Put a sample's outcome into words.

    Parameters
    ----------
    summary : mapping
        Its row of ``samples.csv``.
    decision : str or None
        The decision's own words; None where there is none.

    Examples
    --------
    >>> print(outcome_text({"sample": "A1", "status": "refused", "reason": "no photo"}, None))
    Sample A1
    No decision: it was refused (no photo).
    That is no "clear": nothing is known of this adult. Take new photos or a fresh tape.
    """
    title = f"Sample {summary['sample']}"
    if decision is None:
        return (
            f"{title}\nNo decision: it was {summary['status']} ({summary['reason']}).\n"
            'That is no "clear": nothing is known of this adult. Take new photos or a fresh tape.'
        )
    spores = summary["spores"]
    seen = (
        f"{spores} spore{'' if spores == 1 else 's'} on {summary['examined_mm2']:.3g} of "
        f"{summary['tape_mm2']:.6g} mm2; on the whole tape about {summary['tape_spores']:.0f} "
        f"({summary['tape_low']} to {summary['tape_high']}); most likely class "
        f"{summary['load_class']}."
    )
    left_out = (f"{summary['reason']}.",) if summary["reason"] else ()
    said = summary.get("reviewed_by")
    reviewed = (f"Reviewed by hand: {said}.",) if said else ()
    doubts = tuple(f"Check: {summary[name]}." for name in ("warning",) if summary[name])
    return "\n".join((title, seen, *reviewed, *left_out, *doubts, decision))


def view_of(
    photo: Photo,
    calibration: Calibration,
    summary: Mapping[str, Any],
    detections: pd.DataFrame,
    settings: Settings,
) -> View:
    """Return what the layout needs of a photo that is counted already.

    Parameters
    ----------
    photo : Photo
        The photo, with the bytes it was counted with.
    calibration : Calibration
        Its scale.
    summary, detections
        What counting it gave.
    settings : Settings
        Those it was counted with.

    Raises
    ------
    PhotoUnreadableError
        If the file is another one by now.
    """
    from sporecount.field.make import make_field
    from sporecount.tape.view import make_view

    if photo.sha256 != summary["sha256"]:
        raise PhotoUnreadableError(
            photo.name, "the file changed while it was worked on", "give the same command again"
        )
    field = make_field(photo, calibration, settings.field)
    return make_view(photo, PhotoCount(detections, dict(summary), field))


def score_sample(
    sample: str,
    photos: Sequence[Mapping[str, Any]],
    views: Sequence[View],
    *,
    tape_mm2: float = TAPE_MM2,
    settings: Settings | None = None,
    known: Known | None = None,
    rates: DetectorRates | None = None,
) -> SampleScore:
    """Score one sample from its counted photos.

    Parameters
    ----------
    sample : str
        Its name.
    photos : sequence of mappings
        Row of ``photos.csv`` of each photo given, unreadable ones too.
    views : sequence of View
        Those that could be read.
    tape_mm2 : float
        Area of the whole tape, mm2.
    settings : Settings, optional
        Everything else that can change the result.
    known : dict, optional
        Registrations of earlier calls, see `sporecount.tape.layout.lay_out`.
    rates : DetectorRates, optional
        Rates of mistakes of the user's own microscope, in place of those of the package.

    Returns
    -------
    SampleScore
        Photos that were refused or unreadable are left out, and the summary says so.
        Where none is left, or the photos show more than the tape's area, the status is
        no ``"counted"`` and there is no decision.
    """
    from sporecount.decision.decide import decide
    from sporecount.load.estimate import CHECKED_BY_HAND
    from sporecount.load.fields import LoadError
    from sporecount.tape.tape import assemble

    settings = settings or Settings()
    # Where a person looked through all photos, none of the tool's mistakes are left.
    rates = CHECKED_BY_HAND if in_full(photos) else rates or load_rates()
    tape = assemble(views, settings.tape, known=known)
    rows = tuple(dict(photo) for photo in photos)
    # A photo that others cover wholly owns no area, and says nothing of its own.
    fields = tape.fields[tape.fields["counted"] & (tape.fields["examined_mm2"] > 0)]
    decision, reason = None, ""
    if len(fields):
        confidences = _confidences(fields, tape.detections)
        try:
            decision = decide(
                fields, tape_mm2, rates=rates, confidences=confidences, settings=settings
            )
        except LoadError as error:
            reason = f"{error.given}: {error.wrong}; {error.remedy}"
    if decision is None:
        summary = refused_row(sample, rows, tape, tape_mm2, reason)
    else:
        summary = scored_row(sample, rows, tape, decision, settings.count, rates)
    return SampleScore(summary, tape.detections, rows, tape, decision, tuple(views))


def score(
    images: str | Path | Iterable[str | Path | NDArray[np.generic]],
    *,
    um_per_px: float | None = None,
    tape_mm2: float = TAPE_MM2,
    sample: str | None = None,
    settings: Settings | None = None,
) -> SampleScore:
    """Score one sample: all photos of the tape of one adult.

    Parameters
    ----------
    images : path, or iterable of paths and ndarrays
        A folder of photos, or the photos themselves: files or pixels.
    um_per_px : float, optional
        Micrometres per pixel. May be left out for files that carry their scale.
    tape_mm2 : float
        Area of the whole tape, mm2.
    sample : str, optional
        Its name; by default the folder's, or ``"sample"``.
    settings : Settings, optional
        Everything else that can change the result.

    Returns
    -------
    SampleScore
        A photo that cannot be read is left out, and the summary says so.

    Raises
    ------
    ScaleError
        If a photo has no scale, or an impossible one.
    PhotoUnreadableError
        If there is no photo.

    Examples
    --------
    >>> import numpy as np
    >>> blank = score([np.full((400, 400), 200, np.uint8)], um_per_px=0.65)
    >>> blank.summary["spores"], blank.summary["decision"]
    (0, 'hold and sample again')
    """
    from sporecount.scale.choose import choose_calibration
    from sporecount.tape.view import make_view

    settings = settings or Settings()
    rows: list[dict[str, Any]] = []
    views: list[View] = []
    for name, photo in _opened(images):
        if isinstance(photo, PhotoUnreadableError):
            rows.append(unreadable_summary(name, f"{photo.wrong}; {photo.remedy}"))
            continue
        counted = count_photo(photo, choose_calibration(photo, um_per_px=um_per_px), settings)
        rows.append(counted.summary)
        views.append(make_view(photo, counted))
    if sample is None:
        is_folder = isinstance(images, (str, Path)) and Path(images).is_dir()
        sample = Path(str(images)).resolve().name if is_folder else "sample"
    return score_sample(sample, rows, views, tape_mm2=tape_mm2, settings=settings)


def _opened(
    images: str | Path | Iterable[str | Path | NDArray[np.generic]],
) -> Iterable[tuple[str, Photo | PhotoUnreadableError]]:
    """Read each image in turn; one that cannot be read comes as its error."""
    from sporecount.photo.folder import find_photos
    from sporecount.photo.read import photo_from_array, read_photo

    given = [images] if isinstance(images, (str, Path)) else list(images)
    paths = [Path(one) for one in given if isinstance(one, (str, Path))]
    for number, array in enumerate(given, 1):
        if not isinstance(array, (str, Path)):
            name = f"image {number}"
            yield name, photo_from_array(array, name)
    for file in find_photos(paths) if paths or not given else ():
        try:
            yield file.name, read_photo(file.path, file.name)
        except PhotoUnreadableError as error:
            yield file.name, error


def _confidences(fields: pd.DataFrame, detections: pd.DataFrame) -> list[pd.Series] | None:
    """Return the confidences of each field's spores, if they are one for each."""
    whole = detections[detections["state"].isin(SPORE_STATES)]
    each = [whole.loc[whole["photo"] == photo, "confidence"] for photo in fields["photo"]]
    fits = all(len(one) == spores for one, spores in zip(each, fields["spores"], strict=True))
    return each if fits else None
