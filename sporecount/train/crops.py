"""Close-ups of a drawn tile for the closer look: spores, pieces of them, and other things."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.closer import EDGE_UM, TONE_SHARES, relative_tones
from sporecount.detect.colour import colours
from sporecount.detect.inputs import SEARCH_UM_PER_PX, encode
from sporecount.field.closeup import close_ups
from sporecount.field.field import Field
from sporecount.train.objects import COS2, FRAGMENT, SIN2, STATE, WEIGHT, X, Y

if TYPE_CHECKING:
    from torch import Tensor

    from sporecount.train.rivals import Rivals

#: Scale of the stored crops, um per pixel, and half their side, um: room enough to be turned
#: by any angle and shifted by the search's error.
CROP_UM_PER_PX, HALF_UM = 0.4, 14.4

#: Columns of a crop's facts. ``CLASS`` is a code of `sporecount.train.objects` or `NEITHER`.
CLASS, ANGLE, STYLE, COMPOSITION, FAMILIES, SCALE, TONES = range(7)
FACTS = TONES + len(TONE_SHARES) + 1
NEITHER = 3

#: At most so many crops of each class are taken from a tile.
MOST = (4, 5, 3, 6)

#: Other things are at least this far from all that is true or undecided, um.
APART_UM = 7.0

#: Least density of other things once smoothed to a spore's size.
LEAST_DENSITY = 0.04


def cut_crops(
    field: Field,
    rows: NDArray[np.float32],
    tags: NDArray[np.int32],
    rng: np.random.Generator,
    rivals: Rivals | None = None,
    most: tuple[int, ...] = MOST,
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Cut close-ups out of a tile.

    Parameters
    ----------
    field : Field
        The tile.
    rows : ndarray, shape (n, 8), float32
        What is true or undecided in it (`sporecount.train.tiles.Tile`).
    tags : ndarray, shape (3,), int32
        Its style, composition and families (`sporecount.train.draw.tags_of`).
    rng : Generator
        Chooses which objects are taken.
    rivals : Rivals, optional
        Finds what a search network is taken in by.
    most : tuple of int
        At most so many crops of each class; first of all, as many of ``rivals`` as leave a
        third of the room to other things.

    Returns
    -------
    crops : ndarray, shape (n, side, side, 3), uint8
        Densities at ``CROP_UM_PER_PX``, packed as tiles are, upright, centred on the object.
    facts : ndarray, shape (n, FACTS), float32
        Class, long axis (rad), tags, the photo's um per pixel, and tones beside the tile's
        spores (`sporecount.detect.closer.relative_tones`).
    """
    seen = rows[rows[:, WEIGHT] > 0.5]
    angle = 0.5 * np.arctan2(seen[:, SIN2], seen[:, COS2])
    places = [(x, y, c, a) for x, y, c, a in zip(seen[:, X], seen[:, Y], seen[:, STATE], angle)]
    mistaken = np.zeros((0, 3))
    if rivals is not None:
        mistaken = rivals.of(field, rows)[: most[NEITHER] * 2 // 3]
    places += [(x, y, NEITHER, a) for x, y, a in mistaken.tolist()]
    places += [(x, y, NEITHER, a) for x, y, a in _others(field.density, rows)]
    table = np.array(places, np.float64).reshape(-1, 4)
    # Rivals come first, whatever else there is.
    first = np.zeros(len(table), bool)
    first[len(seen) : len(seen) + len(mistaken)] = True
    tones = relative_tones(colours(field, table[:, :2]), table[:, 2] < FRAGMENT)
    edge = EDGE_UM / field.work_um_per_px
    high, wide = field.density.shape[:2]
    inside = (table[:, :2] >= edge).all(axis=1)
    inside &= (table[:, 0] < wide - edge) & (table[:, 1] < high - edge)
    chosen = np.concatenate(
        [
            _chosen(rng, inside & (table[:, 2] == code), first)[:room]
            for code, room in enumerate(most)
        ]
    )
    table = table[chosen]
    closes = close_ups(field, field.to_photo_px(table[:, :2]), HALF_UM, CROP_UM_PER_PX)
    facts = np.zeros((len(table), FACTS), np.float32)
    facts[:, [CLASS, ANGLE]] = table[:, 2:]
    facts[:, STYLE:SCALE] = tags
    facts[:, SCALE] = field.calibration.um_per_px
    facts[:, TONES:] = tones[chosen]
    return encode(closes), facts


def rivals_of(former: Path | None) -> Rivals | None:
    """Return what the search network of such weights is taken in by; None where there is none.

    Only this needs the framework that networks are taught in.
    """
    if former is None:
        return None
    from sporecount.train.rivals import Rivals

    return Rivals(former)


def _chosen(
    rng: np.random.Generator, may: NDArray[np.bool_], first: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Return the numbers of what may be taken, in random order but for those that go first."""
    at = rng.permutation(np.flatnonzero(may))
    return at[np.argsort(~first[at], kind="stable")]


def _others(
    density: NDArray[np.float32], rows: NDArray[np.float32]
) -> list[tuple[float, float, float]]:
    """Return x, y (working px) and long axis (rad) of dense spots that are no object."""
    tone = density.mean(axis=2)
    smooth = np.asarray(cv2.GaussianBlur(tone, (0, 0), 3.0), np.float32)
    # A spot stands out from what lies around it, as a spore does and a scale does not.
    stands_out = smooth - np.asarray(cv2.GaussianBlur(tone, (0, 0), 9.0), np.float32)
    top = cv2.dilate(stands_out, np.ones((9, 9), np.uint8))
    ys, xs = np.nonzero((stands_out >= top) & (stands_out > LEAST_DENSITY))
    found = []
    for x, y in zip(xs.tolist(), ys.tolist()):
        if np.hypot(rows[:, X] - x, rows[:, Y] - y).min(initial=99.0) * SEARCH_UM_PER_PX < APART_UM:
            continue
        part = np.clip(tone[max(y - 8, 0) : y + 9, max(x - 8, 0) : x + 9], 0.0, 1.0)
        moments = cv2.moments(part)
        axis = 0.5 * np.arctan2(2 * moments["mu11"], moments["mu20"] - moments["mu02"])
        found.append((float(x), float(y), float(axis)))
    return found


def write_crops(
    folder: Path, name: str, crops: list[NDArray[np.uint8]], facts: list[NDArray[np.float32]]
) -> None:
    """Write one chunk; the facts last, so that a half-written chunk is never read."""
    np.save(folder / f"{name}.crops.npy", np.concatenate(crops))
    unfinished = folder / f"{name}.unfinished.npy"
    np.save(unfinished, np.concatenate(facts))
    os.replace(unfinished, folder / f"{name}.facts.npy")


class CropPool:
    """Crops on the device that learns, taken in as they appear.

    Parameters
    ----------
    folder : Path
        Where chunks are written.
    device : str
        Where the crops are kept.
    allowed : callable, optional
        Tags (n, 3) to a boolean mask of the crops that may be used.
    most : int
        No more crops than this are kept.
    """

    def __init__(
        self,
        folder: Path,
        device: str,
        allowed: Callable[[NDArray[np.int32]], NDArray[np.bool_]] | None = None,
        most: int = 600_000,
    ) -> None:
        self.folder, self.device, self.allowed, self.most = folder, device, allowed, most
        self.seen: set[str] = set()
        self.facts: NDArray[np.float32] = np.zeros((0, FACTS), np.float32)
        self.crops: Tensor | None = None

    @property
    def size(self) -> int:
        """Crops taken in."""
        return len(self.facts)

    def refresh(self) -> int:
        """Take in chunks that are new; return the number of crops."""
        for path in sorted(self.folder.glob("*.facts.npy")):
            name = path.name.removesuffix(".facts.npy")
            if name in self.seen or self.size >= self.most:
                continue
            self.seen.add(name)
            facts = np.load(path)
            keep = np.ones(len(facts), bool)
            if self.allowed is not None:
                keep = self.allowed(facts[:, STYLE:SCALE].astype(np.int32))
            if keep.any():
                self._take_in(np.load(self.folder / f"{name}.crops.npy")[keep], facts[keep])
        return self.size

    def _take_in(self, crops: NDArray[np.uint8], facts: NDArray[np.float32]) -> None:
        import torch

        end = self.size + len(crops)
        if self.crops is None or end > len(self.crops):
            # Twice the room, so that growing costs little however often it happens.
            size = max(end, min(2 * end, self.most + 10_000))
            room = torch.zeros((size, *crops.shape[1:]), dtype=torch.uint8, device=self.device)
            if self.crops is not None:
                room[: self.size] = self.crops[: self.size]
            self.crops = room
        self.crops[self.size : end] = torch.from_numpy(crops).to(self.device)
        self.facts = np.concatenate([self.facts, facts])
