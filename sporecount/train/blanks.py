"""Real photographs without spores as training tiles: nothing in them is a spore.

What a real microscope shows, no renderer has quite. The photographs are read at their own
scale and at others near it, since what is no spore is none at a wrong scale either.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import encode
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.photo.read import read_photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings
from sporecount.train.crops import cut_crops, rivals_of, write_crops
from sporecount.train.pool import write_chunk
from sporecount.train.tiles import square

#: Spread of the logarithm of the scales a photograph is read at.
SCALE_SPREAD = 0.12

#: Scales, um per pixel, of photographs whose own scale is not known.
UNKNOWN_SCALES = (0.25, 1.2)

#: Close-ups are taken at so many scales of each photograph, at most so many of each class.
CLOSE_UP_ROUNDS, MOST_CLOSE_UPS = 12, (0, 0, 0, 60)

#: Tags of a tile that no style, composition or clutter family had a part in.
_NOT_DRAWN = np.array([-1, -1, 0], np.int32)


def read_blanks(sheet: Path) -> list[tuple[Photo, float | None]]:
    """Read the photographs that a sheet names.

    Parameters
    ----------
    sheet : Path
        CSV with ``file`` (beside the sheet) and ``um_per_px`` (may be empty).

    Returns
    -------
    list of (Photo, float or None)
    """
    with sheet.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [
        (read_photo(sheet.parent / row["file"]), float(row["um_per_px"] or 0) or None)
        for row in rows
    ]


def blank_fields(
    photos: list[tuple[Photo, float | None]], rng: np.random.Generator
) -> Iterator[Field]:
    """Yield the fields of the photographs in turn, at scales near their own, without end."""
    while True:
        for photo, um_per_px in photos:
            known = um_per_px or float(np.exp(rng.uniform(*np.log(UNKNOWN_SCALES))))
            used = Calibration(known * float(np.exp(rng.normal(0.0, SCALE_SPREAD))), "given")
            yield make_field(photo, used, FieldSettings())


def blank_tiles(
    photos: list[tuple[Photo, float | None]], side: int, rng: np.random.Generator
) -> Iterator[NDArray[np.uint8]]:
    """Yield tiles (side, side, 3) from the photographs in turn, without end."""
    for field in blank_fields(photos, rng):
        density = field.density * field.examined[..., None]
        rows, columns = density.shape[:2]
        top, left = (int(rng.integers(0, max(n - side, 0) + 1)) for n in (rows, columns))
        yield encode(square(density[top : top + side, left : left + side], side))


def write_blanks(
    sheet: Path,
    folder: Path,
    sides: dict[str, int],
    tiles: int,
    seed: int,
    former: Path | None = None,
) -> None:
    """Write chunks of spore-free tiles, and of close-ups, beside the drawn ones.

    Parameters
    ----------
    sheet : Path
        Names the photographs (`read_blanks`).
    folder : Path
        Where the chunks of each kind lie.
    sides : dict of str to int
        Folder of each kind of tile and its side, working pixels.
    tiles : int
        Tiles of each kind.
    seed : int
    former : Path, optional
        Weights of a former search; what that is taken in by is shown close up.
    """
    photos = read_blanks(sheet)
    for kind, side in sides.items():
        (folder / kind).mkdir(parents=True, exist_ok=True)
        source = blank_tiles(photos, side, np.random.default_rng([seed, side]))
        chosen = np.stack([tile for tile, _ in zip(source, range(tiles))])
        nothing = [np.zeros((0, 8), np.float32)] * tiles
        write_chunk(folder / kind, "blanks", chosen, nothing, np.tile(_NOT_DRAWN, (tiles, 1)))
    rivals = rivals_of(former)
    rng = np.random.default_rng([seed, 0])
    fields = zip(blank_fields(photos, rng), range(CLOSE_UP_ROUNDS * len(photos)))
    none = np.zeros((0, 8), np.float32)
    cuts = [cut_crops(f, none, _NOT_DRAWN, rng, rivals, MOST_CLOSE_UPS) for f, _ in fields]
    (folder / "crops").mkdir(parents=True, exist_ok=True)
    write_crops(folder / "crops", "blanks", *(list(part) for part in zip(*cuts)))
