"""The report of one sample."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount import __version__
from sporecount.counts.loadclass import class_range
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT, STATES
from sporecount.report.files import utf8, write_whole
from sporecount.report.html import words
from sporecount.report.html.charts import class_chances, load_line
from sporecount.report.html.page import render
from sporecount.report.html.pictures import (
    BAR_UM,
    CROP_UM,
    Crop,
    data_uri,
    reduced,
)
from sporecount.report.html.sources import SAMPLE_KEYS, cited
from sporecount.settings import Settings

if TYPE_CHECKING:
    from sporecount.decision.decide import Decision
    from sporecount.tape.tape import Tape

#: Status of a sample that has numbers.
_COUNTED = "counted"

_HEADINGS = {
    INTACT: "Intact spores",
    DAMAGED: "Damaged spores",
    FRAGMENT: "Fragments (not counted as spores)",
}


_ESTIMATE = "estimate: what was seen, carried over to the rest of the tape"
_NO_ZERO = "estimate; but none seen is no zero: up to the upper limit may be there"

#: Notes with these words are no doubts: they stand below the numbers. All others come first.
_CALM = ("both limits lie in one class", "in part count as", "the whole tape was looked at")


@dataclass(frozen=True, eq=False)
class SampleData:
    """All that a sample's report shows.

    Attributes
    ----------
    row : mapping
        The sample's row of ``samples.csv``. Cells may be missing, None, nan or empty:
        then they are "not known".
    made_at : str
        When, as it is to be shown.
    photos : sequence of mappings
        ``photo``, ``sha256``, and where known ``um_per_px``, ``scale_source``, ``status``,
        ``reason``, ``warning`` of each photo.
    tape : Tape, optional
        The layout and what was found; None for a sample that could not be counted.
    decision : Decision, optional
        What the tape suggests; None where nothing was counted.
    layout : ndarray, shape (rows, columns, 3), uint8, optional
        From `sporecount.tape.picture.draw_layout`.
    crops : sequence of Crop
        From `sporecount.report.html.pictures.gallery`.
    settings : Settings
        Those of the result.
    version : str
        Version that made the result.
    notes : sequence of str
        What else a reader should know first.
    """

    row: Mapping[str, Any]
    made_at: str
    photos: Sequence[Mapping[str, Any]] = ()
    tape: Tape | None = None
    decision: Decision | None = None
    layout: NDArray[np.uint8] | None = None
    crops: Sequence[Crop] = ()
    settings: Settings = field(default_factory=Settings)
    version: str = __version__
    notes: Sequence[str] = ()


def sample_report(data: SampleData) -> str:
    """Return the report of one sample as one HTML text that needs no other file.

    Parameters
    ----------
    data : SampleData
        All that it shows.

    Returns
    -------
    str
        HTML, to be written in UTF-8.

    Examples
    --------
    >>> row = {"sample": "A <1>", "status": "refused", "reason": "no photo is sharp"}
    >>> page = sample_report(SampleData(row, made_at="2026-07-04"))
    >>> "A &lt;1&gt;" in page, "No photo is sharp." in page
    (True, True)
    """
    row = _Row(data.row)
    counted = row.status == _COUNTED
    found = _counted(data.tape)
    first, also = _notes(data, row)
    galleries = _galleries(data, found)
    chances, line = _charts(row, data.settings) if counted else (None, None)
    outcome = row.decision if words.known(row.decision) else ""
    uri, size = _layout(data.layout)
    return render(
        "sample.html",
        sample=str(row.sample),
        row=row,
        counted=counted,
        first=first,
        also=also if counted else [],
        outcome=str(outcome),
        decision=data.decision if counted else None,
        load_class=row.load_class,
        class_chance=_class_chance(row),
        level=f"{100 * data.settings.count.level:.4g} %",
        chances=chances,
        line=line,
        numbers=_numbers(row, data, found) if counted else [],
        layout=uri,
        layout_size=size,
        layout_alt=_layout_alt(data, row),
        galleries=galleries,
        found=len(found),
        crop_um=CROP_UM,
        bar_um=BAR_UM,
        photos=_photos(data),
        settings=[
            (group, [f"{name} = {json.dumps(value)}" for name, value in values.items()])
            for group, values in data.settings.as_dict().items()
        ],
        changed_words=_changed(data.settings),
        cited=cited(SAMPLE_KEYS),
        contents=_contents(data, counted, bool(chances)),
        made_at=data.made_at,
        version=data.version,
    )


def write_sample_report(path: str | Path, data: SampleData) -> None:
    """Write the report of one sample, whole or not at all."""
    write_whole(Path(path), utf8(sample_report(data)))


class _Row:
    """A row whose missing cells are None."""

    def __init__(self, cells: Mapping[str, Any]) -> None:
        self._cells = cells

    def __getattr__(self, name: str) -> Any:
        value = self._cells.get(name)
        return value if words.known(value) else None


def _counted(tape: Tape | None) -> pd.DataFrame:
    """Return the detections in the counted parts."""
    if tape is None:
        return pd.DataFrame({"state": [], "confidence": []})
    return tape.detections[tape.detections["counted"].astype(bool)]


def _notes(data: SampleData, row: _Row) -> tuple[list[str], list[str]]:
    """Return what to read before anything else, and what is also good to know."""
    lines = [row.reason, row.warning, *data.notes]
    lines += [
        f"{photo['photo']}: {photo['warning']}"
        for photo in data.photos
        if words.known(photo.get("warning"))
    ]
    lines += data.tape.notes if data.tape is not None else ()
    if data.decision is not None and row.status == _COUNTED:
        lines += data.decision.estimate.notes
    once = list(dict.fromkeys(str(line) for line in lines if line))
    calm = [line for line in once if any(part in line for part in _CALM)]
    return [line for line in once if line not in calm], calm


def _charts(row: _Row, settings: Settings) -> tuple[Any, Any]:
    bounds = settings.count.class_lower_bounds
    p_class = [getattr(row, f"p_class_{load}") for load in range(len(bounds))]
    told = row.load_class is not None and None not in p_class
    chances = (
        class_chances([float(p) for p in p_class], int(row.load_class), bounds) if told else None
    )
    low, middle, high = row.tape_low, row.tape_spores, row.tape_high
    line = (
        None
        if None in (low, middle, high)
        else load_line(float(low), float(middle), float(high), bounds)
    )
    return chances, line


def _class_chance(row: _Row) -> str:
    """Return the chance of the most likely class: a class alone sounds surer than it is."""
    p = getattr(row, f"p_class_{row.load_class}")
    return "" if p is None else words.chance(p)


def _numbers(row: _Row, data: SampleData, found: pd.DataFrame) -> list[tuple[str, str, str]]:
    """Return name, value and meaning of each number."""
    bounds = data.settings.count.class_lower_bounds
    states = {state: int((found["state"] == state).sum()) for state in STATES}
    level = f"{100 * data.settings.count.level:.4g} %"
    lines = [
        ("Spores counted", words.whole(row.spores),
         "intact and damaged ones in the photos, each place once"
         + (f": {states[INTACT]} intact, {states[DAMAGED]} damaged" if len(found) else "")),
        ("Spores really there", _span(row.spores_low, row.spores_high),
         f"range ({level}) in the same area, given how many the detector misses and makes up"),
        ("Area seen", words.measure(row.examined_mm2, "mm²"), _seen(row)),
        ("Spores on the whole tape", words.whole(row.tape_spores),
         _ESTIMATE if row.spores else _NO_ZERO),
        ("Limits for the whole tape", _span(row.tape_low, row.tape_high),
         f"made to hold the truth in {level} of tapes; wide where little was seen"),
        ("Load class", words.whole(row.load_class),
         f"the most likely one: {class_range(int(row.load_class), bounds)} on the whole tape"
         if row.load_class is not None else "not worked out"),
        ("Photos still to take", *_more(row, data.decision is not None)),
    ]  # fmt: skip
    if states[FRAGMENT]:
        lines.append(
            ("Fragments", str(states[FRAGMENT]), "pieces of spores; shown, but not counted as any")
        )
    return lines


def _seen(row: _Row) -> str:
    if row.examined_mm2 is None or not row.tape_mm2:
        return "the part of the tape that was looked at"
    part = 100 * min(1.0, float(row.examined_mm2) / float(row.tape_mm2))
    return f"{words.measure(part, '%')} of the tape, which is {words.measure(row.tape_mm2, 'mm²')}"


def _more(row: _Row, decided: bool) -> tuple[str, str]:
    if row.more_fields is None:
        if decided:
            return "no number", "more photos of this tape would not settle it: press a fresh tape"
        return words.UNKNOWN, "not worked out"
    if int(row.more_fields) == 0:
        return "0", "what was seen settles it"
    return words.whole(row.more_fields), "would settle it, if the tape goes on like this"


def _span(low: Any, high: Any) -> str:
    return (
        words.UNKNOWN
        if low is None or high is None
        else f"{words.whole(low)} to {words.whole(high)}"
    )


def _layout(picture: NDArray[np.uint8] | None) -> tuple[str, tuple[int, int]]:
    if picture is None:
        return "", (0, 0)
    small = reduced(picture)
    return data_uri(small), (small.shape[1], small.shape[0])


def _layout_alt(data: SampleData, row: _Row) -> str:
    photos = words.several(len(data.photos), "photo")
    return (
        f"{photos} of the tape in their places, with {words.whole(row.spores)} counted spores "
        f"outlined on {words.measure(row.examined_mm2, 'mm²')}."
    )


def _galleries(data: SampleData, found: pd.DataFrame) -> list[tuple[str, list[dict[str, str]]]]:
    numbers = _photo_numbers(data)
    parts = []
    for state in STATES:
        total = int((found["state"] == state).sum())
        for which in dict.fromkeys(crop.which for crop in data.crops if crop.state == state):
            crops = [c for c in data.crops if (c.state, c.which) == (state, which)]
            several = f"the {which} {len(crops)} of {total}" if total > 1 else "the only one"
            title = f"{_HEADINGS[state]}: {several}"
            parts.append((title, [_shown(crop, numbers) for crop in crops]))
    return parts


def _shown(crop: Crop, numbers: Mapping[str, int]) -> dict[str, str]:
    size = f"{crop.length_um:.1f} x {crop.width_um:.1f} µm"
    number = str(numbers.get(crop.photo, "?"))
    confidence = words.share(crop.confidence)
    return {
        "uri": data_uri(crop.picture, 82),
        "wide": str(crop.picture.shape[1]),
        "high": str(crop.picture.shape[0]),
        "size": size,
        "confidence": confidence,
        "number": number,
        "x": f"{crop.x_px:.0f}",
        "y": f"{crop.y_px:.0f}",
        "alt": f"{crop.state} find of {size}, confidence {confidence}, on photo {number}: "
        "as photographed, and outlined.",
    }


def _photo_numbers(data: SampleData) -> dict[str, int]:
    """Return each photo's number, as the layout shows it."""
    names = (
        data.tape.layout.placements["photo"].tolist()
        if data.tape is not None
        else [photo["photo"] for photo in data.photos]
    )
    return {str(name): number for number, name in reversed(list(enumerate(names, 1)))}


