"""The report of a sanitizer trial: one HTML file that needs no other."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import STATES
from sporecount.report.files import utf8, write_whole
from sporecount.report.html import trial_rows as rows
from sporecount.report.html import words
from sporecount.report.html.page import render
from sporecount.report.html.pictures import BAR_UM, SUREST, data_uri, gallery
from sporecount.report.html.sources import cited
from sporecount.report.html.trial_before_after import before_after
from sporecount.report.html.trial_charts import density_lines, share_lines
from sporecount.report.html.trial_fates import fates
from sporecount.report.html.trial_fates import rows as fate_rows
from sporecount.report.html.trial_shapes import shapes, sizes
from sporecount.trial.cautions import ALWAYS

if TYPE_CHECKING:
    from sporecount.trial.plan import Trial
    from sporecount.trial.result import TrialResult

#: Crops of the surest, and as many of the least sure, for each arm and state.
OF_EACH = 2

_STATE_WORDS = {"intact": "intact", "damaged": "damaged", "fragment": "piece"}


@dataclass(frozen=True, eq=False)
class TrialData:
    """All that the report of a trial shows.

    Attributes
    ----------
    trial : Trial
        Its plan.
    result : TrialResult
        What was judged.
    found : DataFrame
        Detections with ``arm``, ``photo`` and the columns of detections; empty where people
        counted by hand.
    um_per_px : mapping
        Photo name to its scale.
    pixels_of : callable
        Returns a photo's pixels by its name, None where they cannot be had.
    followed : DataFrame
        What became of spores that were intact before: ``arm``, ``slide``, ``intact``,
        ``damaged``, ``fragment``, ``gone``; empty where none were followed.
    followed_spores : DataFrame
        Each of them, as ``followed_spores.csv``; empty where people followed them.
    notes : sequence of str
        What else a reader should know first, such as photos that were refused.
    made_at, version : str
        When, and by which version.
    """

    trial: Trial
    result: TrialResult
    found: pd.DataFrame = field(default_factory=pd.DataFrame)
    um_per_px: Mapping[str, float] = field(default_factory=dict)
    pixels_of: Callable[[str], NDArray[np.uint8] | None] = lambda name: None
    followed: pd.DataFrame = field(default_factory=pd.DataFrame)
    followed_spores: pd.DataFrame = field(default_factory=pd.DataFrame)
    notes: Sequence[str] = ()
    made_at: str = ""
    version: str = ""


def trial_report(data: TrialData) -> str:
    """Return the report of a trial as one HTML text.

    Parameters
    ----------
    data : TrialData
        All that it shows.

    Returns
    -------
    str
        HTML, to be written in UTF-8.
    """
    trial, result = data.trial, data.result
    first, calm = rows.first_notes((*data.notes, *result.notes))
    panels = [rows.verdict(one) for one in result.arms]
    pictures = _pictures(data)
    crops = [(one.arm, _crops(data, one.arm)) for one in result.arms]
    return render(
        "trial.html",
        title=trial.name,
        question=trial.question,
        date=trial.date,
        control=result.control,
        first=first,
        calm=calm,
        level=f"{100 * trial.level:.4g} %",
        effect=f"{100 * trial.smallest_effect:.4g}",
        margin=f"{100 * trial.equivalence_margin:.4g}",
        plan=trial,
        panels=panels,
        cautions=rows.cautions(result),
        always=ALWAYS,
        design=[rows.design(trial, one) for one in result.arms],
        pictures=pictures,
        is_corrected=_is_corrected(result),
        crops=[(arm, own) for arm, own in crops if own],
        fate_rows=fate_rows(result),
        before_after=before_after(data.followed_spores, data.um_per_px, data.pixels_of),
        bar_um=f"{BAR_UM:g}",
        numbers=[rows.numbers(one) for one in result.arms],
        slides=[(one.arm, rows.slides(one)) for one in result.arms],
        limits=rows.limits(trial, result),
        method=result.method,
        cited=cited(result.sources),
        counted_by_hand=data.found.empty,
        made_at=data.made_at,
        version=data.version,
        contents=_contents(data, pictures, any(own for _, own in crops)),
    )  # fmt: skip


def write_trial_report(path: str | Path, data: TrialData) -> None:
    """Write the report, whole or not at all.

    Parameters
    ----------
    path : str or Path
        File to write, such as ``trial.html``.
    data : TrialData
        All that it shows.

    Raises
    ------
    OSError
        If it cannot be written; what was there before stays.
    """
    write_whole(Path(path), utf8(trial_report(data)))


def _pictures(data: TrialData) -> dict[str, Any]:
    """Return the pictures by name, None where there is nothing to draw."""
    result = data.result
    control = next((one for one in result.arms if one.arm == result.control), None)
    dense = [rows.density_line(one) for one in result.arms]
    eggs, feeding = rows.egg_lines(result), rows.feeding_lines(result)
    return {
        "shares": share_lines(
            [rows.share_line(one) for one in result.arms],
            "Broken share of each slide, and mean of each arm with limits",
            math.nan if control is None else control.broken.share,
        ),
        "densities": density_lines(
            dense,
            "Whole spores per square millimetre of each slide, and mean of each arm",
            next((line.mean for line in dense if line.name == result.control), math.nan),
        ),
        "sizes": None if data.found.empty else sizes(_counted(data.found)),
        "shapes": None if data.found.empty else shapes(_counted(data.found)),
        "eggs": share_lines(eggs, "Share of dipped eggs that hatched") if eggs else None,
        "feeding": share_lines(feeding, "Share of adults that were infected") if feeding else None,
        "fates": None if data.followed.empty else fates(data.followed),
    }


def _counted(found: pd.DataFrame) -> pd.DataFrame:
    return found[found["counted"].astype(bool)] if "counted" in found else found


def _is_corrected(result: TrialResult) -> bool:
    """Say whether any share was corrected for what the detector misreads."""
    return any(
        one.broken.share != one.seen.share
        for one in result.arms
        if not math.isnan(one.broken.share)
    )


def _contents(data: TrialData, pictures: Mapping[str, Any], crops: bool) -> list[tuple[str, str]]:
    parts = (
        ("short", "In short", True),
        ("verdicts", "Verdicts", True),
        ("cautions", "Cautions", bool(rows.cautions(data.result))),
        ("design", "Design", True),
        ("slides", "Arms side by side", True),
        ("fates", "Followed spores", bool(pictures["fates"])),
        ("animals", "Eggs and feeding", bool(pictures["eggs"] or pictures["feeding"])),
        ("shape", "Size and shape", bool(pictures["sizes"])),
        ("gallery", "Gallery", crops),
        ("numbers", "Numbers", True),
        ("limits", "What slides cannot show", True),
        ("contest", "How to contest it", True),
        ("method", "Method and sources", True),
    )
    return [(anchor, title) for anchor, title, there in parts if there]


def _crops(data: TrialData, arm: str) -> list[dict[str, Any]]:
    if data.found.empty:
        return []
    own = data.found[data.found["arm"] == arm].reset_index(drop=True)
    order = {state: place for place, state in enumerate(STATES)}
    crops = gallery(own, data.um_per_px, data.pixels_of, OF_EACH)
    return [
        {
            "uri": data_uri(crop.picture, 80),
            "wide": crop.picture.shape[1],
            "high": crop.picture.shape[0],
            "state": _STATE_WORDS[crop.state],
            "which": "typical" if crop.which == SUREST else "doubtful",
            "size": f"{crop.length_um:.1f} x {crop.width_um:.1f} µm",
            "confidence": words.share(crop.confidence),
            "photo": crop.photo,
            "place": f"{crop.x_px:.0f}, {crop.y_px:.0f}",
            "alt": f"{crop.state} find on photo {crop.photo}: as photographed, and outlined.",
        }
        for crop in sorted(crops, key=lambda crop: order.get(crop.state, len(order)))
    ]
