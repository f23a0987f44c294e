"""Whether two photos of one tape overlap, and how one lies on the other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.table import SPORE_STATES
from sporecount.settings import TapeSettings
from sporecount.tape.evidence import Evidence, gather
from sporecount.tape.guesses import guesses_by_pairs, patches
from sporecount.tape.hidden import hidden_overlap, overlap_share
from sporecount.tape.partners import one_to_one
from sporecount.tape.pose import Pose
from sporecount.tape.view import View

#: What a registration can say of two photos.
JOINED, APART, DOUBTFUL = "joined", "apart", "doubtful"

#: What an attempt says that joins nothing: what may be hidden was not looked for yet.
OPEN = "open"

#: A pose that moves no corner by more than this may come from dirt that stays in place, um.
IN_PLACE_UM = 6.0

#: Share of the landmarks, and of the spores, that must agree where nothing has moved.
_IN_PLACE_SHARE, _IN_PLACE_SPORES = 0.95, 0.8

#: Poses further from each other than this are different ones, um.
_ELSEWHERE_UM = 15.0

#: Fewer agreeing landmarks than this are no guess worth testing on other photos.
_WEAK_AGREEING, _WEAK_SHARE = 3, 0.7

#: From here on an overlap is possible, though not certain.
_MAYBE_AGREEING, _MAYBE_SHARE = 6, 0.5


@dataclass(frozen=True, eq=False)
class Registration:
    """How two photos lie to each other.

    Attributes
    ----------
    status : str
        ``"joined"``: they overlap, and ``pose`` says how. ``"apart"``: whatever they
        had in common beyond ``hidden_share`` would have been recognised.
        ``"doubtful"``: there is too little to tell. ``"open"``: see `attempt`.
    pose : Pose or None
        Of the second photo in the first one's frame, where joined.
    seen, agreeing : int
        Landmarks that the best pose puts into both photos, and those found again.
    overlap_share : float
        Overlap as a share of the smaller photo's examined area, where joined or where
        something, though too little, speaks for it.
    hidden_share : float
        Largest overlap, same unit, that cannot be ruled out, where not joined.
    inner_um, outer_um : ndarray, shape (n, 2)
        Points in common, in the second photo and in the first, where joined.
    maybe : tuple of Pose
        Poses that little speaks for, though nearly all there is: other photos may
        bear them out.
    """

    status: str
    pose: Pose | None
    seen: int
    agreeing: int
    overlap_share: float = 0.0
    hidden_share: float = 0.0
    inner_um: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))
    outer_um: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))
    maybe: tuple[Pose, ...] = ()


def register(
    first: View,
    second: View,
    settings: TapeSettings | None = None,
    *,
    looks: tuple[NDArray[np.float32], NDArray[np.float32]] | None = None,
) -> Registration:
    """Find out how two photos of one tape lie to each other.

    Brightness, white balance and uneven light do not matter. The scale of both must be
    right to about half a percent; it may differ between them.

    Parameters
    ----------
    first, second : View
        The photos.
    settings : TapeSettings, optional
        What is certain.
    looks : tuple of ndarray, optional
        The landmarks' patches from `sporecount.tape.guesses.patches`, where known.

    Returns
    -------
    Registration
    """
    settings = settings or TapeSettings()
    looks = looks or (patches(first), patches(second))
    tried = attempt(first, second, looks, settings)
    if tried.status != OPEN:
        return tried
    hidden = hidden_overlap(first, second, looks, settings.most_angle_deg)
    return told_apart(tried, hidden, settings)


def told_apart(tried: Registration, hidden: float, settings: TapeSettings) -> Registration:
    """Say of two photos that were not joined whether they lie apart.

    Parameters
    ----------
    tried : Registration
        From :func:`attempt`, open.
    hidden : float
        Largest overlap that cannot be ruled out, from `sporecount.tape.hidden`.
    settings : TapeSettings
        What is certain.
    """
    hidden = max(hidden, tried.overlap_share)
    unknown = hidden > settings.most_hidden_overlap and not settings.taken_apart
    status = DOUBTFUL if tried.overlap_share > 0 or unknown else APART
    return replace(tried, status=status, overlap_share=0.0, hidden_share=hidden)


def attempt(
    first: View,
    second: View,
    looks: tuple[NDArray[np.float32], NDArray[np.float32]],
    settings: TapeSettings,
) -> Registration:
    """Join two photos by a pose that is certain; without one, or with two, it stays open.

    Parameters
    ----------
    first, second, looks, settings
        As for :func:`register`.
    """
    best: Evidence | None = None
    weak, certain = list[Evidence](), list[Evidence]()
    for guess in guesses_by_pairs(
        first.landmarks_um, looks[0], second.landmarks_um, looks[1], settings.most_angle_deg
    ):
        evidence = gather(first, second, guess)
        if abs(evidence.pose.angle_deg) > settings.most_angle_deg:
            continue
        if is_certain(first, second, evidence, settings):
            certain.append(evidence)
        if (
            evidence.agreeing >= _WEAK_AGREEING
            and evidence.share >= _WEAK_SHARE
            and not in_place(evidence.pose, first.size_um)
        ):
            weak.append(evidence)
        if best is None or evidence.agreeing * evidence.share > best.agreeing * best.share:
            best = evidence
    if certain and not _differ(certain, first):
        return joined_by(first, second, max(certain, key=lambda one: one.agreeing))
    seen, agreeing = (best.seen, best.agreeing) if best else (0, 0)
    possible = 0.0
    if best is not None and agreeing >= _MAYBE_AGREEING and best.share >= _MAYBE_SHARE:
        possible = overlap_share(first, second, best.pose)
    weak.sort(key=lambda one: -one.agreeing * one.share)
    maybe = tuple(one.pose for one in weak[:3])
    return Registration(OPEN, None, seen, agreeing, overlap_share=possible, maybe=maybe)


def _differ(found: list[Evidence], view: View) -> bool:
    """Return whether poses put the photo in different places: what lies there repeats itself."""
    middle = np.array([view.size_um]) / 2
    places = np.concatenate([one.pose.outwards(middle) for one in found])
    return bool(np.hypot(*np.ptp(places, axis=0)) > _ELSEWHERE_UM)


def joined_by(first: View, second: View, evidence: Evidence) -> Registration:
    """Return the registration of photos that evidence joins."""
    return Registration(
        JOINED, evidence.pose, evidence.seen, evidence.agreeing,
        overlap_share=overlap_share(first, second, evidence.pose),
        inner_um=evidence.inner_um, outer_um=evidence.outer_um,
    )  # fmt: skip


def is_certain(first: View, second: View, evidence: Evidence, settings: TapeSettings) -> bool:
    """Return whether enough agrees, and little else disagrees.

    Where nothing has moved, dirt on the lens or the sensor would agree too: then nearly
    all must agree, spores included.
    """
    if evidence.agreeing < settings.least_agreeing or evidence.share < settings.least_share:
        return False
    if not in_place(evidence.pose, first.size_um):
        return True
    return evidence.share >= _IN_PLACE_SHARE and _same_spores(first, second)


def in_place(pose: Pose, size_um: tuple[float, float]) -> bool:
    """Return whether a pose moves no corner of a photo by more than a few um.

    Examples
    --------
    >>> in_place(Pose(2.0, 1.0), (900.0, 600.0)), in_place(Pose(0.0, 0.0, 1.0), (900.0, 600.0))
    (True, False)
    """
    corners = np.array([[0, 0], [size_um[0], 0], [0, size_um[1]], size_um])
    return bool((np.hypot(*(pose.outwards(corners) - corners).T) <= IN_PLACE_UM).all())


def _same_spores(first: View, second: View) -> bool:
    """Return whether two photos show the same spores in the same places."""
    own, other = (
        view.detections.loc[view.detections["state"].isin(SPORE_STATES), ["x_um", "y_um"]].to_numpy(
            float
        )
        for view in (first, second)
    )
    most = max(len(own), len(other))
    pairs = len(one_to_one(own, other, 2 * IN_PLACE_UM)[0])
    return pairs >= _IN_PLACE_SPORES * most
