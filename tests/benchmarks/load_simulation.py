"""Simulate tapes and see whether limits, class chances and the stopping rule hold.

    python tests/benchmarks/load_simulation.py --into docs/load.md

makes every table of docs/load.md anew and puts each in its place, after a comment with its
name (about 15 minutes on one core); without ``--into`` they are printed. The simulated tape
is not the estimator's own model: its density is drawn patch by patch on a fixed grid of
patches, fields lie in it at random, each spore is found or missed on its own, and false
detections are strewn on top.
"""

from __future__ import annotations

import argparse
import io
import re
import sys
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))
from load_finds import ShippedDetector, measured

from sporecount.counts.loadclass import load_class
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.literature import LEAST_CLUMPING_K
from sporecount.load.estimate import CHECKED_BY_HAND, estimate_seen
from sporecount.load.fields import Seen, seen_from
from sporecount.load.sequential import settled_by
from sporecount.load.wald import poisson_lines
from sporecount.settings import LoadSettings, Settings

TAPE_MM2 = 100.0
FIELD_MM2 = 2.5
FIELDS = int(TAPE_MM2 / FIELD_MM2)
LOADS = {
    "0": (0, 0),
    "1": (1, 1),
    "2-20": (2, 20),
    "21-100": (21, 100),
    "101-1000": (101, 1000),
    "1001-20000": (1001, 20000),
}
CLUMPING = {"0.3": 0.3, "1": 1.0, "5": 5.0, "even": np.inf}
COVERAGE = {"5 %": 2, "10 %": 4, "22 %": 9, "50 %": 20, "100 %": 40}
#: Counts that a person put right.
BY_HAND = "by hand"
#: Name of the shipped detector: finds and chances as it gives them, judged by its own rates.
SHIPPED = "by the detector that ships"


@dataclass(frozen=True)
class Tape:
    """A simulated tape: what each field holds, and what the detector says of it."""

    true: np.ndarray
    counted: np.ndarray
    chances: list[np.ndarray] | None = None

    @property
    def total(self) -> int:
        return int(self.true.sum())

    def seen(self, fields: int, *, touching: bool = False) -> Seen:
        """Return what the first fields show."""
        table = pd.DataFrame(
            {
                "photo": np.arange(fields).astype(str),
                "examined_mm2": FIELD_MM2,
                "spores": self.counted[:fields],
                "group": 0 if touching else np.arange(fields),
            }
        )
        chances = None if self.chances is None else self.chances[:fields]
        return seen_from(table, TAPE_MM2, chances)


def draw_tape(
    rng: np.random.Generator,
    spores: int,
    k: float,
    shipped: ShippedDetector | None = None,
    patch_fields: int = 1,
    in_order: bool = False,
) -> Tape:
    """Draw a tape with so many spores; ``patch_fields`` neighbours share one density.

    With ``shipped``, that detector counts; otherwise there are no mistakes. Fields come in
    random order, or as they lie side by side.
    """
    patches = FIELDS // patch_fields
    density = np.ones(patches) if np.isinf(k) else rng.gamma(k, size=patches) + 1e-300
    density = np.repeat(density, patch_fields)
    true = rng.multinomial(spores, density / density.sum())
    true = true if in_order else rng.permutation(true)
    return Tape(true, true) if shipped is None else Tape(true, *shipped.tape(rng, true, FIELD_MM2))


def draw_load(rng: np.random.Generator, low: int, high: int) -> int:
    """Draw a load between two limits, as likely as its inverse."""
    return int(min(high, np.floor(np.exp(rng.uniform(np.log(low), np.log(high + 1))))))


def loads(rng: np.random.Generator, name: str, tapes: int) -> Iterator[int]:
    low, high = LOADS[name]
    return (draw_load(rng, low, high) if low else 0 for _ in range(tapes))


def row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |")


def head(*cells: str) -> None:
    print()
    row(*cells)
    row(*("---" for _ in cells))


@cache
def shipped_detector() -> ShippedDetector:
    """Return the detector that ships, measured once on rendered photos."""
    finds = measured()
    print("\n### What the detector that ships does, by spores per mm2 drawn")
    head("Drawn per mm2", "Photos", "mm2", "Spores", "Found", "False", "False said to be spores")
    for density in sorted({one.per_mm2 for one in finds}):
        own = [one for one in finds if one.per_mm2 == density]
        false = np.concatenate([one.false for one in own])
        spores = sum(one.spores for one in own)
        found = sum(len(one.true) for one in own)
        share = f"{100 * found / spores:.0f} %" if spores else "-"
        area = f"{sum(one.mm2 for one in own):.1f}"
        said = f"{false.mean():.2f}" if len(false) else "-"
        row(f"{density:g}", len(own), area, spores, share, len(false), said)
    return ShippedDetector(finds)


