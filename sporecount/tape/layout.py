"""All photos of a tape in their places: which belong together, repeat, or leave a doubt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.settings import TapeSettings
from sporecount.tape.dirt import without_dirt
from sporecount.tape.evidence import gather
from sporecount.tape.hidden import overlap_share
from sporecount.tape.pairs import Known, Pair, Pairs
from sporecount.tape.pose import Pose
from sporecount.tape.register import (
    APART,
    DOUBTFUL,
    JOINED,
    Registration,
    in_place,
    is_certain,
    joined_by,
)
from sporecount.tape.solve import Link, groups_of, solve
from sporecount.tape.together import join_groups
from sporecount.tape.view import View

#: Columns of the placements and their types, in order. ``x_um``, ``y_um`` is where the
#: photo's top-left corner lies in the frame of its group's first photo, and
#: ``angle_deg`` how it is turned there.
PLACEMENT_COLUMNS: dict[str, str] = {
    "photo": "str",
    "sha256": "str",
    "group": "int64",
    "x_um": "float64",
    "y_um": "float64",
    "angle_deg": "float64",
    "certain": "bool",
    "repeats_of": "str",
    "notes": "str",
}

#: Overlaps below this share are not looked for once all photos are placed.
_LEAST_OVERLAP = 0.03

#: Photos laid on each other that show this many landmarks, and less than this share of
#: them in common, cannot lie like that.
_CONTRADICTS_FROM, _CONTRADICTS_BELOW = 12, 0.3


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the photos of one tape lie.

    Attributes
    ----------
    placements : DataFrame
        One row for each photo, as given; columns :data:`PLACEMENT_COLUMNS`. Refused
        photos have group -1 and no place; a repeat has the place of its photo.
    poses : list of Pose
        Place of each photo in its group's frame.
    doubts : ndarray, shape (groups, groups), bool
        Groups that may overlap each other.
    hidden_share : float
        Largest share of a photo that could overlap one of another group unnoticed,
        among those taken to be apart.
    pairs : DataFrame
        What registration said of photos that were compared: ``first``, ``second``, ``status``,
        ``seen``, ``agreeing``, ``overlap_share``, ``hidden_share``.
    notes : tuple of str
        What a person should know.
    """

    placements: pd.DataFrame
    poses: list[Pose]
    doubts: NDArray[np.bool_]
    hidden_share: float
    pairs: pd.DataFrame
    notes: tuple[str, ...]


def lay_out(
    views: Sequence[View],
    settings: TapeSettings | None = None,
    progress: Callable[[int, int], None] | None = None,
    known: Known | None = None,
) -> Layout:
    """Lay out the photos of one tape.

    Parameters
    ----------
    views : sequence of View
        All photos of the tape, refused ones too.
    settings : TapeSettings, optional
        What is certain.
    progress : callable, optional
        Called with the number of pairs done and of all pairs.
    known : dict, optional
        Registrations of earlier calls, to which those of this one are added: with the
        same dictionary each time, a photo that comes later costs only its own pairs.

    Returns
    -------
    Layout
    """
    settings = settings or TapeSettings()
    copies = _same_files(views)
    used = [n for n, view in enumerate(views) if view.usable and copies[n] < 0]
    cleaned, specks = without_dirt([views[n] for n in used])
    pairs = Pairs(cleaned, settings, {} if known is None else known)
    tried = pairs.compare({}, np.arange(len(used)), progress)
    while True:
        found = _without_in_place(cleaned, tried, settings)
        poses, kept, rejected, found = _consistent(cleaned, found, settings, pairs)
        group = groups_of(len(used), kept)
        # A link that was dropped may part photos that were not compared for it; and where
        # something contradicts, all there is has to speak.
        more = pairs.compare(tried, None if rejected else group)
        if len(more) == len(tried):
            break
        tried = more
    found = pairs.told_apart(found, group)
    doubts, hidden = _between_groups(group, found)
    repeats = _repeats(cleaned, group, poses, settings)
    notes = list[str]()
    if specks:
        notes.append(
            f"{specks} speck{'s' * (specks > 1)} that stay in place in most photos were taken "
            "for dirt on the lens or sensor, and not used to find overlaps"
        )
    if rejected:
        notes.append(
            f"{rejected} overlap{'s' * (rejected > 1)} contradicted the others and were dropped"
        )
    table, all_poses = _placements(views, copies, used, group, poses, repeats, doubts)
    return Layout(table, all_poses, doubts, hidden, _pair_table(views, used, found), tuple(notes))


