"""How well one photo agrees with another once it is laid on it, landmark by landmark."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.tape.pose import Pose, best_pose
from sporecount.tape.view import View

#: Half the side of the patch that is compared at a landmark, um.
_HALF_UM = 15.0

#: Correlation from which a patch is found again.
_FOUND = 0.65

#: Search about the expected place, um: at first, then refined, then to judge.
_SEARCHES_UM = (8.0, 4.0, 3.0)

#: A patch found again this near to its place agrees, um.
_AGREES_UM = 2.5

#: Most landmarks of either photo that are compared: at a first glance, as most guesses are
#: wrong and a few are enough to see that; to refine; and to judge.
_MOST_GLANCED, _MOST_REFINED, _MOST_JUDGED = 12, 30, 80

#: With this many compared and less than this share found about their place, a guess is
#: hopeless: to compare the rest would be a waste.
_HOPELESS_FROM, _HOPELESS_BELOW = 20, 0.25


@dataclass(frozen=True, eq=False)
class Evidence:
    """What speaks for and against one pose.

    Attributes
    ----------
    pose : Pose
        Of the second photo in the first one's frame, refined.
    seen : int
        Landmarks of either photo that must be seen in both.
    agreeing : int
        Those of them that are found again, at their place.
    inner_um, outer_um : ndarray, shape (n, 2)
        The agreeing landmarks, in the second photo and in the first.
    """

    pose: Pose
    seen: int
    agreeing: int
    inner_um: NDArray[np.float64]
    outer_um: NDArray[np.float64]

    @property
    def share(self) -> float:
        """Agreeing landmarks as a share of those seen; 0 where none is seen."""
        return self.agreeing / self.seen if self.seen else 0.0


def gather(first: View, second: View, guess: Pose, *, refine: bool = True) -> Evidence:
    """Lay one view on another, shift it into place and count what agrees.

    Parameters
    ----------
    first, second : View
        Two photos.
    guess : Pose
        Of the second in the first one's frame, good to a few um.
    refine : bool
        Whether to shift and turn it into place first.

    Returns
    -------
    Evidence
    """
    pose = guess
    steps = [(_SEARCHES_UM[0], _MOST_GLANCED), *((um, _MOST_REFINED) for um in _SEARCHES_UM[:-1])]
    for search_um, most in steps if refine else ():
        places, moved, found = _compare(first, second, pose, search_um, most)
        if len(places) >= _HOPELESS_FROM and found.mean() < _HOPELESS_BELOW:
            none = np.zeros((0, 2))
            return Evidence(pose, len(places), 0, none, none)
        if most == _MOST_GLANCED:
            continue  # too few to move it by
        if found.sum() < 2:
            break
        fitted = _fitted(pose.inwards(places[found]), places[found] + moved[found])
        if fitted is None:
            break
        pose = fitted
    places, moved, found = _compare(first, second, pose, _SEARCHES_UM[-1], _MOST_JUDGED)
    agrees = found & (np.hypot(moved[:, 0], moved[:, 1]) <= _AGREES_UM)
    return Evidence(
        pose=pose,
        seen=len(places),
        agreeing=int(agrees.sum()),
        inner_um=pose.inwards(places[agrees]),
        outer_um=places[agrees] + moved[agrees],
    )


def _fitted(inner_um: NDArray[np.float64], outer_um: NDArray[np.float64]) -> Pose | None:
    """Fit a pose, leaving out what does not follow the rest."""
    kept = np.ones(len(inner_um), bool)
    pose = None
    for _ in range(4):
        if kept.sum() < 2:
            return pose
        pose = best_pose(inner_um[kept], outer_um[kept])
        away = np.hypot(*(pose.outwards(inner_um) - outer_um).T)
        kept = away <= max(_AGREES_UM, 2.0 * float(np.median(away)))
    return pose


def _compare(
    first: View, second: View, pose: Pose, search_um: float, most: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Look for each landmark of either photo in the other.

    Returns
    -------
    places : ndarray, shape (n, 2)
        Landmarks that both photos show, in the first one's frame, um.
    moved : ndarray, shape (n, 2)
        Where the second photo shows them, from there, um, in the first one's frame.
    found : ndarray, shape (n,), bool
        Whether it shows them at all.
    """
    scale = max(first.um_per_px, second.um_per_px)
    places, of_first = _common_landmarks(first, second, pose, most)
    if len(places) == 0:
        return np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, bool)
    reach = max(1, round(search_um / scale))
    half = max(3, round(_HALF_UM / scale))
    corner = np.floor(places.min(axis=0) / scale).astype(int) - half - reach - 1
    far = np.ceil(places.max(axis=0) / scale).astype(int) + half + reach + 2
    a = _laid(first, Pose(), scale, corner, far)
    b = _laid(second, pose, scale, corner, far)
    moved = np.zeros(places.shape)
    found = np.zeros(len(places), bool)
    pixels = np.rint(places / scale - 0.5).astype(int) - corner
    for number, (x, y) in enumerate(pixels):
        one, other = (a, b) if of_first[number] else (b, a)
        shift, alike = _found_again(one, other, int(x), int(y), half, reach)
        # What the first photo has at a place, the second has at that place plus the shift.
        moved[number] = shift * scale * (1.0 if of_first[number] else -1.0)
        found[number] = alike >= _FOUND
    # ``moved`` is where it should lie less where it lies: the correction of the pose.
    return places, -moved, found