def judged_by(detector: str) -> tuple[DetectorRates, ShippedDetector | None]:
    """Return the rates a detector is judged by, and the detector if it is the shipped one."""
    if detector == SHIPPED:
        rates = load_rates()
        # Its finds are drawn as each looks by itself (`load_finds`).
        law = replace(rates.confidence_law, company=0.0)
        return replace(rates, confidence_law=law), shipped_detector()
    return CHECKED_BY_HAND, None


def coverage(tapes: int, rng: np.random.Generator, settings: Settings, detector: str) -> None:
    """Print how often the limits hold the truth, by load, coverage and clumping."""
    rates, shipped = judged_by(detector)
    print(f"\n### Limits that hold the truth, percent; counts {detector}")
    head("Load", "k", *(f"{name} seen" for name in COVERAGE))
    for load in LOADS:
        for name, k in CLUMPING.items():
            if load in ("0", "1") and name != "even":
                continue  # one spore cannot clump
            held = dict.fromkeys(COVERAGE, 0)
            for spores in loads(rng, load, tapes):
                tape = draw_tape(rng, spores, k, shipped)
                for part, fields in COVERAGE.items():
                    known = estimate_seen(tape.seen(fields), rates, settings)
                    held[part] += known.tape_low <= spores <= known.tape_high
            cells = [f"{100 * hits / tapes:.0f}" for hits in held.values()]
            row(load, "-" if load in ("0", "1") else name, *cells)


def patches(tapes: int, rng: np.random.Generator, settings: Settings) -> None:
    """Print what becomes of the limits where the density changes more slowly than thought."""
    print("\n### Nine fields, 101-1000 spores, counts by hand: percent that hold the truth")
    head("Patch", "k", "at random", "side by side, grouped", "side by side, taken for apart")
    for patch_fields in (1, 4, 10):
        for name in ("0.3", "1", "5"):
            held = [0, 0, 0]
            for spores in loads(rng, "101-1000", tapes):
                k = CLUMPING[name]
                apart = draw_tape(rng, spores, k, None, patch_fields)
                close = draw_tape(rng, spores, k, None, patch_fields, in_order=True)
                every = (apart.seen(9), close.seen(9, touching=True), close.seen(9))
                for place, seen in enumerate(every):
                    known = estimate_seen(seen, CHECKED_BY_HAND, settings)
                    held[place] += known.tape_low <= spores <= known.tape_high
            shares = [f"{100 * hits / tapes:.0f}" for hits in held]
            row(f"{patch_fields * FIELD_MM2:g} mm2", name, *shares)


def calibration(tapes: int, rng: np.random.Generator, settings: Settings, detector: str) -> None:
    """Print how often a class was right that had a given chance, and by true class."""
    bounds = settings.count.class_lower_bounds
    rates, shipped = judged_by(detector)
    said, was = [], []
    for _ in range(tapes):
        spores = 0
        if rng.random() < settings.load.prevalence:
            spores = draw_load(rng, 1, 20000)
        k = list(CLUMPING.values())[rng.integers(len(CLUMPING))]
        tape = draw_tape(rng, spores, k, shipped)
        fields = [2, 4, 9, 20][rng.integers(4)]
        known = estimate_seen(tape.seen(fields), rates, settings)
        said.append(known.p_class)
        was.append(load_class(spores, bounds))
    chance = np.array(said)
    right = np.array(was)[:, None] == np.arange(chance.shape[1])
    print(f"\n### Class chances: said and true; counts {detector}")
    head("Chance said", "Cases", "Mean said", "Was so")
    edges = [0.0, 0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 0.99, 1.0001]
    for low, high in zip(edges, edges[1:]):
        inside = (chance >= low) & (chance < high)
        if inside.any():
            means = [f"{chance[inside].mean():.3f}", f"{right[inside].mean():.3f}"]
            row(f"{low:g}-{min(high, 1):g}", int(inside.sum()), *means)
    print(f"\n### Mean chance said of each class, by load; counts {detector}")
    head("Load", "Tapes", *(f"class {load}" for load in range(chance.shape[1])))
    for load, name in enumerate(LOADS):
        own = np.array(was) == load
        if own.any():
            row(name, int(own.sum()), *(f"{mean:.2f}" for mean in chance[own].mean(axis=0)))


