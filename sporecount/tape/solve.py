"""Positions of all photos from what pairs of them have in common, by least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse
import scipy.sparse.csgraph
import scipy.sparse.linalg
from numpy.typing import NDArray

from sporecount.tape.pose import Pose

#: A link whose points lie further than this from each other on average is wrong, um.
_MOST_RMS_UM = 5.0

#: Where links contradict each other, so many are tried in turn as the wrong one.
_MOST_SUSPECTS = 24

#: Weight, per um, that holds a photo whose links leave its turn open.
_HOLD = 1e-4


@dataclass(frozen=True, eq=False)
class Link:
    """Two photos that show the same points.

    Attributes
    ----------
    first, second : int
        Numbers of the photos.
    pose : Pose
        Of the second in the first one's frame.
    outer_um, inner_um : ndarray, shape (n, 2)
        The points, in the first photo and in the second.
    """

    first: int
    second: int
    pose: Pose
    outer_um: NDArray[np.float64]
    inner_um: NDArray[np.float64]


def groups_of(count: int, links: list[Link]) -> NDArray[np.intp]:
    """Return the group of each photo: numbered from 0 in order of their first photos."""
    ends = np.array([[link.first, link.second] for link in links]).reshape(-1, 2).astype(int)
    graph = scipy.sparse.coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), (count, count))
    label = scipy.sparse.csgraph.connected_components(graph, directed=False)[1]
    _, first, number = np.unique(label, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[number.reshape(-1)]


def solve(count: int, links: list[Link]) -> tuple[list[Pose], list[Link], list[Link]]:
    """Place all photos; the first of each group keeps its own frame.

    Of links that contradict each other as few as possible are left out.

    Parameters
    ----------
    count : int
        Number of photos.
    links : list of Link
        What is known of pairs.

    Returns
    -------
    poses : list of Pose
        Of each photo in its group's frame.
    kept, rejected : list of Link
        Links that agree, and those that do not.
    """
    found = _without_misfits(count, links)
    if len(found[2]) < 2:
        return found
    # Least squares share out a wrong link's error, and the worst that is left over may be a
    # right link's with fewer points: leave out each suspect first, and see what then holds.
    poses = _adjusted(_along_tree(count, links), links)
    suspects = sorted(links, key=lambda link: -link_rms_um(poses, link))[:_MOST_SUSPECTS]
    tried = [_without_misfits(count, links, one) for one in suspects]
    return min([found, *tried], key=lambda one: (len(one[2]), _points(one[2])))


def _without_misfits(
    count: int, links: list[Link], first: Link | None = None
) -> tuple[list[Pose], list[Link], list[Link]]:
    """Do as `solve` does, leaving out ``first``, then the worst link as long as one is wrong."""
    kept = [link for link in links if link is not first]
    rejected = [] if first is None else [first]
    while True:
        poses = _adjusted(_along_tree(count, kept), kept)
        misfit = [link_rms_um(poses, link) for link in kept]
        if not misfit or max(misfit) <= _MOST_RMS_UM:
            return poses, kept, rejected
        rejected.append(kept.pop(int(np.argmax(misfit))))


def _points(links: list[Link]) -> int:
    return sum(len(link.inner_um) for link in links)


def link_rms_um(poses: list[Pose], link: Link) -> float:
    """Return how far a link's points lie from each other once all photos are placed."""
    gap = poses[link.first].outwards(link.outer_um) - poses[link.second].outwards(link.inner_um)
    return float(np.sqrt((gap**2).sum(axis=1).mean()))


def _along_tree(count: int, links: list[Link]) -> list[Pose]:
    """Place photos one from another, along the links with the most points."""
    poses: list[Pose | None] = [None] * count
    ordered = sorted(links, key=lambda link: -len(link.inner_um))
    for root in range(count):
        if poses[root] is not None:
            continue
        poses[root] = Pose()
        while True:
            for link in ordered:
                first, second = poses[link.first], poses[link.second]
                if first is not None and second is None:
                    poses[link.second] = first.after(link.pose)
                    break
                if second is not None and first is None:
                    poses[link.first] = second.after(link.pose.inverse())
                    break
            else:
                break
    return [pose or Pose() for pose in poses]


def _adjusted(poses: list[Pose], links: list[Link]) -> list[Pose]:
    """Move all photos but the first of each group until common points meet best."""
    count = len(poses)
    fixed = np.zeros(count, bool)
    fixed[np.unique(groups_of(count, links), return_index=True)[1]] = True
    column = np.cumsum(~fixed) - 1
    free = int((~fixed).sum())
    if free == 0 or not links:
        return poses
    for _ in range(4):
        rows, columns, values, right, start = [], [], [], [], 0
        for link in links:
            a = poses[link.first].outwards(link.outer_um)
            b = poses[link.second].outwards(link.inner_um)
            n = len(a)
            for number, points, sign in ((link.first, a, 1.0), (link.second, b, -1.0)):
                if fixed[number]:
                    continue
                arm = points - poses[number].shift_um
                at, place = start + np.arange(2 * n), 3 * column[number]
                # A turn by a moves the arm (x, y) by a (-y, x); millimetres keep it well scaled.
                turned = np.column_stack([-arm[:, 1], arm[:, 0]]).reshape(-1) / 1000.0
                for offset, part in (
                    (0, np.tile([1.0, 0.0], n)),
                    (1, np.tile([0.0, 1.0], n)),
                    (2, turned),
                ):
                    rows.append(at)
                    columns.append(np.full(2 * n, place + offset))
                    values.append(sign * part)
            right.append((b - a).reshape(-1))
            start += 2 * n
        matrix = scipy.sparse.coo_matrix(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))),
            (start, 3 * free),
        ).tocsr()
        normal = matrix.T @ matrix + _HOLD * scipy.sparse.identity(3 * free)
        step = scipy.sparse.linalg.spsolve(normal.tocsc(), matrix.T @ np.concatenate(right))
        step = np.atleast_1d(step).reshape(-1, 3)
        poses = [
            pose
            if fixed[number]
            else Pose(
                pose.x_um + float(step[column[number], 0]),
                pose.y_um + float(step[column[number], 1]),
                pose.angle_deg + float(np.degrees(step[column[number], 2] / 1000.0)),
            )
            for number, pose in enumerate(poses)
        ]
        if np.abs(step).max() < 1e-3:
            break
    return poses
