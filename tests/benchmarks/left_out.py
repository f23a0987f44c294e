"""How a network does on a way of drawing that it was never taught.

For each way of drawing spores, of laying a picture together, and for one family of litter, a
network was trained on tiles without it (`python -m sporecount.train search --without NAME`,
8,600 to 9,900 steps, and 5,800 for the litter; the shipped one had 251,770 in three rounds).
Both count the same pictures, all drawn in that way, or strewn with that litter. Glance and
closer look are the shipped ones, which were taught on all.
"""

from __future__ import annotations

import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from importlib.resources import files
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from judging import Tally, judge_table

#: Weights by what they were taught without.
WEIGHTS = Path(__file__).parent / "left_out"

#: Things that are strewn on a picture of a family of litter that was left out.
STREWN = 60

#: Conditions that are drawn in each way.
DRAWN = ("10x", "phone", "thick-scales", "trial")


def drawn_in(way: str, condition: str, number: int, size_px: tuple[int, int], seed: int):
    """Draw a photo of a condition with one style of spores, one composition or much of a litter."""
    from sporecount.render.clutter.registry import FAMILIES, KINDS
    from sporecount.render.conditions import CONDITIONS, condition_plan
    from sporecount.render.picture import render
    from sporecount.render.spores.draw import STYLES

    rng = np.random.default_rng([seed, 77, list(CONDITIONS).index(condition), number])
    plan = condition_plan(condition, rng, size_px)
    if way in STYLES:
        plan = replace(plan, spores=replace(plan.spores, style=way))
    elif way in FAMILIES:
        kinds = [name for name, kind in KINDS.items() if kind.family == way]
        more = tuple((name, STREWN / len(kinds) / plan.area_mm2) for name in kinds)
        clutter = replace(plan.clutter, per_mm2=plan.clutter.per_mm2 + more)
        plan = replace(plan, clutter=clutter)
    else:
        plan = replace(plan, compose=replace(plan.compose, name=way))
    return render(plan, rng)


def judge_way(job):
    """Count the pictures of one way of drawing with both networks; return their tallies."""
    import cv2

    from sporecount.counting import count_photo
    from sporecount.detect import engine
    from sporecount.photo.photo import Photo
    from sporecount.scale.calibration import Calibration

    way, photos, size_px, seed = job
    cv2.setNumThreads(1)
    tallies = {"shipped": Tally(), "without": Tally()}
    with tempfile.TemporaryDirectory() as folder:
        weights = (WEIGHTS / f"without-{way}.onnx").read_bytes()
        (Path(folder) / "search.onnx").write_bytes(weights)
        for name in ("glance.onnx", "closer.onnx"):
            own = files("sporecount.detect") / "weights" / name
            (Path(folder) / name).write_bytes(own.read_bytes())
        pictures = [
            drawn_in(way, condition, number, size_px, seed)
            for condition in DRAWN
            for number in range(photos)
        ]
        for name, place in (("shipped", None), ("without", Path(folder))):
            engine.use_weights(place)
            for rendered in pictures:
                um_per_px = rendered.plan.um_per_px
                photo = Photo("drawn", rendered.pixels, sha256="")
                counted = count_photo(photo, Calibration(um_per_px, "drawn"))
                if counted.summary["status"] == "counted":
                    judge_table(
                        tallies[name],
                        counted.detections,
                        counted.summary,
                        rendered.truth,
                        um_per_px,
                    )
        engine.use_weights(None)
    return way, tallies


def print_table(photos: int, size_px: tuple[int, int], seed: int, jobs: int) -> None:
    """Print F1 with and without having been taught each way of drawing."""
    say = sys.stdout.write
    ways = [path.stem.removeprefix("without-") for path in sorted(WEIGHTS.glob("*.onnx"))]
    todo = [(way, photos, size_px, seed) for way in ways]
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        results = list(pool.map(judge_way, todo))
    say(f"{'drawn in':12}{'F1 shipped':>12}{'F1 never taught it':>20}{'difference':>12}\n")
    for way, tallies in results:
        a, b = tallies["shipped"].f1, tallies["without"].f1
        say(f"{way:12}{a:12.3f}{b:20.3f}{b - a:12.3f}\n")
