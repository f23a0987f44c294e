"""Groups of photos that no two photos join with certainty, but several together do.

On a nearly clean tape two neighbours have two or three objects in common: too few. Once
a photo lies beside two or three others, all of which bear the same place out, it is
held to the same measure as two photos with that much in common.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from sporecount.settings import TapeSettings
from sporecount.tape.evidence import Evidence, gather
from sporecount.tape.hidden import overlap_share
from sporecount.tape.pose import Pose
from sporecount.tape.register import Registration
from sporecount.tape.solve import Link
from sporecount.tape.view import View

#: More is asked of several pairs than of one, since more places are tried.
_MORE_AGREEING, _LEAST_SHARE = 2, 0.7

#: Landmarks that a pair must add, to count as bearing the place out, and least pairs.
_OF_EACH, _LEAST_PAIRS = 2, 2

#: Overlaps below this share are not looked at.
_LEAST_OVERLAP = 0.01

#: Points in common from which a pair links its photos.
_LINKS_FROM = 3

#: Two photos, by number, and what speaks for their place.
Tried = tuple[int, int, Evidence]


def join_groups(
    views: Sequence[View],
    found: Mapping[tuple[int, int], Registration],
    poses: Sequence[Pose],
    group: NDArray[np.intp],
    settings: TapeSettings,
) -> list[tuple[Link, Evidence]]:
    """Return links that join the two groups for which most speaks; none if nothing does.

    Parameters
    ----------
    views : sequence of View
        All photos.
    found : mapping
        What registration said of each two of them, the lower number first.
    poses : sequence of Pose
        Place of each photo in its group.
    group : ndarray, shape (n,), int
        Group of each photo.
    settings : TapeSettings
        What is certain.
    """
    best: list[Tried] = []
    most = 0
    for (i, j), one in found.items():
        if group[i] == group[j]:
            continue
        for guess in one.maybe:
            # How the second group's frame lies in the first one's.
            whole = poses[i].after(guess).after(poses[j].inverse())
            tried = _try(views, poses, group, (int(group[i]), int(group[j])), whole)
            agreeing = sum(evidence.agreeing for _, _, evidence in tried)
            if agreeing > most and _certain(tried, settings):
                best, most = tried, agreeing
    return [
        (Link(a, b, one.pose, one.outer_um, one.inner_um), one)
        for a, b, one in best
        if one.agreeing >= _LINKS_FROM
    ]


def _try(
    views: Sequence[View],
    poses: Sequence[Pose],
    group: NDArray[np.intp],
    pair: tuple[int, int],
    whole: Pose,
) -> list[Tried]:
    """Lay one group on another and look at each two photos that then overlap."""
    tried = []
    for a, b in product(*(np.flatnonzero(group == g).tolist() for g in pair)):
        pose, low, high = poses[a].inverse().after(whole).after(poses[b]), int(a), int(b)
        if low > high:
            pose, low, high = pose.inverse(), high, low
        if overlap_share(views[low], views[high], pose) >= _LEAST_OVERLAP:
            tried.append((low, high, gather(views[low], views[high], pose)))
    return tried


def _certain(tried: list[Tried], settings: TapeSettings) -> bool:
    """Return whether several pairs together agree as two photos must to be joined."""
    seen = sum(one.seen for _, _, one in tried)
    agreeing = sum(one.agreeing for _, _, one in tried)
    bearing = sum(one.agreeing >= _OF_EACH for _, _, one in tried)
    links = any(one.agreeing >= _LINKS_FROM for _, _, one in tried)
    return (
        links
        and bearing >= _LEAST_PAIRS
        and agreeing >= settings.least_agreeing + _MORE_AGREEING
        and agreeing >= max(_LEAST_SHARE, settings.least_share) * seen
    )
