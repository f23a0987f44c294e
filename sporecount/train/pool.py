"""A growing pool of training tiles on disk: drawn by many processes, read by the trainers.

A chunk is one ``.npy`` file of bytes (tiles) with two companions (objects, tags). A
chunk exists once its tags do: they are written last, under their final name.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

#: Rows kept per tile; heavier clumps are cropped to the nearest this many.
MOST_OBJECTS = 320


def write_chunk(
    folder: Path,
    name: str,
    tiles: NDArray[np.uint8],
    objects: list[NDArray[np.float32]],
    tags: NDArray[np.int32],
) -> None:
    """Write one chunk; ``tags`` last, so that a half-written chunk is never read."""
    packed = np.zeros((len(objects), MOST_OBJECTS, 8), np.float32)
    packed[..., 6] = -1.0
    for row, found in zip(packed, objects, strict=True):
        kept = found[:MOST_OBJECTS]
        row[: len(kept)] = kept
    np.save(folder / f"{name}.tiles.npy", tiles)
    np.save(folder / f"{name}.objects.npy", packed)
    unfinished = folder / f"{name}.tags.tmp.npy"
    np.save(unfinished, tags)
    os.replace(unfinished, folder / f"{name}.tags.npy")


class Pool:
    """Chunks of one tile size, read as they appear.

    Parameters
    ----------
    folder : Path
    allowed : callable, optional
        Tags (n, t) to a boolean mask of the tiles that may be used.
    """

    def __init__(self, folder: Path, allowed=None) -> None:  # type: ignore[no-untyped-def]
        self.folder = folder
        self.allowed = allowed
        self.seen: set[str] = set()
        self.tiles: list[NDArray[np.uint8]] = []
        self.objects: list[NDArray[np.float32]] = []
        self.usable: list[NDArray[np.int64]] = []

    def refresh(self) -> int:
        """Take in chunks that are new; return the number of usable tiles."""
        for path in sorted(self.folder.glob("*.tags.npy")):
            name = path.name.removesuffix(".tags.npy")
            if name in self.seen or name.endswith(".tags.tmp"):
                continue
            self.seen.add(name)
            tags = np.load(path)
            keep = np.ones(len(tags), bool) if self.allowed is None else self.allowed(tags)
            if not keep.any():
                continue
            self.usable.append(np.flatnonzero(keep))
            self.tiles.append(np.load(self.folder / f"{name}.tiles.npy", mmap_mode="r"))
            self.objects.append(np.load(self.folder / f"{name}.objects.npy", mmap_mode="r"))
        return sum(len(u) for u in self.usable)

    def batch(
        self, rng: np.random.Generator, size: int
    ) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
        """Draw a batch: a few tiles from each of several random chunks."""
        tiles, objects = [], []
        per = 8
        for _ in range(size // per):
            c = int(rng.integers(len(self.tiles)))
            pick = np.sort(rng.choice(self.usable[c], per, replace=len(self.usable[c]) < per))
            tiles.append(self.tiles[c][pick])
            objects.append(self.objects[c][pick])
        return np.concatenate(tiles), np.concatenate(objects)
