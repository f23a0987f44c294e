"""Print how often eggs are called safe, or harmed, by mistake: a table for the docs."""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from sporecount.trial.outcomes.eggs import HARMS, SAFE, judge_eggs

#: Hatched share of the control, and of an arm that harms as much as the margin.
BASE, HARMED = 0.9, 0.8

EGGS = 30


def batches(
    rng: np.random.Generator, alike: float, number: int, dealt: bool, share: float
) -> pd.DataFrame:
    """Return a made-up table of eggs: a control and an arm."""
    rows = []
    for arm, mean in (("control", BASE), ("arm", share)):
        for n in range(number):
            own = mean
            if alike:
                strength = (1 - alike) / alike
                own = rng.beta(mean * strength, (1 - mean) * strength)
            rows.append((arm, f"{n}" if dealt else f"{arm}{n}", EGGS, rng.binomial(EGGS, own)))
    return pd.DataFrame(rows, columns=["arm", "batch", "dipped", "hatched"])


def cell(alike: float, number: int, dealt: bool, trials: int) -> str:
    """Return both mistakes, and in brackets those of who takes eggs for independent."""
    shares = []
    for independent in (False, True):
        for wrong, share in ((SAFE, HARMED), (HARMS, BASE)):
            rng = np.random.default_rng(7)
            found = [
                judge_eggs(
                    batches(rng, alike, number, dealt, share), "arm", "control",
                    independent=independent,
                )
                for _ in range(trials)
            ]  # fmt: skip
            shares.append(np.mean([one is not None and one.word == wrong for one in found]))
    return f"{shares[0]:.3f} / {shares[1]:.3f} ({shares[2]:.2f} / {shares[3]:.2f})"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=800)
    trials = parser.parse_args().trials
    plans = ((1, True), (2, True), (3, True), (3, False), (6, True), (6, False))
    names = [f"{n} batch{'es' * (n > 1)}, {'dealt out' if d else 'its own'}" for n, d in plans]
    names[0] = "1 batch"
    print("| likeness of eggs of a batch | " + " | ".join(names) + " |")
    print("|---" * (len(plans) + 1) + "|")
    for alike in (0.0, 0.1, 0.3):
        cells = [cell(alike, number, dealt, trials) for number, dealt in plans]
        print(f"| {alike:g} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
