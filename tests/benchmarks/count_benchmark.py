"""Accuracy and time of the count on rendered photos, beside three plain recipes.

    python tests/benchmarks/count_benchmark.py --photos 20
    python tests/benchmarks/count_benchmark.py --photos 8 --hand layered

Every condition is drawn anew from a seed that no training uses; with ``--hand`` by a maker of
pictures that shares nothing with the package's renderer (``other_hands/``). Times are compared
with the recipes and with merely decoding the file, all in this run.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from io import BytesIO
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))
import left_out
from judging import Tally, judge_centres, judge_table
from recipes import RECIPES

#: Seed of the pictures that figures are reported on.
HELD_OUT_SEED = 20_261_125

#: Who draws the photos: the package's own renderer, or a maker in ``other_hands/``.
OWN = "own"
HANDS = (OWN, "layered", "illustrated")


def photo_of(condition: str, number: int, size_px: tuple[int, int], seed: int = HELD_OUT_SEED):
    """Draw one held-out photo and pack it as a camera would."""
    from sporecount.render.conditions import CONDITIONS, condition_plan
    from sporecount.render.picture import render

    rng = np.random.default_rng([seed, list(CONDITIONS).index(condition), number])
    rendered = render(condition_plan(condition, rng, size_px), rng)
    packed = cv2.imencode(".jpg", rendered.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    return rendered, packed


def drawn_by(hand: str, condition: str, number: int, size_px: tuple[int, int], seed: int):
    """Draw one photo; return its file, its um per pixel and the truth."""
    if hand == OWN:
        rendered, packed = photo_of(condition, number, size_px, seed)
        return packed, rendered.plan.um_per_px, rendered.truth
    photo = import_module(f"other_hands.{hand}").draw(condition, number, seed)
    return np.frombuffer(photo.packed, np.uint8), photo.um_per_px, photo.truth


def conditions_of(hand: str) -> tuple[str, ...]:
    """Return the conditions that a maker draws."""
    home = "sporecount.render.conditions" if hand == OWN else f"other_hands.{hand}"
    return tuple(import_module(home).CONDITIONS)


def judge_condition(job):
    """Count the photos of one condition in every way; return tallies by name."""
    hand, condition, photos, size_px, recipes, seed = job
    from sporecount.counting import count_photo
    from sporecount.photo.photo import Photo
    from sporecount.scale.calibration import Calibration

    cv2.setNumThreads(1)
    tallies = {name: Tally() for name in ["sporecount", "decode", *recipes]}
    for number in range(photos):
        packed, um_per_px, truth = drawn_by(hand, condition, number, size_px, seed)
        width, height = Image.open(BytesIO(packed)).size
        megapixels = width * height / 1e6

        def timed(name, work):
            began = time.perf_counter()
            result = work()
            tallies[name].seconds += time.perf_counter() - began
            tallies[name].megapixels += megapixels
            return result

        pixels = timed("decode", lambda: cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])
        pixels = np.ascontiguousarray(pixels)
        photo = Photo(f"{condition}-{number}", pixels, sha256="")
        if number == 0:
            count_photo(photo, Calibration(um_per_px, "drawn"))  # load what is loaded once
        counted = timed("sporecount", lambda: count_photo(photo, Calibration(um_per_px, "drawn")))
        tally = tallies["sporecount"]
        if counted.summary["status"] == "refused":
            tally.photos += 1
            tally.refused += 1
            continue
        judge_table(tally, counted.detections, counted.summary, truth, um_per_px)
        for name in recipes:
            centres = timed(name, lambda: RECIPES[name](pixels, um_per_px))
            judge_centres(tallies[name], centres, truth, um_per_px)
    return condition, tallies


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=20, help="photos per condition")
    parser.add_argument("--hand", choices=HANDS, default=OWN, help="who draws the photos")
    parser.add_argument("--size", type=int, nargs=2, default=(1600, 1200), help="of our own photos")
    parser.add_argument("--no-recipes", action="store_true")
    parser.add_argument("--conditions", nargs="*", help="all that are drawn, if left out")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=HELD_OUT_SEED)
    parser.add_argument("--no-left-out", action="store_true", help="shipped network only")
    given = parser.parse_args()
    recipes = [] if given.no_recipes else list(RECIPES)
    conditions = given.conditions or conditions_of(given.hand)
    size_px = tuple(given.size)
    jobs = [(given.hand, c, given.photos, size_px, recipes, given.seed) for c in conditions]
    if given.jobs > 1:
        with ProcessPoolExecutor(given.jobs, get_context("spawn")) as pool:
            results = list(pool.map(judge_condition, jobs))
    else:
        results = [judge_condition(job) for job in jobs]
    print_tables(results, recipes)
    if given.hand == OWN and not given.no_left_out:
        left_out.print_table(max(1, given.photos // 2), size_px, given.seed, given.jobs)


def print_tables(results, recipes) -> None:
    """Print accuracy, states, times."""
    say = sys.stdout.write
    say(
        f"{'condition':17}{'prec':>6}{'rec':>6}{'F1':>7}{'best recipe':>28}"
        f"{'class':>7}{'refused':>9}\n"
    )
    total = Tally()
    for condition, tallies in results:
        own = tallies["sporecount"]
        counted = own.photos - own.refused
        best = max(((tallies[n].f1, n) for n in recipes), default=(float("nan"), ""))
        share = own.right_class / counted if counted else float("nan")
        say(
            f"{condition:17}{own.precision:6.3f}{own.recall:6.3f}{own.f1:7.3f}"
            f"{best[0]:7.3f} {best[1]:>20}{share:7.2f}{own.refused:5d}/{own.photos}\n"
        )
        for name in ("found", "missed", "false"):
            setattr(total, name, getattr(total, name) + getattr(own, name))
        for state, (right, of) in own.right_state.items():
            total.right_state[state][0] += right
            total.right_state[state][1] += of
        for name in ("pieces", "crowded"):
            for i, n in enumerate(getattr(own, name)):
                getattr(total, name)[i] += n
        total.length_errors += own.length_errors
        total.false_on_blank += own.false_on_blank
        total.held += own.held
    say(f"{'all of them':17}{total.precision:6.3f}{total.recall:6.3f}{total.f1:7.3f}\n")
    for state, (right, of) in total.right_state.items():
        say(f"{state} called {state}: {right / max(1, of):.4f} of {of}\n")
    hit, missed, false = total.pieces
    say(f"fragments: recall {hit / max(1, hit + missed):.3f} of {hit + missed}, ")
    say(f"precision {hit / max(1, hit + false):.3f}\n")
    say(f"spores 4-5 um from a neighbour: {total.crowded[0]} of {total.crowded[1]} found\n")
    if total.length_errors:
        say(f"length: median error {np.median(total.length_errors):.3f}\n")
    blanks = total.false_on_blank
    say(f"blank photos: {sum(blanks)} false spores on {len(blanks)}\n")
    print_ranges(total.held)
    print_times(results, recipes)


def print_ranges(held) -> None:
    """Print how often the range holds the true number, by that number."""
    say = sys.stdout.write
    for low, high in ((0, 0), (1, 1), (2, 20), (21, 100), (101, 10**9)):
        rows = [(t, a, b) for t, a, b in held if low <= t <= high]
        if rows:
            inside = np.mean([a <= t <= b for t, a, b in rows])
            width = np.median([b - a for _, a, b in rows])
            name = (
                f"{low}" if low == high else f"{low}-{high}" if high < 10**9 else f"over {low - 1}"
            )
            say(f"range, {name:>9} spores: holds {inside:.3f} of {len(rows)}, width {width:.0f}\n")


def print_times(results, recipes) -> None:
    """Print ms per megapixel and ratios."""
    say = sys.stdout.write
    sums: dict[str, list[float]] = {}
    for _, tallies in results:
        for name, tally in tallies.items():
            sums.setdefault(name, [0.0, 0.0])
            sums[name][0] += tally.seconds
            sums[name][1] += tally.megapixels
    own = sums["sporecount"][0] / max(1e-9, sums["sporecount"][1])
    for name in ["sporecount", "decode", *recipes]:
        per = sums[name][0] / max(1e-9, sums[name][1])
        say(f"{name:24}{per * 1000:8.1f} ms/MP   sporecount takes {own / per:6.2f} times that\n")


if __name__ == "__main__":
    main()
