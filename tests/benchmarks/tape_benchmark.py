"""Layout and union of overlapping photos of one tape, on rendered tapes with known truth.

    python tests/benchmarks/tape_benchmark.py --seeds 4

For each kind of tape: how many photos were placed, how far from the truth, what was in
doubt; the union's area against the truth; spores of the union against the truth, with
the true spores as each photo's detections (moved by a little at random), and, with
``--detect``, with what the detector finds. ``--growth`` prints instead how the work grows
with the number of photos, as multiples of the time for the first few.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import combinations
from time import process_time

import cv2
import numpy as np
import pandas as pd

from sporecount.counting import PhotoCount, count_photo
from sporecount.detect.table import SPORE_STATES, empty_detections
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.tape import RenderedTape, TapePlan, render_tape
from sporecount.render.truth import to_be_found
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings
from sporecount.tape.pose import Pose
from sporecount.tape.register import JOINED, register
from sporecount.tape.tape import Tape, assemble
from sporecount.tape.view import View, make_view

#: Seed of the tapes that figures are reported on.
HELD_OUT_SEED = 20_261_126

USUAL = TapePlan().clutter
CRUMBS = (("scale chip", 8.0), ("noise lump", 6.0), ("angular chip", 4.0))

#: Kinds of tapes.
KINDS: dict[str, TapePlan] = {
    "10 % overlap": TapePlan(overlap=0.10),
    "15 % overlap": TapePlan(overlap=0.15),
    "25 % overlap": TapePlan(overlap=0.25),
    "40 % overlap": TapePlan(overlap=0.40),
    "25 %, dirty lens": TapePlan(overlap=0.25, dirt=12),
    "25 %, crowded": TapePlan(
        overlap=0.25, spores_per_mm2=300, clutter=tuple((n, 3 * r) for n, r in USUAL)
    ),
    "25 %, few features": TapePlan(overlap=0.25, spores_per_mm2=3, clutter=CRUMBS),
    "25 %, few, dirty": TapePlan(overlap=0.25, spores_per_mm2=3, clutter=CRUMBS, dirt=12),
    "40 %, few features": TapePlan(overlap=0.40, spores_per_mm2=3, clutter=CRUMBS),
    "blank": TapePlan(overlap=0.25, spores_per_mm2=0, clutter=()),
    "blank, dirty lens": TapePlan(overlap=0.25, spores_per_mm2=0, clutter=(), dirt=12),
    "apart (gap 10 %)": TapePlan(overlap=-0.10),
}


def true_pose(made: RenderedTape, number: int) -> Pose:
    """Return where a photo lies on the drawn tape."""
    one = made.photos[number]
    return Pose(one.x_um, one.y_um, one.angle_deg)


def true_detections(made: RenderedTape, number: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return the true spores in a photo as if they had been found, each a little off."""
    plan = made.plan
    xy = true_pose(made, number).inwards(made.truth[["x_um", "y_um"]].to_numpy(float))
    size = np.array(plan.photo_px) * plan.um_per_px
    shown = ((xy > 0) & (xy < size)).all(axis=1) & (made.truth["state"] != "fragment").to_numpy()
    px = (xy[shown] + rng.normal(0, 0.7, (int(shown.sum()), 2))) / plan.um_per_px - 0.5
    table = empty_detections().reindex(range(len(px)))
    table["x_px"], table["y_px"], table["state"] = px[:, 0], px[:, 1], "intact"
    return table


def views_of(
    made: RenderedTape, rng: np.random.Generator, name: str = "", *, detect: bool = False
) -> list[View]:
    """Return the views of a rendered tape, with true or with found detections."""
    views = []
    calibration = Calibration(made.plan.um_per_px, "drawn")
    for number, one in enumerate(made.photos):
        photo = Photo(f"{name}{number + 1}.jpg", one.pixels, sha256=f"{name}{number}")
        if detect:
            counted = count_photo(photo, calibration)
        else:
            field = make_field(photo, calibration, Settings().field)
            counted = PhotoCount(true_detections(made, number, rng), {}, field)
        views.append(make_view(photo, counted))
    return views


