"""Print how often the limits of followed spores' fates hold: a table for the docs.

    python tests/benchmarks/trial_fates_simulation.py

Chances of slides are drawn from a Dirichlet law as alike as named, fates of spores from these,
what they are called from the misreading table that ships; that table is drawn too, as if it had
been measured on as many spores.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.trial.followed.fates import judge_fates
from sporecount.trial.followed.match import FATES
from sporecount.trial.followed.table import checked_fields
from sporecount.trial.misread import MisreadRates, draw_rates, load_misread

SEED, SPORES = 20_261, 50

TRUE = {
    "hardly any": (0.96, 0.02, 0.0, 0.02),
    "some": (0.7, 0.15, 0.07, 0.08),
    "most": (0.2, 0.3, 0.3, 0.2),
}


def called(rng: np.random.Generator, chances: NDArray[np.float64], alike: float, slides: int,
           misread: NDArray[np.float64]) -> list[NDArray[np.int64]]:  # fmt: skip
    """Return what the spores of each slide are called."""
    rows = []
    for _ in range(slides):
        own = chances
        if alike:
            own = rng.dirichlet(np.maximum(chances * (1 - alike) / alike, 1e-9))
        really = rng.multinomial(SPORES, own)
        read = sum(rng.multinomial(n, row) for n, row in zip(really[:3], misread, strict=True))
        rows.append(np.append(read, really[3]))
    return rows


def held(chances: tuple[float, ...], alike: float, slides: int, trials: int) -> list[float]:
    """Return for each fate, and for harm against a control, how often limits hold."""
    rng = np.random.default_rng([SEED, slides, int(100 * alike), int(100 * chances[0])])
    shipped = np.asarray(load_misread().called, float)
    misread = shipped[:, :3] / shipped[:, :3].sum(axis=1, keepdims=True)
    numbers = shipped.sum(axis=1).astype(int)
    control = np.array((0.97, 0.01, 0.0, 0.02))
    good = np.zeros(len(FATES) + 1)
    for _ in range(trials):
        rows = [
            (arm, f"{arm}{n}", *row)
            for arm, own in (("water", control), ("arm", np.array(chances)))
            for n, row in enumerate(called(rng, own, alike, slides, misread))
        ]
        table = pd.DataFrame(rows, columns=["arm", "slide", *FATES])
        measured = [
            tuple(float(n) for n in rng.multinomial(number, np.append(row, 0.0)))
            for number, row in zip(numbers, misread, strict=True)
        ]
        rates = draw_rates(MisreadRates(tuple(measured)), 400, 1)
        fields = checked_fields(table, {"water": "water", "arm": "arm"})
        found = judge_fates(fields, "water", ["arm"], {"water": rates, "arm": rates})["arm"]
        for place, (fate, true) in enumerate(zip(FATES, chances, strict=True)):
            one = found.shares[fate]
            good[place] += one.corrected_low - 1e-9 <= true <= one.corrected_high + 1e-9
        seen = [own[:3] @ misread[:, 0] for own in (np.array(chances), control)]
        effect = (1 - seen[0]) - (1 - seen[1])
        good[-1] += found.harmed.effect_low <= effect <= found.harmed.effect_high
    return list(good / trials)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=300)
    trials = parser.parse_args().trials
    print("| harmed | likeness | slides | " + " | ".join(FATES) + " | no longer intact, against |")
    print("|---" * 8 + "|")
    for name, chances in TRUE.items():
        for alike in (0.0, 0.05, 0.2):
            for slides in (3, 5):
                cells = " | ".join(f"{one:.3f}" for one in held(chances, alike, slides, trials))
                print(f"| {name} | {alike:g} | {slides} | {cells} |", flush=True)


if __name__ == "__main__":
    main()