def _same_files(views: Sequence[View]) -> list[int]:
    """Return the number of the first photo with the same file, -1 where there is none before."""
    first: dict[str, int] = {}
    copies = []
    for number, view in enumerate(views):
        key = view.sha256 or f"\0{number}"
        copies.append(first.get(key, -1))
        first.setdefault(key, number)
    return copies


def _without_in_place(
    views: list[View], found: dict[Pair, Registration], settings: TapeSettings
) -> dict[Pair, Registration]:
    """Doubt what seems to show one view, where nearly all photos seem to show it.

    Nobody takes the same view that often; dirt that stays in place looks like that.
    """
    still = [
        pair
        for pair, one in found.items()
        if one.pose is not None and in_place(one.pose, views[pair[0]].size_um)
    ]
    if len(views) < 4 or len(still) <= len(views):
        return found
    status = APART if settings.taken_apart else DOUBTFUL
    doubted = {
        pair: Registration(status, None, found[pair].seen, found[pair].agreeing, hidden_share=1.0)
        for pair in still
    }
    return {**found, **doubted}


def _consistent(
    views: list[View],
    found: dict[Pair, Registration],
    settings: TapeSettings,
    pairs: Pairs,
) -> tuple[list[Pose], list[Link], int, dict[Pair, Registration]]:
    """Place the photos, then look where two should overlap; drop what contradicts."""
    found = dict(found)
    links = [_link(i, j, one) for (i, j), one in found.items() if one.status == JOINED]
    rejected, tried, banned = 0, set[Pair](), set[Pair]()
    while True:
        poses, links, dropped = solve(len(views), links)
        rejected += _doubt(found, dropped)
        banned |= {(link.first, link.second) for link in dropped}
        group = groups_of(len(views), links)
        joined = {(link.first, link.second) for link in links}
        news, wrong = list[Link](), list[Pair]()
        for i, j in combinations(range(len(views)), 2):
            if group[i] != group[j] or (i, j) in joined | tried | banned:
                continue
            tried.add((i, j))
            expected = poses[i].inverse().after(poses[j])
            if overlap_share(views[i], views[j], expected) < _LEAST_OVERLAP:
                continue
            evidence = gather(views[i], views[j], expected)
            if is_certain(views[i], views[j], evidence, settings):
                found[i, j] = joined_by(views[i], views[j], evidence)
                news.append(_link(i, j, found[i, j]))
            elif (i, j) not in found and pairs.attempt(i, j).status == JOINED:
                # Along a chain of photos errors add up; the two by themselves do better.
                found[i, j] = pairs.attempt(i, j)
                news.append(_link(i, j, found[i, j]))
            elif evidence.seen >= _CONTRADICTS_FROM and evidence.share < _CONTRADICTS_BELOW:
                wrong.append((i, j))
        if wrong:
            weakest = min(
                (link for link in links if group[link.first] == group[wrong[0][0]]),
                key=lambda link: len(link.inner_um),
            )
            links = [link for link in links if link is not weakest]
            rejected += _doubt(found, [weakest])
            banned.add((weakest.first, weakest.second))
            tried.clear()
        elif news:
            links = links + news
        else:
            added = [
                (link, one)
                for link, one in join_groups(views, found, poses, group, settings)
                if (link.first, link.second) not in banned
            ]
            if not added:
                return poses, links, rejected, found
            for link, one in added:
                found[link.first, link.second] = joined_by(
                    views[link.first], views[link.second], one
                )
            links = links + [link for link, _ in added]


def _link(i: int, j: int, one: Registration) -> Link:
    return Link(i, j, one.pose or Pose(), one.outer_um, one.inner_um)