def _photos(data: SampleData) -> list[dict[str, Any]]:
    facts = {str(photo["photo"]): photo for photo in data.photos}
    places, fields = _tape_rows(data.tape)
    numbers = _photo_numbers(data)
    # Photos that could not be read have no place, and so no number on the layout.
    names = [
        *sorted(numbers, key=lambda name: numbers[name]),
        *(n for n in facts if n not in numbers),
    ]
    rows = []
    for name in names:
        fact, place, own = facts.get(name, {}), places.get(name, {}), fields.get(name, {})
        scale = fact.get("um_per_px")
        rows.append(
            {
                "number": f"{numbers[name]}." if name in numbers else "",
                "name": name,
                "part": str(place["group"] + 1) if place.get("group", -1) >= 0 else "-",
                "area": words.measure(own["examined_mm2"], "mm²") if own else "-",
                "spores": words.whole(own["spores"]) if own else "-",
                "scale": words.measure(scale, "µm/px") if words.known(scale) else "-",
                "fate": _fate(fact, place, own),
                "sha256": str(fact.get("sha256") or place.get("sha256") or words.UNKNOWN),
                "scale_source": str(fact.get("scale_source") or words.UNKNOWN),
            }
        )
    return rows


def _tape_rows(tape: Tape | None) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the tape's rows on each photo: its place, and what it adds."""
    if tape is None:
        return {}, {}
    return (
        {str(row["photo"]): row for row in tape.layout.placements.to_dict("records")},
        {str(row["photo"]): row for row in tape.fields.to_dict("records")},
    )