def stopping(tapes: int, rng: np.random.Generator, settings: Settings, detector: str) -> None:
    """Print how the stopping rule ends, and after how many fields, by load."""
    rates, shipped = judged_by(detector)
    print(f"\n### How it stops, percent of tapes; risks 5 %, class 0 releasable; counts {detector}")
    head(
        "Load", "k", "Too light", "Too heavy", "Right", "Open at the end", "Fields: mean", "median"
    )
    for load in LOADS:
        for name in ("0.3", "1", "even"):
            if load in ("0", "1") and name != "even":
                continue
            light = heavy = right = 0
            used = []
            for spores in loads(rng, load, tapes):
                tape = draw_tape(rng, spores, CLUMPING[name], shipped)
                verdict, fields = _stop(tape, rates, settings)
                used.append(fields)
                own = load_class(spores, settings.count.class_lower_bounds)
                if verdict:
                    light += own > verdict[-1]
                    heavy += own < verdict[0]
                    right += own in verdict
            shares = [f"{100 * n / tapes:.0f}" for n in (light, heavy, right)]
            left = f"{100 * (tapes - light - heavy - right) / tapes:.0f}"
            shown = "-" if load in ("0", "1") else name
            row(load, shown, *shares, left, f"{np.mean(used):.1f}", int(np.median(used)))


def _stop(
    tape: Tape, rates: DetectorRates, settings: Settings
) -> tuple[tuple[int, ...] | None, int]:
    for fields in range(settings.decision.least_fields, FIELDS + 1):
        now = settled_by(estimate_seen(tape.seen(fields), rates, settings), settings)
        if now.is_settled:
            return now.classes, fields
    return None, FIELDS


def stopped_by_prior(
    tapes: int, rng: np.random.Generator, settings: Settings, detector: str
) -> None:
    """Print the errors of what was settled, over tapes drawn from the prior."""
    rates, shipped = judged_by(detector)
    print(f"\n### Of what was settled, percent wrong, over the prior; counts {detector}")
    head("Said", "Times", "Too light", "Too heavy")
    ends: dict[tuple[int, ...], list[int]] = {}
    for _ in range(tapes):
        spores = draw_load(rng, 1, 20000) if rng.random() < settings.load.prevalence else 0
        k = settings.load.clumping_k * np.exp(settings.load.clumping_spread * rng.normal())
        k = max(k, LEAST_CLUMPING_K)
        verdict, _ = _stop(draw_tape(rng, spores, k, shipped), rates, settings)
        own = load_class(spores, settings.count.class_lower_bounds)
        ends.setdefault(verdict or (), []).append(own)
    for verdict, owns in sorted(ends.items()):
        if verdict:
            wrong = [
                np.mean([o > verdict[-1] for o in owns]),
                np.mean([o < verdict[0] for o in owns]),
            ]
            row(f"classes {verdict}", len(owns), *(f"{100 * share:.1f}" for share in wrong))
        else:
            row("nothing, at the tape's end", len(owns), "-", "-")


def priors(settings: Settings) -> None:
    """Print what the prior makes of clean fields."""
    print("\n### Chance of class 1 or more when every field is clean (counts checked by hand)")
    head("Prior chance of spores", *(f"{name} seen" for name in COVERAGE))
    empty = Tape(np.zeros(FIELDS, int), np.zeros(FIELDS, int))
    for prevalence in (0.08, 0.3, 0.5, 0.7):
        mine = Settings(load=LoadSettings(prevalence=prevalence))
        chances = [
            estimate_seen(empty.seen(n), CHECKED_BY_HAND, mine).chance_from(1)
            for n in COVERAGE.values()
        ]
        row(prevalence, *(f"{chance:.3f}" for chance in chances))


#: What was seen, for the table of widths: area and spores of each field.
FEW_FIELDS = {
    "0 on 0.7 mm2": (0.7, (0,)),
    "4 on 2.2 mm2": (2.2, (4,)),
    "12 in 4 fields of 2.5 mm2": (2.5, (4, 2, 5, 1)),
}
#: Priors on clumping: k, spread of ln k, patch in mm2.
CLUMPING_PRIORS = {
    "as good as even": (1e6, 0.0, 10.0),
    "0.6, taken as known": (0.6, 0.0, 10.0),
    "0.6, spread of ln k 0.6": (0.6, 0.6, 10.0),
    "0.6, spread 1.2 (default)": (0.6, 1.2, 10.0),
    "default, patch 1 mm2": (0.6, 1.2, 1.0),
    "default, patch 3 mm2": (0.6, 1.2, 3.0),
    "default, patch 30 mm2": (0.6, 1.2, 30.0),
    "2, spread 1": (2.0, 1.0, 10.0),
}


def limits(area_mm2: float, spores: tuple[int, ...], load: LoadSettings) -> tuple[int, int]:
    """Return the limits for fields of one size, checked by hand."""
    names = [str(n) for n in range(len(spores))]
    table = pd.DataFrame({"photo": names, "examined_mm2": area_mm2, "spores": spores})
    known = estimate_seen(seen_from(table, TAPE_MM2), CHECKED_BY_HAND, Settings(load=load))
    return known.tape_low, known.tape_high