def _doubt(found: dict[Pair, Registration], links: list[Link]) -> int:
    """Mark links that did not hold as doubtful; return how many there are."""
    for link in links:
        was = found[link.first, link.second]
        found[link.first, link.second] = Registration(
            DOUBTFUL, None, was.seen, was.agreeing, hidden_share=max(was.overlap_share, 0.1)
        )
    return len(links)


def _between_groups(
    group: NDArray[np.intp], found: dict[Pair, Registration]
) -> tuple[NDArray[np.bool_], float]:
    """Return which groups may overlap, and the most that may be hidden among the others."""
    count = int(group.max()) + 1 if len(group) else 0
    doubts, hidden = np.zeros((count, count), bool), 0.0
    for (i, j), one in found.items():
        if group[i] != group[j]:
            if one.status != APART:
                doubts[group[i], group[j]] = doubts[group[j], group[i]] = True
            else:
                hidden = max(hidden, one.hidden_share)
    return doubts, hidden


def _repeats(
    views: list[View], group: NDArray[np.intp], poses: list[Pose], settings: TapeSettings
) -> list[int]:
    """Return which earlier photo shows nearly the same view, -1 for none."""
    repeats = [-1] * len(views)
    for j in range(len(views)):
        for i in range(j):
            if repeats[i] >= 0 or group[i] != group[j] or repeats[j] >= 0:
                continue
            share = overlap_share(views[i], views[j], poses[i].inverse().after(poses[j]))
            small = min(views[i].examined_mm2, views[j].examined_mm2)
            # A close-up within a wide photo adds nothing, but the wide one adds to the close-up.
            if share * small >= settings.repeat_overlap * views[j].examined_mm2:
                repeats[j] = i
    return repeats


def _placements(
    views: Sequence[View],
    copies: list[int],
    used: list[int],
    group: NDArray[np.intp],
    poses: list[Pose],
    repeats: list[int],
    doubts: NDArray[np.bool_],
) -> tuple[pd.DataFrame, list[Pose]]:
    place = {number: k for k, number in enumerate(used)}
    sizes = np.bincount(group, minlength=1)
    rows, all_poses = [], []
    for number, view in enumerate(views):
        original = copies[number] if copies[number] >= 0 else number
        k = place.get(original)
        row = {"photo": view.photo, "sha256": view.sha256, "group": -1, "x_um": np.nan,
               "y_um": np.nan, "angle_deg": np.nan, "certain": False, "repeats_of": "",
               "notes": ""}  # fmt: skip
        if k is None:
            row["notes"] = f"not used: {view.reason or 'the photo was refused'}"
        else:
            pose, own = poses[k], int(group[k])
            doubted = bool(doubts[own].any())
            row |= {"group": own, "x_um": pose.x_um, "y_um": pose.y_um}
            row |= {"angle_deg": pose.angle_deg, "certain": not doubted}
            if doubted:
                row["notes"] = "may overlap photos of another group: too little to tell by"
            elif sizes[own] == 1 and len(sizes) > 1:
                row["notes"] = "lies apart from the others"
        if copies[number] >= 0:
            row |= {"repeats_of": views[original].photo, "notes": "the same file"}
        elif k is not None and repeats[k] >= 0:
            row |= {"repeats_of": views[used[repeats[k]]].photo, "notes": "the same view again"}
        rows.append(row)
        all_poses.append(Pose() if k is None else poses[k])
    table = pd.DataFrame(rows, columns=list(PLACEMENT_COLUMNS)).astype(PLACEMENT_COLUMNS)
    return table, all_poses


def _pair_table(
    views: Sequence[View], used: list[int], found: dict[Pair, Registration]
) -> pd.DataFrame:
    columns = ["first", "second", "status", "seen", "agreeing", "overlap_share", "hidden_share"]
    rows = [
        (views[used[i]].photo, views[used[j]].photo, one.status, one.seen, one.agreeing,
         one.overlap_share, one.hidden_share)
        for (i, j), one in found.items()
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)