def _fate(fact: Mapping[str, Any], place: Mapping[str, Any], own: Mapping[str, Any]) -> str:
    """Say what became of a photo."""
    if words.known(place.get("repeats_of")):
        return f"repeats {place['repeats_of']}: counted once"
    if own:
        return "counted" if own["counted"] else "left out: may overlap another part"
    reason = fact.get("reason")
    status = str(fact.get("status") or ("refused" if reason else "adds nothing of its own"))
    return f"{status}: {reason}" if words.known(reason) else status


def _changed(settings: Settings) -> str:
    """Say which settings are not the usual ones."""
    usual, these = Settings().as_dict(), settings.as_dict()
    changed = [
        f"{group}.{name} = {value!r} (usually {usual[group][name]!r})"
        for group, values in these.items()
        for name, value in values.items()
        if value != usual[group][name]
    ]
    if not changed:
        return "All settings are the usual ones:"
    return f"Settings that are not the usual ones: {'; '.join(changed)}. All settings:"


def _contents(data: SampleData, counted: bool, chances: bool) -> list[tuple[str, str]]:
    """Return the parts that the page has, for its list of contents."""
    parts = (
        ("decision", "What it may mean" if counted else "What to do next",
         data.decision is not None or not counted),
        ("chances", "Load classes", chances),
        ("numbers", "Numbers", counted),
        ("layout", "Layout", data.layout is not None),
        ("gallery", "Gallery", counted),
        ("photos", "Photos", True),
        ("contest", "How to contest it", True),
        ("method", "Method", True),
    )  # fmt: skip
    return [(anchor, title) for anchor, title, there in parts if there]