def widths() -> None:
    """Print how much of the limits' width is prior, and how many fields overrule it."""
    print("\n### Limits by the prior on clumping (counts checked by hand)")
    head("Prior on k", *FEW_FIELDS)
    for name, (k, spread, patch) in CLUMPING_PRIORS.items():
        mine = LoadSettings(clumping_k=k, clumping_spread=spread, patch_mm2=patch)
        cells = [limits(*seen, mine) for seen in FEW_FIELDS.values()]
        row(name, *(f"{low}-{high}" for low, high in cells))
    print("\n### Limits for even and for clumped fields of 2.5 mm2, by their number")
    head("Fields", "6 in each", "even, known", "0, 0, 18 in turns", "even, taken for known")
    even = LoadSettings(clumping_k=50.0, clumping_spread=0.0)
    for number in (1, 3, 6, 12, 24, 36):
        cells = []
        for spores in ((6,) * number, (0, 0, 18) * (number // 3)):
            for mine in (LoadSettings(), even):
                cells.append("{}-{}".format(*limits(2.5, spores, mine)) if spores else "-")
        row(number, *cells)


def wald(tapes: int, rng: np.random.Generator) -> None:
    """Print errors and fields of Wald's Poisson lines, for comparison."""
    print("\n### Wald's lines for even spores, 1 against 2 per field, alpha = beta = 5 %")
    head("True mean", "Says 2", "Fields: mean")
    lines = poisson_lines(1.0, 2.0, 0.05, 0.05)
    for mean in (1.0, 2.0):
        says, used = 0, []
        for _ in range(tapes):
            total, fields = 0, 0
            while lines.low < total - lines.slope * fields < lines.high or fields == 0:
                total, fields = total + rng.poisson(mean), fields + 1
            says += total > lines.slope * fields
            used.append(fields)
        row(mean, f"{100 * says / tapes:.1f} %", f"{np.mean(used):.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tapes", type=int, default=100, help="tapes in each cell")
    parser.add_argument("--only", nargs="*", default=[], metavar="TABLE", help="tables to print")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--clumping", type=float, nargs=2, help="prior k and spread to try")
    parser.add_argument("--list", action="store_true", help="name the tables and end")
    parser.add_argument("--into", type=Path, metavar="PAGE", help="put them into this page")
    given = parser.parse_args()
    load = LoadSettings(**_prior(given.clumping))
    settings = Settings(load=load)
    tables = {
        "detector": lambda rng: shipped_detector(),
        "widths": lambda rng: widths(),
        "priors": lambda rng: priors(settings),
        "coverage": lambda rng: coverage(given.tapes, rng, settings, BY_HAND),
        "coverage_shipped": lambda rng: coverage(given.tapes, rng, settings, SHIPPED),
        "patches": lambda rng: patches(given.tapes, rng, settings),
        "calibration": lambda rng: calibration(10 * given.tapes, rng, settings, BY_HAND),
        "calibration_shipped": lambda rng: calibration(10 * given.tapes, rng, settings, SHIPPED),
        "prior_stop": lambda rng: stopped_by_prior(10 * given.tapes, rng, settings, BY_HAND),
        "prior_stop_shipped": lambda rng: stopped_by_prior(5 * given.tapes, rng, settings, SHIPPED),
        "stopping": lambda rng: stopping(given.tapes, rng, settings, BY_HAND),
        "stopping_shipped": lambda rng: stopping(2 * given.tapes // 5, rng, settings, SHIPPED),
        "wald": lambda rng: wald(20 * given.tapes, rng),
    }
    if given.list:
        print(*tables)
        return
    for name in given.only or tables:
        said = io.StringIO()
        with redirect_stdout(said):
            tables[name](np.random.default_rng([given.seed, list(tables).index(name)]))
        print(said.getvalue(), flush=True)
        if given.into:
            put_into(given.into, name, said.getvalue())


def put_into(page: Path, name: str, said: str) -> None:
    """Replace the tables after the comments `<!-- name 1 -->`, `<!-- name 2 -->` of a page."""
    text = page.read_text("utf-8")
    for number, table in enumerate(re.findall(r"(?:^\|.*\n)+", said, re.MULTILINE), 1):
        after = rf"(<!-- {name} {number} -->\n\n)(?:\|.*\n)+"
        text, found = re.subn(after, lambda mark: mark[1] + table, text)
        if found != 1:
            print(f"{page}: {found} places for table {number} of {name}", file=sys.stderr)
    page.write_text(text, "utf-8")


def _prior(clumping: list[float] | None) -> dict[str, Any]:
    return dict(zip(("clumping_k", "clumping_spread"), clumping)) if clumping else {}


if __name__ == "__main__":
    main()
