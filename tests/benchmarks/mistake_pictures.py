"""Draws what the detector still gets wrong: the pictures of docs/model-card.md.

    python tests/benchmarks/mistake_pictures.py docs/pictures --photos 2

One sheet each of spores that are missed, of other things that are counted, and of spores whose
state is taken for the other one, from photos of every condition by every maker. Nothing is
picked by hand: conditions take turns, and chance decides within them.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

sys.path.insert(0, str(Path(__file__).parent))
from count_benchmark import HANDS, conditions_of, drawn_by
from judging import places, to_find

from sporecount.detect.matching import WITHIN_UM, match_centres

#: Half the side of what a tile shows, um; its side and the height of its caption, px.
HALF_UM, TILE_PX, CAPTION_PX = 24.0, 128, 16

#: Tiles across and down a sheet.
ACROSS, DOWN = 9, 4

#: Seed of the photos; no figure of the model card rests on them.
SEED = 4


@dataclass(frozen=True)
class Mistake:
    """One thing that went wrong: ``missed``, ``false`` or ``state``, and what it looks like."""

    sort: str
    condition: str
    caption: str
    tile: np.ndarray


def mistakes_on(job: tuple[str, str, int]) -> list[Mistake]:
    """Count one photo, and return what is wrong with it; nothing, if it is refused."""
    from sporecount.counting import count_photo
    from sporecount.photo.photo import Photo
    from sporecount.scale.calibration import Calibration

    hand, condition, number = job
    packed, um_per_px, truth = drawn_by(hand, condition, number, (1600, 1200), SEED)
    pixels = np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])
    photo = Photo(f"{condition}-{number}", pixels, sha256="")
    counted = count_photo(photo, Calibration(um_per_px, "drawn"))
    if counted.summary["status"] == "refused":
        return []
    found = counted.detections[counted.detections["state"] != "fragment"]
    true = truth[truth["state"] != "fragment"]
    seen = to_find(true)

    def mistake(sort: str, row, said: str) -> Mistake:
        tile = tile_around(pixels, row["x_px"], row["y_px"], um_per_px)
        # Makers call the same condition by longer and shorter names.
        name = condition.removeprefix("closed-").removesuffix("-scales")
        return Mistake(sort, name, f"{name}, {said}", tile)

    pairs = match_centres(places(found), places(true), WITHIN_UM / um_per_px)
    wrong = [
        mistake("missed", true.iloc[row], true["state"].iloc[row])
        for row in pairs.true_left
        if seen[row]
    ]
    wrong += [
        mistake("false", found.iloc[row], f"{found['confidence'].iloc[row]:.2f}")
        for row in pairs.found_left
    ]
    for mine, theirs in zip(pairs.found, pairs.true, strict=True):
        said, state = found["state"].iloc[mine], true["state"].iloc[theirs]
        if said != state and seen[theirs]:
            wrong.append(mistake("state", true.iloc[theirs], f"is {state}"))
    return wrong


def tile_around(pixels: np.ndarray, x_px: float, y_px: float, um_per_px: float) -> np.ndarray:
    """Cut a square around a place, at one scale for all photos."""
    zoom = TILE_PX * um_per_px / (2 * HALF_UM)
    matrix = np.array([[zoom, 0, TILE_PX / 2 - zoom * x_px], [0, zoom, TILE_PX / 2 - zoom * y_px]])
    smooth = cv2.GaussianBlur(pixels, (0, 0), 0.4 / zoom) if zoom < 1 else pixels
    size, grey = (TILE_PX, TILE_PX), (90, 90, 90)
    return cv2.warpAffine(smooth, matrix, size, flags=cv2.INTER_CUBIC, borderValue=grey)


def in_turns(mistakes: list[Mistake], rng: np.random.Generator) -> Iterator[Mistake]:
    """Yield mistakes of each condition in turn, those of one in random order."""
    by_condition: dict[str, list[Mistake]] = {}
    for number in rng.permutation(len(mistakes)).tolist():
        by_condition.setdefault(mistakes[number].condition, []).append(mistakes[number])
    while any(by_condition.values()):
        yield from (rest.pop() for _, rest in sorted(by_condition.items()) if rest)


def sheet(mistakes: list[Mistake]) -> Image.Image:
    """Lay tiles and captions side by side, a cross hair's ends around each middle."""
    high = TILE_PX + CAPTION_PX
    page = Image.new("RGB", (ACROSS * (TILE_PX + 4), DOWN * (high + 4)), "white")
    draw, font = ImageDraw.Draw(page), ImageFont.load_default(11)
    for number, one in enumerate(mistakes):
        left, top = (number % ACROSS) * (TILE_PX + 4), (number // ACROSS) * (high + 4)
        page.paste(Image.fromarray(one.tile), (left, top))
        draw.text((left + 2, top + TILE_PX + 1), one.caption, "black", font)
        middle = TILE_PX // 2
        for turn in range(4):
            way = np.array([(1, 0), (0, 1), (-1, 0), (0, -1)][turn])
            ends = (np.array([left, top]) + middle + way * far for far in (26, 34))
            draw.line([tuple(map(int, end)) for end in ends], "black", 1)
    return page


def main() -> None:
    """Write the sheets."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--photos", type=int, default=2, help="photos per condition and maker")
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    jobs = [
        (hand, condition, number)
        for hand in HANDS
        for condition in conditions_of(hand)
        for number in range(given.photos)
    ]
    with ProcessPoolExecutor(given.jobs, get_context("spawn")) as pool:
        wrong = [one for found in pool.map(mistakes_on, jobs) for one in found]
    for sort in ("missed", "false", "state"):
        own = [one for one in wrong if one.sort == sort]
        shown = list(in_turns(own, np.random.default_rng(1)))[: ACROSS * DOWN]
        sheet(shown).save(given.folder / f"mistakes-{sort}.jpg", quality=88)
        sys.stdout.write(f"{sort}: {len(own)} on {len(jobs)} photos, {len(shown)} shown\n")


if __name__ == "__main__":
    main()
