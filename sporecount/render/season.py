"""The tapes of the demonstration season: photos of each, with truth in the tape's coordinates."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image

from sporecount.render.conditions import USUAL_CLUTTER
from sporecount.render.tape import RenderedTape, TapePlan, render_tape

#: Area of each of these tapes, mm2: a piece of 5 by 9 mm.
TAPE_MM2 = 45.0

#: Quality of the photos' JPEG files.
_QUALITY = 75


@dataclass(frozen=True)
class SeasonTape:
    """One tape of the season: whose it is, how it was photographed, what lies on it.

    Attributes
    ----------
    sample : str
        The butterfly.
    grid : tuple of int
        Photos beside and above each other.
    spores_per_mm2 : float
        Mean number of spores on a square millimetre.
    seed : int
        Source of chance.
    note : str
        What the tape is there to show.
    clumped : float
        Share of the spores that lies in clusters.
    clutter : tuple of (str, float)
        Kinds of clutter and how many of each lie on a square millimetre.
    photo_px : tuple of int
        (width, height) of each photo.
    """

    sample: str
    grid: tuple[int, int]
    spores_per_mm2: float
    seed: int
    note: str
    clumped: float = 0.25
    clutter: tuple[tuple[str, float], ...] = USUAL_CLUTTER
    photo_px: tuple[int, int] = (2000, 1500)

    def plan(self) -> TapePlan:
        """Return how it is drawn."""
        return TapePlan(
            self.grid,
            photo_px=self.photo_px,
            um_per_px=1.1,
            overlap=0.12,
            spores_per_mm2=self.spores_per_mm2,
            clumped=self.clumped,
            clutter=self.clutter,
            uneven=0.6,
        )

    def photo_names(self) -> list[str]:
        """Return the photos' names, in the order in which they are drawn.

        Examples
        --------
        >>> SeasonTape("Rowan", (2, 1), 0.0, 1, "clean").photo_names()
        ['rowan/1.jpg', 'rowan/2.jpg']
        """
        count = self.grid[0] * self.grid[1]
        return [f"{self.sample.casefold()}/{number}.jpg" for number in range(1, count + 1)]


#: What an adult's own abdomen leaves, and nothing from elsewhere.
_OWN_CLUTTER = tuple(
    (kind, rate) for kind, rate in USUAL_CLUTTER if "scale" in kind or "bubble" in kind
)

#: The tapes; enough of each was photographed for what its note says.
TAPES: tuple[SeasonTape, ...] = (
    SeasonTape("Rowan", (4, 3), 0.0, 101, "clean", clutter=_OWN_CLUTTER),
    SeasonTape("Linden", (4, 3), 0.0, 107, "clean", clutter=_OWN_CLUTTER),
    SeasonTape("Sorrel", (4, 3), 0.6, 113, "few, perhaps from contact", clutter=_OWN_CLUTTER),
    SeasonTape("Bramble", (3, 2), 8.0, 104, "a heavy load"),
    SeasonTape("Thistle", (2, 2), 0.0, 105, "clean, but dusty, and little of it seen"),
)


def write_tapes(folder: Path, tapes: tuple[SeasonTape, ...] = TAPES) -> list[tuple[int, int, int]]:
    """Write the photos of tapes, ``tape_truth.csv`` and ``tape_places.csv`` into a folder.

    Parameters
    ----------
    folder : Path
        A folder for each tape is made in it; files of the same names are replaced.
    tapes : tuple of SeasonTape
        What to write.

    Returns
    -------
    list of tuple of int
        Intact and damaged spores and pieces on each tape, where it was photographed.
    """
    truths, places, numbers = [], [], []
    for tape in tapes:
        made = render_tape(tape.plan(), np.random.default_rng(tape.seed))
        for name, photo in zip(tape.photo_names(), made.photos, strict=True):
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(_jpeg(photo.pixels))
        places.append(_places(tape, made))
        truths.append(_truth(tape, made))
        states = truths[-1]["state"]
        numbers.append(
            (
                int((states == "intact").sum()),
                int((states == "damaged").sum()),
                int((states == "fragment").sum()),
            )
        )
    if tapes:
        write_table(folder / "tape_places.csv", places)
        write_table(folder / "tape_truth.csv", truths)
    return numbers


def write_table(path: Path, tables: list[pd.DataFrame]) -> None:
    """Write tables of the same columns, one below the other; there is at least one."""
    # Clean tapes have tables without rows: their types would warn when joined.
    table = pd.concat([one for one in tables if len(one)] or tables[:1], ignore_index=True)
    table.round(3).to_csv(path, index=False, lineterminator="\n")


def _places(tape: SeasonTape, made: RenderedTape) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "photo": tape.photo_names(),
            "x_um": [photo.x_um for photo in made.photos],
            "y_um": [photo.y_um for photo in made.photos],
            "angle_deg": [photo.angle_deg for photo in made.photos],
        }
    )


def _truth(tape: SeasonTape, made: RenderedTape) -> pd.DataFrame:
    """Return what lies on the part of a tape that photos show, each thing once."""
    truth = made.truth
    seen = np.zeros(len(truth), int)
    width, height = (n * tape.plan().um_per_px for n in tape.plan().photo_px)
    for x, y in in_photos(truth, made):
        seen += (x >= 0) & (x < width) & (y >= 0) & (y < height)
    columns = ["x_um", "y_um", "length_um", "width_um", "angle_deg", "state", "contrast", "covered"]
    table = truth.loc[seen > 0, columns].copy()
    table.insert(0, "sample", tape.sample)
    table["photos"] = seen[seen > 0]
    return table


def in_photos(truth: pd.DataFrame, made: RenderedTape) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield, photo by photo, where the things on a tape lie from the photo's corner, um."""
    for photo in made.photos:
        turn = np.radians(photo.angle_deg)
        x, y = truth["x_um"].to_numpy() - photo.x_um, truth["y_um"].to_numpy() - photo.y_um
        yield x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)


def _jpeg(pixels: np.ndarray) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="JPEG", quality=_QUALITY)
    return buffer.getvalue()