def in_any(made: RenderedTape, xy_um: np.ndarray, numbers: list[int]) -> np.ndarray:
    """Return which points of the drawn tape at least one of the photos shows."""
    size = np.array(made.plan.photo_px) * made.plan.um_per_px
    shown = np.zeros(len(xy_um), bool)
    for number in numbers:
        xy = true_pose(made, number).inwards(xy_um)
        shown |= ((xy > 0) & (xy < size)).all(axis=1)
    return shown


def true_area_mm2(made: RenderedTape, numbers: list[int]) -> float:
    """Return the true area of the union of photos, by sampling."""
    if not numbers:
        return 0.0
    step = 1.5
    far = np.max([true_pose(made, n).outwards(np.array([np.array(made.plan.photo_px)
                  * made.plan.um_per_px]))[0] for n in numbers], axis=0) + 60  # fmt: skip
    x, y = np.meshgrid(np.arange(0, far[0], step), np.arange(0, far[1], step))
    points = np.column_stack([x.ravel(), y.ravel()]) + 0.37
    return float(in_any(made, points, numbers).sum()) * step**2 / 1e6


def judge(made: RenderedTape, views: list[View], tape: Tape) -> dict[str, float]:
    """Return how a tape's result compares with the truth."""
    places = tape.layout.placements
    middle = np.array([views[0].size_um]) / 2
    worst, wrong, placed = 0.0, 0, 0
    for group in sorted(set(places["group"]) - {-1}):
        members = np.flatnonzero(places["group"] == group)
        root = true_pose(made, members[0])
        for n in members[1:]:
            true = root.inverse().after(true_pose(made, n))
            away = float(np.hypot(*(tape.layout.poses[n].outwards(middle)
                                    - true.outwards(middle))[0]))  # fmt: skip
            placed, wrong, worst = placed + 1, wrong + (away > 15), max(worst, away)
    counted_photos = set(tape.fields.loc[tape.fields["counted"], "photo"])
    numbers = [n for n, view in enumerate(views) if view.photo in counted_photos]
    area = true_area_mm2(made, numbers)
    # What the examined masks leave out is no error of the union.
    share = np.mean([view.examined.mean() for view in views])
    truth = made.truth[made.truth["state"] != "fragment"]
    true_spores = in_any(made, truth[["x_um", "y_um"]].to_numpy(float), numbers).sum()
    return {
        "photos": len(views),
        "in_one_group": int((places["group"] == places["group"].mode()[0]).sum()),
        "placed": placed,
        "wrong": wrong,
        "worst_um": worst,
        "doubtful": int(tape.layout.doubts.any(axis=1).sum()),
        "repeats": int((places["repeats_of"] != "").sum()),
        "counted_photos": len(numbers),
        "area_error": tape.examined_mm2 / area - 1 if area else 0.0,
        "examined_share": share,
        "true_area": area,
        "true": int(true_spores),
        "united": tape.spores,
        "photo_sum": sum(int(v.detections["state"].isin(SPORE_STATES).sum()) for v in views),
    }


def found_truth(made: RenderedTape, tape: Tape) -> tuple[int, int]:
    """Return true spores to be found in the union, and how many the union has within 5 um."""
    root = true_pose(made, 0)
    truth = made.truth[(made.truth["state"] != "fragment") & to_be_found(made.truth)]
    xy = truth[["x_um", "y_um"]].to_numpy(float)
    xy = xy[in_any(made, xy, list(range(len(made.photos))))]
    from sporecount.tape.partners import one_to_one

    found = tape.detections[tape.detections["state"].isin(SPORE_STATES)]
    pairs = one_to_one(root.outwards(found[["x_um", "y_um"]].to_numpy(float)), xy, 5.0)[0]
    return len(xy), len(pairs)


def false_joins(kinds: list[str], seeds: int, pairs: int) -> tuple[int, int]:
    """Return how many pairs of photos of different tapes were joined, and of how many."""
    rng = np.random.default_rng([HELD_OUT_SEED, 99])
    views, tapes = [], []
    for k, kind in enumerate(kinds):
        for seed in range(seeds):
            plan = replace(KINDS[kind], grid=(2, 2))
            made = render_tape(plan, np.random.default_rng([HELD_OUT_SEED, 1, k, seed]))
            views += views_of(made, rng)
            tapes += [(k, seed)] * 4
    every = [p for p in combinations(range(len(views)), 2) if tapes[p[0]] != tapes[p[1]]]
    chosen = rng.permutation(len(every))[:pairs]
    joined = sum(register(*(views[n] for n in every[c])).status == JOINED for c in chosen)
    return joined, len(chosen)


