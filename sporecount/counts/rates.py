"""How often the detector misses a spore or takes something else for one."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.table import SURE_POWER

#: Below this the beta law of recall leaves the number of missed spores without an end.
_LEAST_BETA_A = 1.5

#: Above so many finds per mm2, each confidence is taken at its word, but for an error that all
#: finds of a tape have in common; below, most finds may be litter that is on any tape.
DENSE_PER_MM2 = 15.0

#: Confidences are believed no further than this.
BELIEVED = (0.01, 0.998)


def believed_odds(confidences: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the log odds of confidences, as far as these are believed.

    Examples
    --------
    >>> believed_odds(np.array([0.5, 0.998, 1.0])).round(2).tolist()
    [0.0, 6.21, 6.21]
    """
    sure = np.clip(confidences, *BELIEVED)
    return np.log(sure) - np.log1p(-sure)


@dataclass(frozen=True)
class ConfidenceLaw:
    """What confidences are worth on a tape: they err in common, and litter is on any tape.

    Attributes
    ----------
    even_confidence : float
        A find of this confidence is as often seen on a spore as on something else, of
        either's own, where finds are few.
    power : float
        The odds change by this power of the confidence's.
    common_error : float
        Standard deviation, between tapes, of an error that the log odds of all finds
        have in common.
    dense_false : float
        Where finds are many: false ones for each that the confidences say.
    dense_shape : float
        Shape of the gamma law by which that varies between tapes.
    company, company_most : float
        By so much the log odds of a confidence rise for each unit of ln(1 + sure other finds
        of its photo), and up to so much of that. What a find looks like by itself is its
        confidence in full company.

    Raises
    ------
    ValueError
        If a number is impossible.
    """

    even_confidence: float = 0.9
    power: float = 1.0
    common_error: float = 1.0
    dense_false: float = 1.0
    dense_shape: float = 1.0
    company: float = 0.0
    company_most: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.even_confidence < 1.0:
            raise ValueError(f"even_confidence {self.even_confidence!r}: lies between 0 and 1")
        for name in ("power", "common_error", "dense_false", "dense_shape"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} {getattr(self, name)!r}: is above 0")
        for name in ("company", "company_most"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name} {getattr(self, name)!r}: is 0 or more")

    def by_itself(self, confidences: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the log odds of one photo's finds, as if each had full company.

        Examples
        --------
        >>> law = ConfidenceLaw(company=1.5, company_most=2.5)
        >>> law.by_itself(np.array([0.6])).round(2).tolist()
        [4.16]
        >>> law.by_itself(np.full(50, 0.6)).round(2).tolist()[0]
        1.16
        """
        weight = np.clip(confidences, *BELIEVED) ** SURE_POWER
        here = np.log1p(np.maximum(weight.sum() - weight, 0.0))
        alone = np.maximum(self.company_most - here, 0.0)
        most = believed_odds(np.array(BELIEVED[1]))
        return np.minimum(believed_odds(confidences) + self.company * alone, most)


@dataclass(frozen=True)
class PhotoLaw:
    """What one photo's own finds tell of its false alarms and its misses.

    Attributes
    ----------
    power, common_error : float
        The true log odds of a photo's counted finds are those said, times ``power``, plus an
        error that all of them share, normal with this standard deviation.
    missed_per_found, missed_per_doubtful : float
        Spores missed, on average, for each that is found, and for each that the chances of
        the places that were not sure enough to count add up to.
    missed_shape : float
        Shape of the gamma law by which that varies between photos.

    Raises
    ------
    ValueError
        If a number is impossible.
    """

    power: float
    common_error: float
    missed_per_found: float
    missed_per_doubtful: float
    missed_shape: float

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 < value < math.inf:
                raise ValueError(f"{name} {value!r}: is above 0")


@dataclass(frozen=True)
class DetectorRates:
    """Rates of the detector's mistakes, measured on photos whose truth is known.

    Attributes
    ----------
    recall_mean, recall_sd : float
        Share of the real spores that is found: mean over photos, and standard
        deviation between photos (what is left after the chance of counting).
    false_per_mm2, false_per_mm2_sd : float
        Detections per mm2 that are no spores, where there are none: mean and standard
        deviation between photos.
    confidence_is_calibrated : bool
        True where a detection's ``confidence`` is the chance that it is a spore.
        Then the confidences say how many are false, instead of ``false_per_mm2``.
    measured_on : str
        What the rates were measured on, in words.
    confidence_law : ConfidenceLaw
        What confidences are worth on a tape.
    photo_law : PhotoLaw, optional
        What a photo's own finds tell, in place of the recall and the confidences taken singly.

    Raises
    ------
    ValueError
        If a rate is impossible.
    """

    recall_mean: float
    recall_sd: float
    false_per_mm2: float
    false_per_mm2_sd: float = 0.0
    confidence_is_calibrated: bool = False
    measured_on: str = ""
    confidence_law: ConfidenceLaw = ConfidenceLaw()
    photo_law: PhotoLaw | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.recall_mean <= 1.0:
            raise ValueError(f"recall_mean {self.recall_mean!r}: lies above 0 and at most at 1")
        if self.recall_sd and not (self.recall_sd > 0 and self.recall_beta[0] >= _LEAST_BETA_A):
            raise ValueError(f"recall_sd {self.recall_sd!r}: impossible or too wide for this mean")
        for name in ("false_per_mm2", "false_per_mm2_sd"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name} {getattr(self, name)!r}: is 0 or more")

    @property
    def recall_beta(self) -> tuple[float, float]:
        """Parameters a, b of the beta law of recall over photos (``recall_sd`` above 0)."""
        spread = self.recall_mean * (1.0 - self.recall_mean) / self.recall_sd**2 - 1.0
        return self.recall_mean * spread, (1.0 - self.recall_mean) * spread


@lru_cache(maxsize=1)
def load_rates() -> DetectorRates:
    """Return the rates that come with this version of the detector."""
    text = resources.files("sporecount.counts").joinpath("rates.json").read_text("utf-8")
    kept = json.loads(text)
    laws = {
        "confidence_law": ConfidenceLaw(**kept["confidence_law"]),
        "photo_law": PhotoLaw(**kept["photo_law"]),
    }
    return DetectorRates(**{**kept, **laws})
