"""The broken share of slides: damaged spores, and pieces turned into spores by their area."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

#: A piece where no areas are known, in spores: as if spores broke in three, from in five up to
#: each piece being a spore of its own (common practice, no source).
DEFAULT_WEIGHT, DEFAULT_WEIGHT_LOW, DEFAULT_WEIGHT_HIGH = 1 / 3, 1 / 5, 1.0

#: By how much areas may overstate pieces, as a share: outlines of small things run wide, and
#: spores differ in size [sander2013]; memory.
AREA_DOUBT = 0.2

#: Columns added to a table of slides.
ADDED = (
    "fragment_equivalents",
    "fragment_equivalents_low",
    "fragment_equivalents_high",
    "broken",
    "total",
    "broken_share",
)


def with_broken(slides: pd.DataFrame) -> pd.DataFrame:
    """Add to each slide its pieces as spores, and its broken share.

    By area: the pieces' area over the mean area of a whole spore; the slide's own, or that
    of all slides where it has none. Not more than one spore a piece. The range goes from
    :data:`AREA_DOUBT` below the figure by area up to each piece being a spore of its own.

    Parameters
    ----------
    slides : DataFrame
        Columns ``intact``, ``damaged``, ``fragment``; ``fragment_area_um2`` and
        ``spore_area_um2`` where known; ``fragment_equivalents`` (with ``_low``, ``_high``)
        where they have been worked out already.

    Returns
    -------
    DataFrame
        A copy with the columns :data:`ADDED`. ``total`` is intact, damaged and equivalents;
        ``broken_share`` is nan where it is 0.

    Examples
    --------
    >>> slide = pd.DataFrame({"intact": [70], "damaged": [10], "fragment": [40],
    ...                       "fragment_area_um2": [2000.0], "spore_area_um2": [100.0]})
    >>> float(with_broken(slide)["broken_share"].iloc[0])
    0.3
    """
    added = slides.copy()
    weights = _weights(slides)
    pieces = slides["fragment"].to_numpy(float)
    given = slides.get("fragment_equivalents")
    known = np.full(len(slides), np.nan) if given is None else given.to_numpy(float)
    for name, weight in zip(ADDED[:3], weights):
        own = slides[name].to_numpy(float) if name in slides else known
        own = np.where(np.isnan(own), known, own)
        added[name] = np.where(np.isnan(own), pieces * weight, own)
    added["broken"] = added["damaged"] + added["fragment_equivalents"]
    added["total"] = added["intact"] + added["broken"]
    with np.errstate(invalid="ignore", divide="ignore"):
        added["broken_share"] = added["broken"] / added["total"].where(added["total"] > 0)
    return added


def knows_areas(slides: pd.DataFrame) -> bool:
    """Return whether pieces can be turned into spores by area, or were already."""
    if not (slides["fragment"] > 0).any() or "fragment_equivalents" in slides:
        return True
    return not np.isnan(_by_area(slides)[slides["fragment"].to_numpy() > 0]).any()


def _weights(slides: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return of each slide how many spores a piece is: the figure, the least and the most."""
    by_area = _by_area(slides)
    unknown = np.isnan(by_area)
    middle = np.where(unknown, DEFAULT_WEIGHT, by_area)
    low = np.where(unknown, DEFAULT_WEIGHT_LOW, by_area * (1 - AREA_DOUBT))
    return middle, low, np.full(len(slides), DEFAULT_WEIGHT_HIGH)


def _by_area(slides: pd.DataFrame) -> np.ndarray:
    missing = pd.Series(math.nan, slides.index)
    pieces_um2 = slides.get("fragment_area_um2", missing).to_numpy(float)
    spore_um2 = slides.get("spore_area_um2", missing).to_numpy(float)
    known = np.isfinite(spore_um2) & (spore_um2 > 0)
    intact = np.maximum(slides["intact"].to_numpy(float), 1)
    usual = float(np.average(spore_um2[known], weights=intact[known])) if known.any() else math.nan
    pieces = np.maximum(slides["fragment"].to_numpy(float), 1)
    return np.minimum(pieces_um2 / pieces / np.where(known, spore_um2, usual), 1.0)
