"""How good the tool is on this microscope, told from photos that people reviewed fairly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.detect.table import STATES
from sporecount.review.errors import ReviewError
from sporecount.review.record import Review
from sporecount.review.sample import Judged, judged
from sporecount.statistics.clusters import Group, clustered_interval, design_effect, likeness
from sporecount.statistics.proportions import Interval
from sporecount.trial.misread import MisreadRates

Array = NDArray[np.float64]

#: Fewer photos in full, or real spores on them, do not take the place of the rates that come
#: with the tool (common practice, no source).
LEAST_PHOTOS, LEAST_SPORES = 5, 50

#: Fewer real spores of each state do not take the place of the tool's misreadings (as above).
LEAST_OF_STATE = 20

#: The spread between photos of the rates that come with the tool counts as much as that of so
#: many photos.
_USUAL_COUNTS_AS = 3.0


@dataclass(frozen=True)
class Share:
    """A share with its limits, the photo as unit.

    Attributes
    ----------
    events, total : int
        How many, out of how many.
    limits : Interval
        Limits; 0 to 1 where there is nothing to tell it by.
    photos : int
        Photos it is told from.
    """

    events: int
    total: int
    limits: Interval
    photos: int

    @property
    def share(self) -> float:
        """The share; nan of nothing."""
        return self.events / self.total if self.total else math.nan

    def __str__(self) -> str:
        if not self.total:
            return "nothing to tell it by"
        low, high = (100 * limit for limit in self.limits)
        return (
            f"{100 * self.share:.0f} % ({low:.0f} to {high:.0f} %), {self.events} of {self.total}"
        )


@dataclass(frozen=True, eq=False)
class Quality:
    """How good the tool is where some photos were reviewed fairly.

    Attributes
    ----------
    photos : tuple of Judged
        The photos it is told from.
    precision : Share
        Of what the tool counts as spores: those that are.
    recall : Share
        Of the real spores on photos in full: those that the tool counts.
    states : tuple of tuple of Share, shape (3, 3)
        Of what is really intact, damaged, a fragment (rows) and was found: what it was
        called (columns).
    notes : tuple of str
        What the reader should know.
    """

    photos: tuple[Judged, ...]
    precision: Share
    recall: Share
    states: tuple[tuple[Share, ...], ...]
    notes: tuple[str, ...] = ()

    @property
    def in_full(self) -> tuple[Judged, ...]:
        """Photos that were looked through."""
        return tuple(photo for photo in self.photos if photo.in_full)

    def as_text(self) -> str:
        """Return it in plain words."""
        spots = [
            f"Of what is really {truth}, called {call}: {share}."
            for truth, row in zip(STATES, self.states)
            for call, share in zip(STATES, row)
            if share.total and (share.events or truth == call)
        ]
        head = (
            f"Told from {_photos(len(self.photos))}, {len(self.in_full)} of them looked through "
            "in full; limits with the photo as unit."
        )
        return "\n".join(
            (
                head,
                f"Of what is counted as spores, real ones: {self.precision}.",
                f"Of the real spores, counted: {self.recall}.",
                *spots,
                *self.notes,
            )
        )


def quality_of_reviews(reviews: Sequence[Review], level: float = 0.95) -> Quality:
    """Say how good the tool is, from reviews of photos.

    Parameters
    ----------
    reviews : sequence of Review
        One for each photo and person; of several of one photo, the first that is fair.
    level : float
        Confidence level, between 0 and 1.

    Raises
    ------
    ReviewError
        If none of them is a fair sample: figures from doubtful detections alone would say
        something else than how good the tool is.
    """
    fair: dict[str, Judged] = {}
    for one in filter(None, map(judged, reviews)):
        kept = fair.get(one.sha256)
        if kept is None or (one.in_full and not kept.in_full):
            fair[one.sha256] = one
    left_out = len({review.sha256 for review in reviews} - set(fair))
    if not fair:
        raise ReviewError(
            f"{_photos(len(reviews), 'reviewed ')}",
            "none was looked through in full, nor a random sample of its detections judged; "
            "the doubtful ones alone do not tell how good the tool is",
            "look through whole photos and close them",
        )
    notes: tuple[str, ...] = ()
    if left_out:
        notes = (
            f"{_photos(left_out)} reviewed in part left out: what is doubtful was looked at "
            "first there, which is no fair sample.",
        )
    return quality(list(fair.values()), level, notes)


def quality(photos: Sequence[Judged], level: float = 0.95, notes: tuple[str, ...] = ()) -> Quality:
    """Say how good the tool is, from photos that are a fair sample."""
    tables = np.array([photo.table for photo in photos]).reshape(-1, 4, 4)
    full = tables[[photo.in_full for photo in photos]]
    as_spores = tables[:, :, :2].sum((1, 2))
    precise = _share(tables[:, :2, :2].sum((1, 2)), as_spores, level)
    found = _share(full[:, :2, :2].sum((1, 2)), full[:, :2].sum((1, 2)), level)
    states = tuple(
        tuple(_share(tables[:, t, c], tables[:, t, :3].sum(1), level) for c in range(3))
        for t in range(3)
    )
    return Quality(tuple(photos), precise, found, states, notes)


def rates_from(
    photos: Sequence[Judged], usual: DetectorRates | None = None
) -> tuple[DetectorRates | None, str]:
    """Return the rates of mistakes on this microscope, or why there are none yet.

    Parameters
    ----------
    photos : sequence of Judged
        A fair sample; only photos in full count.
    usual : DetectorRates, optional
        Those that come with the tool, from which one starts: they weigh as much as few
        spores do.

    Returns
    -------
    rates : DetectorRates or None
    why : str
        Empty where there are rates.
    """
    usual = usual or load_rates()
    full = [photo for photo in photos if photo.in_full]
    hits = np.array([photo.table[:2, :2].sum() for photo in full])
    spores = np.array([photo.table[:2].sum() for photo in full])
    if len(full) < LEAST_PHOTOS or spores.sum() < LEAST_SPORES:
        return None, (
            f"{_photos(len(full), 'looked through: ')} with {spores.sum():.0f} real spores; from "
            f"{LEAST_PHOTOS} photos with {LEAST_SPORES} spores on, the rates are your own"
        )
    mean, sd = _recall_law(hits, spores, usual)
    false, false_sd = _false_law(full, usual)
    words = (
        f"{_photos(len(full))} of your own, looked through by hand, with {spores.sum():.0f} spores"
    )
    rates = replace(
        usual,
        recall_mean=mean,
        recall_sd=sd,
        false_per_mm2=false,
        false_per_mm2_sd=false_sd,
        photo_law=None,  # known of rendered photos alone
        measured_on=words,
    )
    return rates, ""


def misread_from_judged(photos: Sequence[Judged]) -> tuple[MisreadRates | None, str]:
    """Return what the tool misreads on this microscope, for trials, or why it is not known yet.

    Counts are divided by the design effect: spores of one photo are alike, and count as fewer.
    """
    tables = np.array([photo.table for photo in photos]).reshape(-1, 4, 4)
    found = tables[:, :2, :2].sum((0, 2))
    if len(photos) < LEAST_PHOTOS or found.min() < LEAST_OF_STATE:
        return None, (
            f"{_photos(len(photos))} with {found[0]:.0f} intact and {found[1]:.0f} damaged spores "
            f"found; from {LEAST_PHOTOS} photos with {LEAST_OF_STATE} of each on, what is misread "
            "is your own"
        )
    effects = [
        design_effect(_group(tables[:, truth, 1], tables[:, truth, :2].sum(1)))
        for truth in range(2)
    ]
    known = [effect for effect in effects if math.isfinite(effect)]
    pooled = tables.sum(0) / max([1.0, *known])
    words = f"{_photos(len(photos))} of your own, reviewed by hand"
    return (
        MisreadRates(tuple(map(tuple, pooled[:3].tolist())), tuple(pooled[3, :3].tolist()), words),
        "",
    )


def _recall_law(hits: Array, spores: Array, usual: DetectorRates) -> tuple[float, float]:
    """Return mean and spread of recall between photos, of which the usual law is a part."""
    a, b = usual.recall_beta if usual.recall_sd else (usual.recall_mean, 1.0 - usual.recall_mean)
    mean = float((hits.sum() + a) / (spores.sum() + a + b))
    telling = spores > 0
    share, number = hits[telling] / spores[telling], spores[telling]
    weights = number / number.sum()
    apart = float((weights * (share - mean) ** 2).sum()) - mean * (1 - mean) * len(number) / (
        number.sum()
    )
    photos = len(number)
    # Around their own mean photos spread less than around the true one.
    apart = max(apart, 0.0) * photos / max(photos - 1, 1)
    between = (photos * apart + _USUAL_COUNTS_AS * usual.recall_sd**2) / (photos + _USUAL_COUNTS_AS)
    # The mean itself is not known better than so many photos tell it.
    unsure = between / photos + mean * (1 - mean) / number.sum()
    widest = 0.95 * math.sqrt(mean * (1 - mean) * mean / (mean + 1.5))
    sd = min(max(math.sqrt(between + unsure), 0.002), widest)
    return mean, sd


def _false_law(full: Sequence[Judged], usual: DetectorRates) -> tuple[float, float]:
    """Return mean and spread of false spores per mm2; the usual ones where no area is known."""
    known = [photo for photo in full if math.isfinite(photo.examined_mm2)]
    area = np.array([photo.examined_mm2 for photo in known])
    if len(known) < LEAST_PHOTOS or area.sum() <= 0:
        return usual.false_per_mm2, usual.false_per_mm2_sd
    false = np.array([photo.table[2:, :2].sum() for photo in known])
    # Half a false one more than was seen: none seen does not make them impossible.
    mean = float((false.sum() + 0.5) / area.sum())
    apart = float(((false / area - mean) ** 2).mean()) - mean * float((1 / area).mean())
    return mean, math.sqrt(max(apart, 0.0) + mean / area.sum())


def _share(events: Array, totals: Array, level: float) -> Share:
    """Return a share over photos with clustered limits."""
    told = totals > 0
    if not told.any():
        return Share(0, 0, Interval(0.0, 1.0), 0)
    one = _group(events[told], totals[told])
    limits = clustered_interval(one, likeness([one]), level)
    return Share(int(events.sum()), int(totals.sum()), limits, int(told.sum()))


def _group(events: Array, totals: Array) -> Group:
    told = totals > 0
    return Group(events[told], totals[told])


def _photos(number: int, before: str = "") -> str:
    return f"{before}{number} photo{'' if number == 1 else 's'}"
