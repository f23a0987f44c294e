"""How the photo after treatment lies on the one before, told by what treatment leaves alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from sporecount.detect.matching import match_centres
from sporecount.detect.table import SPORE_STATES
from sporecount.settings import FollowSettings, TapeSettings
from sporecount.tape.dirt import without_dirt
from sporecount.tape.evidence import Evidence, gather
from sporecount.tape.guesses import guesses_by_pairs, patches
from sporecount.tape.hidden import overlap_share
from sporecount.tape.pose import Pose
from sporecount.tape.register import in_place
from sporecount.tape.view import View

#: Landmarks within this distance of a find may change with it, um: about a spore's length.
SPORE_REACH_UM = 12.0

#: Two poses further apart than this, at the middle of the photo, contradict each other, um.
_ELSEWHERE_UM = 15.0

#: With so many photos of other fields, specks that stay in place are known and taken out.
_OTHERS_FOR_DIRT = 2

#: Where they are not known and nothing has moved, this share of the marks must agree, and so
#: many spores must lie where they lay, within this distance, um: dirt would agree too.
_IN_PLACE_SHARE, _IN_PLACE_SPORES, _IN_PLACE_UM = 0.95, 3, 3.0

#: Where litter is too little, spores count too. So many marks more must then agree, though a
#: smaller share may, since spores change: of 240 pairs of different fields none had more than
#: 4 that did. Where nothing has moved, and dirt would agree, the share is larger.
_ALL_MORE, _ALL_SHARE, _ALL_SHARE_IN_PLACE = 4, 0.3, 0.7

#: The two photos show the same field if they have this share in common.
_LEAST_COMMON = 0.3


@dataclass(frozen=True)
class Laid:
    """How two photos of a field lie on each other.

    Attributes
    ----------
    pose : Pose or None
        Of the photo after in the frame of the one before; None where it is not certain.
    seen, agreeing : int
        Landmarks that both photos must show, and those found again at their place.
    by_litter : bool
        Whether litter alone decided.
    common : float
        What both show, as a share of the smaller examined area.
    reason : str
        Why it is not certain; empty where it is.
    """

    pose: Pose | None
    seen: int = 0
    agreeing: int = 0
    by_litter: bool = True
    common: float = 0.0
    reason: str = ""


def lay_field(
    before: View,
    after: View,
    settings: FollowSettings | None = None,
    tape: TapeSettings | None = None,
    others: Sequence[View] = (),
) -> Laid:
    """Lay the photo after treatment on the one before.

    Spores may have changed or gone, so that litter decides: landmarks near no find. Only
    where there is too little of it do spores count too, and then more must agree.

    Parameters
    ----------
    before, after : View
        Two photos of one field.
    settings : FollowSettings, optional
        Largest turn.
    tape : TapeSettings, optional
        How many landmarks must be found again (``least_agreeing``), and what share of them
        (``least_share``).
    others : sequence of View
        Photos of other fields by the same camera. Specks that stay in place on these are on
        the lens or sensor and are left out.

    Returns
    -------
    Laid
        Without a pose where nothing is certain; never a guess.
    """
    settings, tape = settings or FollowSettings(), tape or TapeSettings()
    for view, when in ((before, "before"), (after, "after")):
        if not view.usable:
            return Laid(None, reason=f"the photo {when} was refused: {view.reason}")
    (before, after, *_), _ = without_dirt([before, after, *others])
    knows_dirt = len(others) >= _OTHERS_FOR_DIRT
    litter = _litter_of(before), _litter_of(after)
    guesses = [
        *_guesses(before, after, settings.most_angle_deg),
        *_guesses(*litter, settings.most_angle_deg),
    ]
    best, is_dirt = Laid(None), False
    for views, by_litter in ((litter, True), ((before, after), False)):
        found = [gather(*views, guess) for guess in guesses]
        good = [
            one
            for one in found
            if abs(one.pose.angle_deg) <= settings.most_angle_deg
            and _agrees(one, by_litter, in_place(one.pose, before.size_um), tape)
        ]
        certain = [one for one in good if knows_dirt or _has_moved(before, after, one)]
        if certain and _differ(certain, before):
            return Laid(None, reason="the photos fit onto each other in more than one place")
        if certain:
            return _joined(before, after, max(certain, key=lambda one: one.agreeing), by_litter)
        is_dirt |= bool(good)
        for one in found:
            if one.agreeing > best.agreeing:
                best = Laid(None, one.seen, one.agreeing, by_litter)
    if is_dirt:
        return replace(best, reason=_MAY_BE_DIRT)
    return replace(best, reason=_too_little(best, min(len(view.landmarks_um) for view in litter)))


_MAY_BE_DIRT = (
    "nothing has moved, so that specks on the lens or sensor would agree as well; photos of other "
    "fields by the same camera would tell"
)


def _agrees(one: Evidence, by_litter: bool, is_in_place: bool, tape: TapeSettings) -> bool:
    """Return whether enough marks are found again."""
    if by_litter:
        return one.agreeing >= tape.least_agreeing and one.share >= tape.least_share
    share = _ALL_SHARE_IN_PLACE if is_in_place else _ALL_SHARE
    return one.agreeing >= tape.least_agreeing + _ALL_MORE and one.share >= share


def _has_moved(before: View, after: View, one: Evidence) -> bool:
    """Return whether dirt on the lens can't be what agrees."""
    return not in_place(one.pose, before.size_um) or (
        one.share >= _IN_PLACE_SHARE and _spores_stay(before, after, one.pose)
    )


def _too_little(best: Laid, marks: int) -> str:
    if marks < best.agreeing + 4:
        return f"too little but spores lies on them ({marks} marks) to tell how they lie"
    return f"only {best.agreeing} of {best.seen} marks are found again at their place"


def _joined(before: View, after: View, one: Evidence, by_litter: bool) -> Laid:
    common = overlap_share(before, after, one.pose)
    if common < _LEAST_COMMON:
        return Laid(
            None, one.seen, one.agreeing, by_litter, common,
            f"they have only {100 * common:.0f} % of a photo in common",
        )  # fmt: skip
    return Laid(one.pose, one.seen, one.agreeing, by_litter, common)


def _spores_stay(before: View, after: View, pose: Pose) -> bool:
    """Return whether some of the spores, half of those left at least, lie where they lay."""
    old, new = (
        view.detections.loc[view.detections["state"].isin(SPORE_STATES), ["x_um", "y_um"]].to_numpy(
            float
        )
        for view in (before, after)
    )
    pairs = len(match_centres(old, pose.outwards(new), _IN_PLACE_UM).found)
    return pairs >= max(_IN_PLACE_SPORES, 0.5 * min(len(old), len(new)))


def _litter_of(view: View) -> View:
    """Return a view with those landmarks that no find is near."""
    finds = view.detections[["x_um", "y_um"]].to_numpy(float)
    if not len(finds) or not len(view.landmarks_um):
        return view
    away = np.asarray(cKDTree(finds).query(view.landmarks_um)[0])
    return replace(view, landmarks_um=view.landmarks_um[away > SPORE_REACH_UM])


def _guesses(before: View, after: View, most_angle_deg: float) -> list[Pose]:
    return guesses_by_pairs(
        before.landmarks_um, patches(before), after.landmarks_um, patches(after), most_angle_deg
    )


def _differ(found: Sequence[Evidence], view: View) -> bool:
    middle = np.array([view.size_um]) / 2
    places = np.concatenate([one.pose.outwards(middle) for one in found])
    return bool(np.hypot(*np.ptp(places, axis=0)) > _ELSEWHERE_UM)
