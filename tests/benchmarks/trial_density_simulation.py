"""Simulated slides: how often the limits of a reduction of whole spores per mm2 hold.

    python tests/benchmarks/trial_density_simulation.py

Prints the table of docs/trial-verdicts.md, in a minute or two on one core. Means of slides
are drawn from a gamma law with the spread named (standard deviation over mean), spores of a
slide from a Poisson law; one line also from a log-normal one.
"""

from __future__ import annotations

import argparse

import numpy as np

from sporecount.trial.outcomes.vanished import Counted, reduce_against

SEED = 20_261_125
CASES = (("gamma", 0.0, 0.0), ("gamma", 0.3, 0.3), ("gamma", 0.6, 0.6), ("gamma", 0.8, 0.3),
         ("log-normal", 0.6, 0.6), ("log-normal", 0.8, 0.3))  # fmt: skip
KEPT = (1.0, 0.3, 0.03, 0.005)
SLIDES = (3, 5, 8)


def slides(rng: np.random.Generator, number: int, mean: float, spread: float, law: str) -> Counted:
    """Return the counted slides of an arm."""
    means = np.full(number, mean)
    if spread and law == "gamma":
        means = mean * rng.gamma(spread**-2, spread**2, number)
    elif spread:
        sigma = np.sqrt(np.log1p(spread**2))
        means = mean * np.exp(rng.normal(-(sigma**2) / 2, sigma, number))
    return Counted(rng.poisson(means).astype(float), np.ones(number))


def held(rng: np.random.Generator, trials: int, number: int, mean: float, kept: float,
         case: tuple[str, float, float]) -> tuple[float, float]:  # fmt: skip
    """Return the share of trials whose limits hold the truth, and that of bounds."""
    law, spread, control_spread = case
    good = bounds = 0
    for _ in range(trials):
        arm = slides(rng, number, mean * kept, spread, law)
        found = reduce_against(arm, slides(rng, number, mean, control_spread, law))
        bounds += found.is_bound
        good += found.low <= 1 - kept <= found.high
    return good / trials, bounds / trials


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1000)
    trials = parser.parse_args().trials
    rng = np.random.default_rng(SEED)
    print(
        "| slides differ by | slides an arm | " + " | ".join(f"{k:.1%} left" for k in KEPT) + " |"
    )
    print("|---|---|" + "---|" * len(KEPT))
    for case in CASES:
        for number in SLIDES:
            cells = []
            for kept in KEPT:
                found = [held(rng, trials, number, mean, kept, case) for mean in (40, 200)]
                cells.append(" / ".join(f"{one[0]:.3f}" for one in found))
            law, spread, other = case
            print(f"| {spread:g} and {other:g}, {law} | {number} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
