"""A small adjustment of the tool to one microscope, learned from photos reviewed in full.

Two numbers move the confidence of spores, one the chance from which on a spore counts as
damaged. Each part is kept only where people's own reviews show that it helps: photo by photo,
with what was learned from the other photos.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, INTACT
from sporecount.microscope import Adjustment
from sporecount.review.learned import Learned
from sporecount.review.quality import Quality, quality
from sporecount.review.sample import Judged
from sporecount.settings import DetectSettings

Array = NDArray[np.float64]

#: Fewer photos in full, or real spores on them, teach nothing (common practice, no source).
LEAST_PHOTOS, LEAST_SPORES = 6, 50

#: With fewer photos without any spore nothing is counted more readily than before.
LEAST_BLANKS = 2

#: Largest chance that so much fewer mistakes come about by chance alone.
MOST_CHANCE = 0.05

#: The adjustment is thought to be small: standard deviations of ln(slope) and of the shift.
_SLOPE_SD, _SHIFT_SD = 0.4, 1.5

#: Steps by which a shift is taken back until no photo without spores shows more of them.
_STEP = 0.1

#: What is tried of a change of confidences: all, or less where clean photos ask for it.
_STRENGTHS = (1.0, 0.5, 0.25)

#: Chances that are tried as the least one of a damaged spore.
_LEAST_DAMAGED = np.arange(0.1, 0.96, 0.05)

#: Up to so many photos all ways to turn their signs are gone through, else so many drawn ones.
_ALL_WAYS, _DRAWN = 12, 4000


@dataclass(frozen=True, eq=False)
class Refit:
    """What came of learning from reviews.

    Attributes
    ----------
    adjustment : Adjustment or None
        None where none is kept.
    before, after : Quality
        How good the tool is on these photos without and with it; after: each photo with what
        the others taught.
    false_on_blanks : tuple of int
        Spores counted on photos without any, before and after.
    why : tuple of str
        What was kept or not, and why, as sentences.
    photos : tuple of Judged
        The photos as they are with the adjustment, for its rates.
    """

    adjustment: Adjustment | None
    before: Quality
    after: Quality
    false_on_blanks: tuple[int, int]
    why: tuple[str, ...]
    photos: tuple[Judged, ...]

    def as_text(self) -> str:
        """Return before and after in plain words."""
        lines = list(self.why)
        pairs = (("before", self.before), ("after", self.after))
        for name, one in pairs if self.adjustment is not None else pairs[:1]:
            lines.append(
                f"{name.capitalize()}: of what is counted as spores, real ones {one.precision}; "
                f"of the real spores, counted {one.recall}."
            )
        if self.adjustment is not None:
            lines.append(
                "Spores counted on photos without any: "
                f"{self.false_on_blanks[0]} before, {self.false_on_blanks[1]} after."
            )
        return "\n".join(lines)


def refit(photos: Sequence[Learned], settings: DetectSettings, level: float = 0.95) -> Refit:
    """Learn an adjustment, and keep of it what helps on photos it was not learned from.

    Parameters
    ----------
    photos : sequence of Learned
        From `learned_from`.
    settings : DetectSettings
        Those of the count.
    level : float
        Confidence level of the limits in the report.

    Returns
    -------
    Refit
        Without an adjustment where there are too few photos, or it does not help.
    """
    before = [photo.judged for photo in photos]
    spores = sum(photo.table[:2].sum() for photo in before)
    if len(photos) < LEAST_PHOTOS or spores < LEAST_SPORES:
        few = (
            f"Nothing is learned from {len(photos)} photos in full with {spores:.0f} spores: it "
            f"takes {LEAST_PHOTOS} with {LEAST_SPORES} in all."
        )
        return _unchanged(photos, (few,), level)
    line, line_why = _kept_part(photos, settings, _fit_line, _count_mistakes, "what counts")
    state, state_why = _kept_part(
        photos, settings, _fit_damaged, _state_mistakes, "what counts as damaged"
    )
    why = (line_why, state_why)
    if line is None and state is None:
        return _unchanged(photos, why, level)
    whole = _together(line.whole if line else None, state.whole if state else None)
    folds = [
        _together(line.folds[n] if line else None, state.folds[n] if state else None)
        for n in range(len(photos))
    ]
    after = [
        replace(photo.judged, table=photo.table(fold, settings))
        for photo, fold in zip(photos, folds, strict=True)
    ]
    blanks = [n for n, photo in enumerate(photos) if photo.is_blank]
    false = tuple(
        int(sum(tables[n].table[:, :2].sum() for n in blanks)) for tables in (before, after)
    )
    return Refit(
        whole,
        quality(before, level),
        quality(after, level),
        (false[0], false[1]),
        why,
        tuple(after),
    )


@dataclass(frozen=True)
class _Part:
    """One part of an adjustment: learned from all photos, and from all but each."""

    whole: Adjustment
    folds: tuple[Adjustment, ...]


_Fit = Callable[[Sequence[Learned], DetectSettings], Adjustment]
_Mistakes = Callable[[Array], float]


def _kept_part(
    photos: Sequence[Learned], settings: DetectSettings, fit: _Fit, mistakes: _Mistakes, what: str
) -> tuple[_Part | None, str]:
    """Learn one part without each photo in turn; keep it only if those photos gain by it."""
    whole = fit(photos, settings)
    others = [fit([*photos[:n], *photos[n + 1 :]], settings) for n in range(len(photos))]
    for strength in _STRENGTHS:
        folds = tuple(_weaker(fold, strength) for fold in others)
        tables = [photo.table(fold, settings) for photo, fold in zip(photos, folds, strict=True)]
        # The strongest that shows no more on clean photos it was not learned from is tested.
        more = _more_on_blanks(photos, tables)
        if more <= 0:
            break
    if more > 0:
        return None, f"No change of {what}: photos without spores would show {more:.0f} more."
    before = np.array([mistakes(photo.judged.table) for photo in photos])
    after = np.array([mistakes(table) for table in tables])
    told = f"{before.sum():.0f} mistakes before, {after.sum():.0f} after"
    chance = _chance_of_gain(before - after)
    if after.sum() >= before.sum() or chance > MOST_CHANCE:
        return None, (
            f"No change of {what}: on photos it was not learned from it does not help clearly "
            f"({told}, p = {chance:.2f})."
        )
    kept = _Part(_weaker(whole, strength), folds)
    return kept, f"Changed {what}: on photos it was not learned from, {told}."


def _more_on_blanks(photos: Sequence[Learned], tables: Sequence[Array]) -> float:
    """Return how many more spores photos without any show."""
    return sum(
        float(table[:, :2].sum() - photo.judged.table[:, :2].sum())
        for photo, table in zip(photos, tables, strict=True)
        if photo.is_blank
    )


def _weaker(adjustment: Adjustment, strength: float) -> Adjustment:
    """Return a part of what an adjustment does to confidences."""
    slope, shift = strength * math.log(adjustment.slope), strength * adjustment.shift
    return replace(adjustment, slope=math.exp(slope), shift=shift)


def _fit_line(photos: Sequence[Learned], settings: DetectSettings) -> Adjustment:
    """Fit slope and shift of the confidences of spores, and keep blanks as clean as they are."""
    from scipy.optimize import minimize

    finds = pd.concat([photo.finds for photo in photos])
    finds = finds[~finds["is_fragment"] & finds["possible"]]
    sure = np.clip(finds["spore"].to_numpy(float), 1e-4, 1.0 - 1e-4)
    logit = np.log(sure / (1.0 - sure))
    true = finds["truth"].isin((INTACT, DAMAGED)).to_numpy(bool)

    def loss(line: Array) -> float:
        z = np.exp(line[0]) * logit + line[1]
        prior = 0.5 * ((line[0] / _SLOPE_SD) ** 2 + (line[1] / _SHIFT_SD) ** 2)
        return float(np.sum(np.logaddexp(0.0, z) - true * z) + prior)

    slope, shift = minimize(loss, np.zeros(2)).x
    found = Adjustment(float(np.exp(slope)), float(shift))
    blanks = [photo for photo in photos if photo.is_blank]
    if len(blanks) < LEAST_BLANKS:
        # Nothing shows what a lower threshold would do on a clean tape.
        return _no_more_readily(found, settings)
    now = sum(photo.judged.table[:, :2].sum() for photo in blanks)
    strictest = _no_more_readily(found, settings)
    while found.shift > strictest.shift and _on_blanks(blanks, found, settings) > now:
        found = replace(found, shift=max(found.shift - _STEP, strictest.shift))
    return found


def _no_more_readily(found: Adjustment, settings: DetectSettings) -> Adjustment:
    """Return the adjustment with a shift by which no less sure find counts than before."""
    least = settings.least_confidence
    most = (1.0 - found.slope) * math.log(least / (1.0 - least))
    return replace(found, shift=min(found.shift, most))


def _on_blanks(
    blanks: Sequence[Learned], adjustment: Adjustment, settings: DetectSettings
) -> float:
    return sum(float(photo.table(adjustment, settings)[:, :2].sum()) for photo in blanks)


def _fit_damaged(photos: Sequence[Learned], settings: DetectSettings) -> Adjustment:
    """Find the chance from which on most spores are called what they are."""
    finds = pd.concat([photo.finds for photo in photos])
    chosen = ~finds["is_fragment"] & (finds["spore"] >= settings.least_confidence)
    finds = finds[chosen & finds["truth"].isin((INTACT, DAMAGED))]
    chance, damaged = finds["damaged"].to_numpy(float), (finds["truth"] == DAMAGED).to_numpy()
    if not damaged.any() or damaged.all():
        return Adjustment()
    tried = np.append(_LEAST_DAMAGED, settings.least_damaged)
    called = chance[None, :] >= tried[:, None]
    wrong = (called != damaged).sum(1)
    # Among equally good ones, that nearest to the usual one.
    best = np.lexsort((np.abs(tried - settings.least_damaged), wrong))[0]
    return Adjustment(least_damaged=float(tried[best]))


def _count_mistakes(table: Array) -> float:
    """Return spores missed and other things counted as spores."""
    return float(table[:2, 2:].sum() + table[2:, :2].sum())


def _state_mistakes(table: Array) -> float:
    """Return intact ones called damaged, and the other way round."""
    return float(table[0, 1] + table[1, 0])


def _chance_of_gain(gains: Array) -> float:
    """Return the chance of so large a gain if signs were turned at random, photo by photo."""
    moved = gains[gains != 0]
    if not moved.size or moved.sum() <= 0:
        return 1.0
    if moved.size <= _ALL_WAYS:
        ways = np.array(np.meshgrid(*[[-1.0, 1.0]] * moved.size)).reshape(moved.size, -1).T
        return float((ways @ moved >= moved.sum() - 1e-9).mean())
    ways = np.random.default_rng(0).choice((-1.0, 1.0), (_DRAWN, moved.size))
    return float(((ways @ moved >= moved.sum() - 1e-9).sum() + 1) / (_DRAWN + 1))


def _together(line: Adjustment | None, state: Adjustment | None) -> Adjustment:
    """Return both parts as one adjustment."""
    base = line or Adjustment()
    return replace(base, least_damaged=state.least_damaged if state else None)


def _unchanged(photos: Sequence[Learned], why: tuple[str, ...], level: float) -> Refit:
    judged = [photo.judged for photo in photos]
    now = quality(judged, level)
    blank = int(sum(photo.judged.table[:, :2].sum() for photo in photos if photo.is_blank))
    return Refit(None, now, now, (blank, blank), why, tuple(judged))
