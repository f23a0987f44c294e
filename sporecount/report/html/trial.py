"""The report of a sanitizer trial: one HTML file that needs no other."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import STATES
from sporecount.report.files import utf8, write_whole
from sporecount.report.html import words
from sporecount.report.html.page import render
from sporecount.report.html.pictures import data_uri, gallery
from sporecount.report.html.trial_charts import density_dots, share_dots, sizes

if TYPE_CHECKING:
    from sporecount.trial.plan import Trial
    from sporecount.trial.result import ArmResult, TrialResult

#: Crops of the surest, and as many of the least sure, for each arm and state.
OF_EACH = 2


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
    made_at, version : str
        When, and by which version.
    """

    trial: Trial
    result: TrialResult
    found: pd.DataFrame = field(default_factory=pd.DataFrame)
    um_per_px: Mapping[str, float] = field(default_factory=dict)
    pixels_of: Callable[[str], NDArray[np.uint8] | None] = lambda name: None
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
    result = data.result
    return render(
        "trial.html",
        title=data.trial.name,
        question=data.trial.question,
        date=data.trial.date,
        control=result.control,
        notes=result.notes,
        level=f"{100 * data.trial.level:.4g} %",
        arms=[_arm(data, one) for one in result.arms],
        shares=share_dots([_dots_of(one) for one in result.arms]),
        densities=density_dots(
            [(one.arm, [s.intact_per_mm2 for s in one.slides]) for one in result.arms]
        ),
        sizes=None if data.found.empty else sizes(data.found),
        method=result.method,
        keys=result.sources,
        made_at=data.made_at,
        version=data.version,
        contents=[
            ("verdicts", "Verdicts"),
            ("slides", "Slides"),
            ("arms", "Numbers"),
            ("design", "Design"),
            ("method", "Method and limits"),
            ("contest", "How to contest it"),
        ],
    )  # fmt: skip


def write_trial_report(path: str | Path, data: TrialData) -> None:
    """Write the report, whole or not at all."""
    write_whole(Path(path), utf8(trial_report(data)))


def _dots_of(one: ArmResult) -> tuple[str, list[float], float, float, float]:
    """Return an arm's name, its slides' broken shares as seen, and its mean with limits."""
    whole = one.broken
    return one.arm, [slide.broken for slide in one.slides], whole.share, whole.low, whole.high


def _arm(data: TrialData, one: ArmResult) -> dict[str, Any]:
    comparison, vanished = one.broken, one.vanished
    planned = next((arm for arm in data.trial.arms if arm.name == one.arm), None)
    return {
        "name": one.arm,
        "verdict": one.verdict.code,
        "sentences": one.verdict.sentences,
        "cautions": one.cautions,
        "notes": one.notes,
        "done": "" if planned is None else planned.in_words(),
        "gaps": [] if planned is None else sorted(planned.gaps().values()),
        "slides": len(one.slides),
        "intact": words.whole(sum(s.intact for s in one.slides)),
        "damaged": words.whole(sum(s.damaged for s in one.slides)),
        "fragment": words.whole(sum(s.fragment for s in one.slides)),
        "share": _span(comparison.share, comparison.low, comparison.high),
        "effect": _span(comparison.effect, comparison.effect_low, comparison.effect_high),
        "p": _p(comparison.p_adjusted),
        "naive_p": _p(comparison.naive_p),
        "vanished": ""
        if vanished is None
        else _span(vanished.reduction, vanished.low, vanished.high),
        "eggs": one.eggs.sentences if one.eggs is not None else (),
        "feeding": one.feeding.sentences if one.feeding is not None else (),
        "crops": _crops(data, one.arm),
    }


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
            "state": crop.state,
            "which": crop.which,
            "confidence": words.share(crop.confidence),
            "photo": crop.photo,
            "alt": f"{crop.state}, {crop.which} of its kind, on photo {crop.photo}: "
            "as photographed, and outlined.",
        }
        for crop in sorted(crops, key=lambda crop: order.get(crop.state, len(order)))
    ]


def _span(value: float, low: float, high: float) -> str:
    """Return a share with its limits in words."""
    if math.isnan(value):
        return "not known"
    if math.isnan(low) or math.isnan(high):
        return f"{100 * value:.0f} % (limits not known)"
    return f"{100 * value:.0f} % ({100 * low:.0f} to {100 * high:.0f} %)"


def _p(value: float) -> str:
    if math.isnan(value):
        return ""
    return "below 0.001" if value < 0.001 else f"{value:.3f}"
