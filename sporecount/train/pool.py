"""A growing pool of training tiles: drawn onto disk by many processes, kept on the device to teach.

A chunk is one ``.npy`` file of bytes (tiles) with two companions (objects, tags). A
chunk exists once its tags do: they are written last, under their final name.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from torch import Tensor

#: Rows kept per tile; a tile with more objects is not used, as unnamed ones teach wrongly.
MOST_OBJECTS = 256


def write_chunk(
    folder: Path,
    name: str,
    tiles: NDArray[np.uint8],
    objects: list[NDArray[np.float32]],
    tags: NDArray[np.int32],
) -> None:
    """Write one chunk; ``tags`` last, so that a half-written chunk is never read."""
    whole = np.array([len(found) <= MOST_OBJECTS for found in objects], bool)
    packed = np.zeros((int(whole.sum()), MOST_OBJECTS, 8), np.float32)
    packed[..., 6] = -1.0
    for row, found in zip(packed, (o for o, w in zip(objects, whole, strict=True) if w)):
        row[: len(found)] = found
    np.save(folder / f"{name}.tiles.npy", tiles[whole])
    np.save(folder / f"{name}.objects.npy", packed)
    unfinished = folder / f"{name}.tags.tmp.npy"
    np.save(unfinished, tags[whole])
    os.replace(unfinished, folder / f"{name}.tags.npy")


class Pool:
    """Tiles of one size on the device that learns, taken in as they appear.

    Parameters
    ----------
    folder : Path
        Where chunks of one size of tile are written.
    device : str
        Where the tiles are kept.
    allowed : callable, optional
        Tags (n, t) to a boolean mask of the tiles that may be used.
    most : int
        No more tiles than this are kept.

    Attributes
    ----------
    tiles : Tensor, shape (room, side, side, 3), uint8
    objects : Tensor, shape (room, MOST_OBJECTS, 8), float32
    hardness : Tensor, shape (room,), float32
        How badly each tile was judged when it was last used; new ones count as hard.
    size : int
        Tiles taken in.
    """

    def __init__(
        self,
        folder: Path,
        device: str,
        allowed: Callable[[NDArray[np.int32]], NDArray[np.bool_]] | None = None,
        most: int = 200_000,
    ) -> None:
        self.folder, self.device, self.allowed, self.most = folder, device, allowed, most
        self.seen: set[str] = set()
        self.size = 0
        self.tiles: Tensor | None = None
        self.objects: Tensor | None = None
        self.hardness: Tensor | None = None

    def refresh(self) -> int:
        """Take in chunks that are new; return the number of tiles."""
        for path in sorted(self.folder.glob("*.tags.npy")):
            name = path.name.removesuffix(".tags.npy")
            if name in self.seen or name.endswith(".tags.tmp") or self.size >= self.most:
                continue
            self.seen.add(name)
            tags = np.load(path)
            keep = np.ones(len(tags), bool) if self.allowed is None else self.allowed(tags)
            if keep.any():
                self._take_in(
                    np.load(self.folder / f"{name}.tiles.npy")[keep],
                    np.load(self.folder / f"{name}.objects.npy")[keep],
                )
        return self.size

    def _take_in(self, tiles: NDArray[np.uint8], objects: NDArray[np.float32]) -> None:
        import torch

        fresh = (
            torch.from_numpy(tiles),
            torch.from_numpy(objects),
            # Never used yet: taken to be hard.
            torch.full((len(tiles),), 1e3),
        )
        end = self.size + len(tiles)
        kept = (self.tiles, self.objects, self.hardness)
        if self.tiles is None or end > len(self.tiles):
            kept = tuple(self._more_room(old, new, end) for old, new in zip(kept, fresh))
        for whole, new in zip(kept, fresh):
            whole[self.size : end] = new.to(self.device)  # type: ignore[index]
        self.tiles, self.objects, self.hardness = kept
        self.size = end

    def _more_room(self, old: Tensor | None, new: Tensor, needed: int) -> Tensor:
        """Return twice the room, so that growing costs little however often it happens.

        The last time all of it at once: old and new must fit beside each other.
        """
        size = max(2 * needed, 256)
        if size > self.most // 2:
            size = max(self.most + len(new), needed)
        room = new.new_zeros((size, *new.shape[1:]), device=self.device)
        if old is not None:
            room[: self.size] = old[: self.size]
        return room

    def pick(self, size: int, generator: object, hard_share: float = 0.25) -> Tensor:
        """Return the numbers of a batch's tiles, some of them chosen as hard ones."""
        import torch

        assert self.hardness is not None
        hard = int(size * hard_share)
        plain = torch.randint(
            self.size,
            (size - hard,),
            generator=generator,
            device=self.device,  # type: ignore[call-overload]
        )
        many = torch.randint(
            self.size,
            (hard * 4,),
            generator=generator,
            device=self.device,  # type: ignore[call-overload]
        )
        best = torch.topk(self.hardness[many], hard).indices
        return torch.cat([plain, many[best]])
