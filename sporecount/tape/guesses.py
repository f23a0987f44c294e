"""Guesses of how one photo lies on another, by landmarks that look alike.

Correlation needs much in common; two photos of a nearly clean tape have a few spores
and crumbs in common, each of which looks much like any other. Two that look alike and
lie equally far apart in both photos make a guess; the guess that most others agree
with comes first.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.tape.pose import Pose, best_pose
from sporecount.tape.view import View

#: Patch around a landmark by which it is known: pixels on a side, and their size in um.
_PATCH_PX, _PATCH_UM_PER_PX = 11, 3.0

#: Least correlation of two patches, partners of each landmark, and partners in all.
_ALIKE, _PARTNERS, _MOST_PARTNERS = 0.5, 4, 500

#: How far two distances or places may differ, um.
_SAME_UM = 5.0

#: Nearer landmarks say too little about a turn, um.
_LEAST_APART_UM = 30.0

#: Guesses that are counted, and that are returned.
_MOST_COUNTED, _MOST_GUESSES = 4000, 6


def patches(view: View) -> NDArray[np.float32]:
    """Return what each landmark looks like: shape (n, 121), mean 0, length 1."""
    side, n = _PATCH_PX, len(view.landmarks_um)
    if n == 0:
        return np.zeros((0, side * side), np.float32)
    offsets = (np.arange(side) - side // 2) * _PATCH_UM_PER_PX
    soft = cv2.GaussianBlur(view.texture, (0, 0), 0.35 * _PATCH_UM_PER_PX / view.um_per_px)
    x = (view.landmarks_um[:, :1] + offsets[None])[:, None, :] / view.um_per_px - 0.5
    y = (view.landmarks_um[:, 1:] + offsets[None])[:, :, None] / view.um_per_px - 0.5
    x, y = np.broadcast_arrays(x, y)
    sampled = cv2.remap(
        np.asarray(soft, np.float32),
        np.ascontiguousarray(x.reshape(n, -1), np.float32),
        np.ascontiguousarray(y.reshape(n, -1), np.float32),
        cv2.INTER_LINEAR,
    )
    values = np.asarray(sampled, np.float32).reshape(n, -1)
    values = values - values.mean(axis=1, keepdims=True)
    return values / np.maximum(np.linalg.norm(values, axis=1, keepdims=True), 1e-6)


def guesses_by_pairs(
    first_um: NDArray[np.float64],
    first_patches: NDArray[np.float32],
    second_um: NDArray[np.float64],
    second_patches: NDArray[np.float32],
    most_angle_deg: float,
) -> list[Pose]:
    """Return poses of the second photo in the first one's frame, the likeliest first.

    Parameters
    ----------
    first_um, second_um : ndarray, shape (n, 2) and (m, 2)
        Landmarks.
    first_patches, second_patches : ndarray, shape (n, 121) and (m, 121)
        What they look like, from :func:`patches`.
    most_angle_deg : float
        Largest turn.
    """
    a, b = _partners(first_patches, second_patches)
    if len(a) < 2:
        return []
    p, q = first_um[a], second_um[b]
    one, two = _consistent(a, b, p, q, most_angle_deg)
    if len(one) == 0:
        return []
    if len(one) > _MOST_COUNTED:
        # Evenly through the list, so that no part of the photo is left out.
        kept = np.linspace(0, len(one) - 1, _MOST_COUNTED).astype(int)
        one, two = one[kept], two[kept]
    angle = _turns(p[two] - p[one], q[two] - q[one])
    c, s = np.cos(angle), np.sin(angle)
    middle_p, middle_q = (p[one] + p[two]) / 2, (q[one] + q[two]) / 2
    shift = middle_p - np.column_stack(
        [c * middle_q[:, 0] - s * middle_q[:, 1], s * middle_q[:, 0] + c * middle_q[:, 1]]
    )
    return _voted(angle, shift, a, b, p, q)


def _partners(
    first: NDArray[np.float32], second: NDArray[np.float32]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the numbers of landmarks that look alike."""
    if len(first) == 0 or len(second) == 0:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    alike = first @ second.T
    near = np.zeros(alike.shape, bool)
    for axis in (0, 1):
        best = np.argsort(-alike, axis=axis)
        best = np.take(best, range(min(_PARTNERS, alike.shape[axis])), axis=axis)
        np.put_along_axis(near, best, True, axis=axis)
    a, b = np.nonzero(near & (alike > _ALIKE))
    order = np.argsort(-alike[a, b], kind="stable")[:_MOST_PARTNERS]
    return a[order], b[order]


def _consistent(
    a: NDArray[np.intp],
    b: NDArray[np.intp],
    p: NDArray[np.float64],
    q: NDArray[np.float64],
    most_angle_deg: float,
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs of partners that lie equally far apart, and turned by little."""
    one, two = np.triu_indices(len(p), 1)
    dp, dq = p[two] - p[one], q[two] - q[one]
    far_p, far_q = np.hypot(dp[:, 0], dp[:, 1]), np.hypot(dq[:, 0], dq[:, 1])
    fits = (np.abs(far_p - far_q) < _SAME_UM) & (far_p > _LEAST_APART_UM)
    # Most are ruled out by now; the rest is looked at more closely.
    one, two, dp, dq, far_p, far_q = (x[fits] for x in (one, two, dp, dq, far_p, far_q))
    across = dq[:, 0] * dp[:, 1] - dq[:, 1] * dp[:, 0]
    along = (dp * dq).sum(axis=1)
    slack = np.sin(np.radians(most_angle_deg)) * far_p * far_q + _SAME_UM * far_p
    fits = (along > 0) & (np.abs(across) < slack) & (a[one] != a[two]) & (b[one] != b[two])
    return one[fits], two[fits]


def _turns(dp: NDArray[np.float64], dq: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.arctan2(
        dq[:, 0] * dp[:, 1] - dq[:, 1] * dp[:, 0], dq[:, 0] * dp[:, 0] + dq[:, 1] * dp[:, 1]
    )


def _voted(
    angle: NDArray[np.float64],
    shift: NDArray[np.float64],
    a: NDArray[np.intp],
    b: NDArray[np.intp],
    p: NDArray[np.float64],
    q: NDArray[np.float64],
) -> list[Pose]:
    """Return the guesses with which most partners agree, one for each place."""
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    away = np.hypot(
        c * q[None, :, 0] - s * q[None, :, 1] + shift[:, :1] - p[None, :, 0],
        s * q[None, :, 0] + c * q[None, :, 1] + shift[:, 1:] - p[None, :, 1],
    )
    agree = away < _SAME_UM
    votes = np.zeros(len(angle))
    # A landmark with several partners near one place has one vote.
    for landmark in np.unique(a):
        votes += agree[:, a == landmark].any(axis=1)
    votes -= away.mean(axis=1) / 1e9
    middle = q.mean(axis=0)
    chosen: list[tuple[NDArray[np.float64], Pose]] = []
    for number in np.argsort(-votes, kind="stable"):
        members = np.flatnonzero(agree[number])
        if len(members) < 2:
            break
        x, y = (float(part) for part in shift[number])
        rough = Pose(x, y, float(np.degrees(angle[number])))
        place = rough.outwards(middle[None])[0]
        if any(np.hypot(*(place - other)) < 2 * _SAME_UM for other, _ in chosen):
            continue
        spread = np.ptp(p[members], axis=0).max()
        pose = best_pose(q[members], p[members]) if spread > 2 * _LEAST_APART_UM else rough
        chosen.append((place, pose))
        if len(chosen) == _MOST_GUESSES:
            break
    return [pose for _, pose in chosen]
