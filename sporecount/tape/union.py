"""Each spore and each square millimetre of overlapping photos once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import COLUMNS
from sporecount.settings import TapeSettings
from sporecount.tape.partners import one_to_one
from sporecount.tape.pose import Pose
from sporecount.tape.view import View

#: Most cells of the map of a group, and the finest cell, um.
_MOST_CELLS, _FINEST_UM = 12_000_000, 2.7

#: How much depth a place is worth that is nearer to the middle of the photo, um per um.
_NEARER = 0.02

#: Columns of the united detections: those of a photo's, its name, and where on the tape.
UNITED_COLUMNS: dict[str, str] = {
    "photo": "str",
    "group": "int64",
    "x_um": "float64",
    "y_um": "float64",
    "tape_angle_deg": "float64",
    "seen_in": "int64",
    **COLUMNS,
}


@dataclass(frozen=True, eq=False)
class Region:
    """The area that a group of photos covers, and which photo each place belongs to.

    Attributes
    ----------
    group : int
        Number of the group.
    owner : ndarray, shape (rows, columns), int16
        Number of the photo, in the list of views; -1 where none has examined.
    um_per_px : float
        Size of a cell.
    corner_um : tuple of float
        Where the map's top-left corner lies in the group's frame.
    """

    group: int
    owner: NDArray[np.int16]
    um_per_px: float
    corner_um: tuple[float, float]

    def owner_at(self, xy_um: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return the owner of points, shape (n, 2), in the group's frame; -1 where none."""
        at = np.floor((np.asarray(xy_um).reshape(-1, 2) - self.corner_um) / self.um_per_px)
        x, y = at.astype(int).T
        rows, columns = self.owner.shape
        within = (x >= 0) & (y >= 0) & (x < columns) & (y < rows)
        found = self.owner[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)].astype(np.int64)
        return np.where(within, found, -1)

    def areas_mm2(self, count: int) -> NDArray[np.float64]:
        """Return the area that each of ``count`` photos owns, mm2."""
        cells = np.bincount(self.owner[self.owner >= 0].astype(np.int64), minlength=count)
        return np.asarray(cells * (self.um_per_px / 1000.0) ** 2, np.float64)


def make_region(
    views: Sequence[View], poses: Sequence[Pose], members: Sequence[int], group: int
) -> Region:
    """Divide the area of a group: each place goes to the photo in which it lies deepest.

    Parameters
    ----------
    views, poses : sequence
        All photos and their places.
    members : sequence of int
        Numbers of the photos in the group.
    group : int
        Number of the group.
    """
    corners = np.concatenate(
        [poses[n].outwards(np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * views[n].size_um)
         for n in members]
    )  # fmt: skip
    low, high = corners.min(axis=0), corners.max(axis=0)
    cell = max(_FINEST_UM, float(np.sqrt(np.prod(high - low) / _MOST_CELLS)))
    columns, rows = (int(np.ceil(side / cell)) + 2 for side in high - low)
    corner = low - cell
    owner = np.full((rows, columns), -1, np.int16)
    deepest = np.full((rows, columns), -np.inf, np.float32)
    for n in members:
        view = views[n]
        # The photo's own edge is an edge too.
        mask = np.pad(view.examined.astype(np.uint8), 1)
        depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)[1:-1, 1:-1] * view.um_per_px
        matrix = poses[n].matrix_px(view.um_per_px, cell)
        matrix[:, 2] -= corner / cell
        # Outside counts as below zero, so that the border between in and out lies where the
        # depth passes zero, to a fraction of a cell.
        signed = np.where(view.examined, depth - 0.5 * view.um_per_px, -0.5 * view.um_per_px)
        laid = cv2.warpAffine(
            signed.astype(np.float32), matrix, (columns, rows), flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=-0.5 * view.um_per_px,
        )  # fmt: skip
        laid = np.asarray(laid, np.float32).reshape(rows, columns)
        # Photos in a row are equally deep wherever the nearest edge is the upper or lower one:
        # there the nearer middle decides.
        middle = (matrix @ [*(np.array(view.examined.shape[::-1]) / 2 - 0.5), 1.0]) * cell
        x, y = (np.arange(count, dtype=np.float32) * cell for count in (columns, rows))
        away = np.hypot(x[None] - np.float32(middle[0]), y[:, None] - np.float32(middle[1]))
        score = laid - np.float32(_NEARER) * away
        better = (laid > 0) & (score > deepest)
        owner[better], deepest[better] = n, score[better]
    return Region(group, owner, cell, (float(corner[0]), float(corner[1])))


def unite(
    views: Sequence[View],
    poses: Sequence[Pose],
    members: Sequence[int],
    region: Region,
    settings: TapeSettings | None = None,
) -> tuple[pd.DataFrame, int]:
    """Count each detection of a group once.

    A find counts where it lies in the area of the photo that found it. Finds of several
    photos that are one object are told by their places; the object's place is their
    mean, so that one at a seam is neither lost nor counted twice though each photo shows
    it at a slightly different place.

    Parameters
    ----------
    views, poses : sequence
        All photos and their places.
    members : sequence of int
        Numbers of the photos in the group.
    region : Region
        From :func:`make_region`.
    settings : TapeSettings, optional
        What is one spore.

    Returns
    -------
    detections : DataFrame
        Columns :data:`UNITED_COLUMNS`; ``x_um``, ``y_um`` and ``tape_angle_deg`` in the
        group's frame, ``x_px`` to ``outline_px`` as in the photo that counts it.
    elsewhere : int
        Objects that only a photo found to which their place does not belong.
    """
    settings = settings or TapeSettings()
    objects = _objects(views, poses, members, settings.same_spore_um)
    owners = region.owner_at(np.array([one.place_um for one in objects]).reshape(-1, 2))
    rows, elsewhere = [], 0
    for one, owner in zip(objects, owners, strict=True):
        row = one.rows.get(int(owner))
        if row is None:
            elsewhere += 1
            continue
        found = views[owner].detections.iloc[row]
        rows.append(
            {
                **{name: found[name] for name in COLUMNS},
                "photo": views[owner].photo,
                "group": region.group,
                "x_um": one.place_um[0],
                "y_um": one.place_um[1],
                "tape_angle_deg": (found["angle_deg"] + poses[owner].angle_deg) % 180.0,
                "seen_in": len(one.rows),
            }
        )
    table = pd.DataFrame(rows, columns=list(UNITED_COLUMNS)).astype(UNITED_COLUMNS)
    return table.sort_values(["y_um", "x_um"], ignore_index=True), elsewhere


@dataclass(eq=False)
class _Object:
    """One object on the tape: its mean place, and its row in each photo that found it."""

    place_um: NDArray[np.float64]
    rows: dict[int, int]


def _objects(
    views: Sequence[View], poses: Sequence[Pose], members: Sequence[int], same_um: float
) -> list[_Object]:
    """Tell which finds of different photos are one object."""
    objects: list[_Object] = []
    for n in members:
        found = poses[n].outwards(views[n].detections[["x_um", "y_um"]].to_numpy(float))
        known = np.array([one.place_um for one in objects]).reshape(-1, 2)
        rows, numbers = one_to_one(found, known, same_um)
        partner = dict(zip(rows.tolist(), numbers.tolist(), strict=True))
        for row, place in enumerate(found):
            if row in partner:
                one = objects[partner[row]]
                one.place_um = one.place_um + (place - one.place_um) / (len(one.rows) + 1)
                one.rows[n] = row
            else:
                objects.append(_Object(place, {n: row}))
    return objects