def _common_landmarks(
    first: View, second: View, pose: Pose, most: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return landmarks that lie well inside both photos, in the first one's frame."""
    own = first.landmarks_um[examined_at(second, pose.inwards(first.landmarks_um))][:most]
    brought = pose.outwards(second.landmarks_um)
    brought = brought[examined_at(first, brought)][:most]
    of_first = np.arange(len(own) + len(brought)) < len(own)
    return np.concatenate([own, brought]), of_first


def examined_at(
    view: View, xy_um: NDArray[np.float64], inside_um: float = 6.0
) -> NDArray[np.bool_]:
    """Return which points, shape (n, 2), a view has examined, and not just at its edge."""
    at = np.ones(len(xy_um), bool)
    for dx, dy in ((0, 0), (-inside_um, 0), (inside_um, 0), (0, -inside_um), (0, inside_um)):
        x, y = np.floor((np.asarray(xy_um) + (dx, dy)).T / view.um_per_px).astype(int)
        rows, columns = view.examined.shape
        within = (x >= 0) & (y >= 0) & (x < columns) & (y < rows)
        at &= within & view.examined[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)]
    return at


def _laid(
    view: View, pose: Pose, scale: float, corner: NDArray[np.int64], far: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Return a part of a view's texture in the outer frame, at a scale."""
    matrix = pose.matrix_px(view.um_per_px, scale)
    matrix[:, 2] -= corner
    size = (int(far[0] - corner[0]), int(far[1] - corner[1]))
    laid = cv2.warpAffine(view.texture, matrix, size, flags=cv2.INTER_LINEAR)
    return np.asarray(laid, np.float32).reshape(size[::-1])


def _found_again(
    one: NDArray[np.float32],
    other: NDArray[np.float32],
    x: int,
    y: int,
    half: int,
    reach: int,
) -> tuple[NDArray[np.float64], float]:
    """Return where the other picture shows a patch, from its place, px, and how alike it is."""
    patch = one[y - half : y + half + 1, x - half : x + half + 1]
    wide = other[y - half - reach : y + half + reach + 1, x - half - reach : x + half + reach + 1]
    score = np.asarray(cv2.matchTemplate(wide, patch, cv2.TM_CCOEFF_NORMED), np.float64)
    score = np.nan_to_num(score, posinf=0.0, neginf=0.0)
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    at = np.array([column, row], float)
    for axis, line in enumerate((score[row], score[:, column])):
        middle = int(at[axis])
        if 0 < middle < len(line) - 1:
            before, here, after = line[middle - 1 : middle + 2]
            bend = before - 2 * here + after
            if bend < 0:
                at[axis] += 0.5 * (before - after) / bend
    return at - reach, float(score[row, column])