def growth(numbers: tuple[int, ...] = (5, 10, 20, 30), overlap: float = 0.2) -> None:
    """Print how the work of a layout grows with the number of photos; times are ratios."""
    plan = TapePlan(grid=(6, 5), photo_px=(1333, 1000), overlap=overlap)
    made = render_tape(plan, np.random.default_rng([HELD_OUT_SEED, 3]))
    views = views_of(made, np.random.default_rng(0))
    first = 0.0
    print(
        f"\n| Photos, overlap {100 * overlap:.0f} % | Pairs | Compared | Time | Each two compared |"
    )
    print("|---|---|---|---|---|")
    for number in numbers:
        some, known = views[:number], {}
        start = process_time()
        tape = assemble(some, known=known)
        mine = process_time() - start
        start = process_time()
        for one, other in combinations(some, 2):
            register(one, other)
        all_pairs = process_time() - start
        first = first or mine
        compared = sum(len(key) == 3 for key in known)
        every = number * (number - 1) // 2
        print(f"| {number} | {every} | {compared} | {mine / first:.1f} | {all_pairs / first:.1f} |")
        one = judge(made, some, tape)
        if overlap > 0 and (one["wrong"] or one["in_one_group"] != number):
            print(f"  not as drawn: {one}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--detect", action="store_true", help="count with the detector too")
    parser.add_argument("--pairs", type=int, default=2000, help="pairs of different tapes")
    parser.add_argument("--growth", action="store_true", help="only how the work grows")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.growth:
        for overlap in (0.2, -0.1):
            growth(overlap=overlap)
        return
    for kind in options.kinds:
        rows, detected = [], []
        for seed in range(options.seeds):
            number = list(KINDS).index(kind)
            rng = np.random.default_rng([HELD_OUT_SEED, 0, number, seed])
            made = render_tape(KINDS[kind], rng)
            views = views_of(made, rng)
            rows.append(judge(made, views, assemble(views)))
            if options.detect:
                views = views_of(made, rng, detect=True)
                tape = assemble(views)
                detected.append((*found_truth(made, tape), tape.spores, judge(made, views, tape)))
        table = pd.DataFrame(rows)
        print(f"\n{kind}")
        print(table.round(4).to_string(index=False))
        print(
            f"  true spores {table['true'].sum()}, united {table['united'].sum()}, "
            f"sum over photos {table['photo_sum'].sum()}, worst tape "
            f"{100 * (table['united'] / table['true'] - 1).abs().max():.2f} %"
        )
        for to_find, matched, count, one in detected:
            print(
                f"  detector: {to_find} to be found, union {count} ({matched} of them true), "
                f"{100 * (count / to_find - 1) if to_find else 0:+.1f} %, "
                f"wrong {one['wrong']}, area {100 * one['area_error']:+.2f} %"
            )
    if options.pairs:
        joined, of = false_joins(list(options.kinds)[:9], options.seeds, options.pairs)
        print(f"\npairs of photos of different tapes: {joined} of {of} joined")
        mixed, of = mixed_tapes(6 * options.seeds)
        print(f"two tapes of four photos given as one: {mixed} of {of} mixed up")


def mixed_tapes(seeds: int) -> tuple[int, int]:
    """Return how often photos of two tapes, given as one, end in one group, and of how many."""
    mixed = 0
    for seed in range(seeds):
        rng = np.random.default_rng([HELD_OUT_SEED, 2, seed])
        kind = list(KINDS)[seed % 9]
        both = []
        for name in "ab":
            made = render_tape(replace(KINDS[kind], grid=(2, 2)), rng)
            both += views_of(made, rng, name)
        places = assemble(both).layout.placements
        groups = [set(places.loc[places["photo"].str.startswith(name), "group"]) for name in "ab"]
        mixed += bool(groups[0] & groups[1])
    return mixed, seeds


if __name__ == "__main__":
    main()
