"""What was measured on a user's own microscope, in place of what comes with the tool."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sporecount.counts.rates import DetectorRates
from sporecount.counts.summary import COUNTED
from sporecount.detect.table import SPORE_STATES
from sporecount.settings import DetectSettings, Settings

if TYPE_CHECKING:
    import pandas as pd

    from sporecount.trial.misread import MisreadRates

#: Photos of this factor finer or coarser than those reviewed are of that microscope too.
SAME_SCALE = 1.15

#: Confidences nearer than this to 0 or 1 are moved no further.
_SUREST = 1e-4


@dataclass(frozen=True)
class Adjustment:
    """A small change of the tool for one microscope: on its own numbers, after its networks.

    Attributes
    ----------
    slope, shift : float
        The logit of a spore's confidence is multiplied and shifted by these.
    least_damaged : float or None
        Chance from which on a spore counts as damaged; None leaves that of the settings.

    Raises
    ------
    ValueError
        If a number makes no sense.
    """

    slope: float = 1.0
    shift: float = 0.0
    least_damaged: float | None = None

    def __post_init__(self) -> None:
        if not (0.0 < self.slope < math.inf and math.isfinite(self.shift)):
            raise ValueError(f"slope {self.slope!r}, shift {self.shift!r}: finite, slope above 0")
        if self.least_damaged is not None and not 0.0 < self.least_damaged < 1.0:
            raise ValueError(f"least_damaged {self.least_damaged!r}: lies between 0 and 1")

    def confidence(self, confidence: Any) -> Any:
        """Return confidences as they are on this microscope.

        Examples
        --------
        >>> Adjustment(shift=1.0).confidence(np.array([0.5])).round(3).tolist()
        [0.731]
        """
        sure = np.clip(np.asarray(confidence, float), _SUREST, 1.0 - _SUREST)
        logit = self.slope * np.log(sure / (1.0 - sure)) + self.shift
        return 1.0 / (1.0 + np.exp(-logit))

    def settings(self, settings: DetectSettings) -> DetectSettings:
        """Return settings under which the tool finds what is kept once it is adjusted."""
        least = min(max(settings.least_confidence, _SUREST), 1.0 - _SUREST)
        logit = (math.log(least / (1.0 - least)) - self.shift) / self.slope
        damaged = settings.least_damaged if self.least_damaged is None else self.least_damaged
        return dataclasses.replace(
            settings,
            least_confidence=1.0 / (1.0 + math.exp(-logit)),
            least_damaged=damaged,
        )

    def table(self, detections: pd.DataFrame) -> pd.DataFrame:
        """Return detections with the confidences of spores as they are on this microscope."""
        spores = detections["state"].isin(SPORE_STATES)
        confidence = np.where(
            spores, self.confidence(detections["confidence"]), detections["confidence"]
        )
        return detections.assign(confidence=confidence)


@dataclass(frozen=True)
class Microscope:
    """What photos that were reviewed by hand say of the tool on one microscope.

    Attributes
    ----------
    name : str
        Its name.
    um_per_px : tuple of float
        Finest and coarsest scale of the photos reviewed.
    date : str
        Day it was measured, YYYY-MM-DD.
    rates : DetectorRates or None
        Rates of mistakes; None where too few photos tell, and those of the tool count.
    misread : MisreadRates or None
        What is misread in trials; likewise.
    adjustment : Adjustment or None
        None where the tool is used as it comes.
    before : Microscope or None
        What was known before the adjustment, to go back to.
    """

    name: str
    um_per_px: tuple[float, float]
    date: str
    rates: DetectorRates | None = None
    misread: MisreadRates | None = None
    adjustment: Adjustment | None = None
    before: Microscope | None = None

    def fits(self, um_per_px: float) -> bool:
        """Tell whether photos of a scale are of this microscope."""
        low, high = self.um_per_px
        return low / SAME_SCALE <= um_per_px <= high * SAME_SCALE

    def settings(self, settings: Settings) -> Settings:
        """Return the settings to count its photos with."""
        if self.adjustment is None:
            return settings
        detect = self.adjustment.settings(settings.detect)
        return dataclasses.replace(settings, detect=detect)

    def table(self, detections: pd.DataFrame) -> pd.DataFrame:
        """Return what was found with those settings, as it is on this microscope."""
        return detections if self.adjustment is None else self.adjustment.table(detections)

    @property
    def note(self) -> str:
        """What is said with every result that rests on it."""
        what = ["adjustment"] * (self.adjustment is not None)
        what += ["rates of mistakes"] * (self.rates is not None)
        return f"{' and '.join(what) or 'nothing yet'} of {self.name} ({self.date})"


def microscope_for(microscopes: Iterable[Microscope], um_per_px: float) -> Microscope | None:
    """Return the microscope that photos of a scale are of: of several, that measured last.

    Examples
    --------
    >>> two = [Microscope("4x", (1.2, 1.3), "2024-05-01"), Microscope("10x", (0.6, 0.6), "")]
    >>> [getattr(microscope_for(two, scale), "name", None) for scale in (1.1, 0.65, 0.9)]
    ['4x', '10x', None]
    """
    fitting = [one for one in microscopes if one.fits(um_per_px)]
    return max(fitting, key=lambda one: one.date, default=None)


def shared_microscope(
    microscopes: Iterable[Microscope], rows: Iterable[Mapping[str, Any]]
) -> Microscope | None:
    """Return the microscope that all counted photos among rows are of; None where it is not one.

    Parameters
    ----------
    microscopes : iterable of Microscope
        What is known of the user's own.
    rows : iterable of mapping
        Photos' rows of ``photos.csv``.
    """
    known = tuple(microscopes)
    scales = [float(row["um_per_px"]) for row in rows if row["status"] == COUNTED]
    found = {microscope_for(known, scale) for scale in scales}
    return found.pop() if len(found) == 1 else None
