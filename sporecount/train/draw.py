"""Processes that draw training chunks until they are told to stop."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import encode
from sporecount.render.compose.plan import COMPOSITIONS
from sporecount.render.spores.draw import STYLES
from sporecount.train.crops import cut_crops, rivals_of, write_crops
from sporecount.train.pool import write_chunk
from sporecount.train.tiles import Tile, draw_scale, draw_tile, square

#: Sides of the two kinds of tiles, working pixels, and the camera scales they are drawn at:
#: fine scales cost the square of their fineness, so their tiles are small.
COARSE_SIDE, FINE_SIDE = 256, 128
COARSE_SCALES, FINE_SCALES = (0.38, 1.45), (0.15, 0.38)

#: Tiles per chunk.
CHUNK = 32


def tags_of(tile: Tile) -> NDArray[np.int32]:
    """Spore style, composition and clutter families (as bits) of a tile."""
    from sporecount.render.clutter.registry import FAMILIES, KINDS

    plan = tile.rendered.plan
    families = {KINDS[name].family for name, rate in plan.clutter.per_mm2 if rate > 0}
    bits = sum(1 << FAMILIES.index(family) for family in families)
    style = STYLES.index(plan.spores.style)
    return np.array([style, COMPOSITIONS.index(plan.compose.name), bits], np.int32)


def draw_search_chunks(
    folder: Path, worker: int, seed: int, until: Path, former: Path | None = None
) -> None:
    """Write chunks of search tiles, fine and coarse, until the file ``until`` exists.

    Beside them go close-ups of what lies in the tiles, for the closer look; among these,
    where the weights of a former search are given, what that was taken in by.
    """
    import cv2

    cv2.setNumThreads(1)
    rivals = rivals_of(former)
    for kind in ("coarse", "fine", "crops"):
        (folder / kind).mkdir(parents=True, exist_ok=True)
    number = 0
    while not until.exists():
        fine = (number + worker) % 4 == 3
        side, scales = (FINE_SIDE, FINE_SCALES) if fine else (COARSE_SIDE, COARSE_SCALES)
        rng = np.random.default_rng([seed, worker, number])
        choose = np.random.default_rng([seed, worker, number, 1])
        tiles, objects, tags, cuts = [], [], [], []
        for _ in range(CHUNK):
            tile = draw_tile(rng, side, draw_scale(rng, *scales))
            tiles.append(encode(square(tile.field.density * tile.field.examined[..., None], side)))
            objects.append(tile.rows)
            tags.append(tags_of(tile))
            cuts.append(cut_crops(tile.field, tile.rows, tags[-1], choose, rivals))
            if until.exists():
                return
        target = folder / ("fine" if fine else "coarse")
        name = f"{worker:03d}-{number:05d}"
        write_chunk(target, name, np.stack(tiles), objects, np.stack(tags))
        write_crops(folder / "crops", name, *(list(part) for part in zip(*cuts)))
        number += 1


def allowed_without(name: str | None):  # type: ignore[no-untyped-def]
    """Return the filter of tiles that do not use a spore style, composition or clutter family."""
    if name is None:
        return None
    if name in STYLES:
        return lambda tags: tags[:, 0] != STYLES.index(name)
    if name in COMPOSITIONS:
        return lambda tags: tags[:, 1] != COMPOSITIONS.index(name)
    from sporecount.render.clutter.registry import FAMILIES

    bit = 1 << FAMILIES.index(name)
    return lambda tags: (tags[:, 2] & bit) == 0
