"""Simulated trials: how often no effect is taken for one, and how often limits hold.

    python tests/benchmarks/trial_simulation.py

Prints the tables of docs/trial-statistics.md, in a few minutes on one core. Shares of slides
are drawn from a beta law, spores of a slide from a binomial one, and the number of spores on
each slide between 5 and 300, evenly on the log scale, unless a table says otherwise.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Callable, Iterator

import numpy as np
from scipy.special import expit
from scipy.stats import t as student
from scipy.stats import ttest_ind

from sporecount.statistics.betabinomial import fit_beta_binomial, likelihood_ratio
from sporecount.statistics.clusters import group
from sporecount.statistics.mean_share import Clusters, p_of_difference, p_of_ratio, share_limits
from sporecount.statistics.permutation import permute_clusters
from sporecount.trial.compare.naive import naive_p
from sporecount.trial.design.formula import slides_by_formula
from sporecount.trial.design.simulate import Supposed, slides_for

SEED = 20_261_125
LIKENESS = (0.0, 0.05, 0.1, 0.2, 0.3)
SHARES = (0.02, 0.05, 0.1, 0.2, 0.5)
SLIDES = ((3, 3), (4, 4), (5, 5), (6, 6), (7, 7), (8, 8), (3, 4), (4, 6), (3, 8))
PAIRS = ((0.02, 0.1), (0.02, 0.5), (0.05, 0.25), (0.1, 0.9), (0.02, 0.98), (0.5, 0.9))
WIDE, MIDDLING, FEW = (5, 300), (30, 150), (5, 20)

Draw = Callable[..., Clusters]
_rng = np.random.default_rng(SEED)


def drawn(trials: int, slides: int, share: float, icc: float, spores=WIDE) -> Clusters:
    """Return slides of many trials whose spores are alike as a beta law makes them."""
    strength = 1 / icc - 1 if icc else 0.0
    shape = (trials, slides)
    shares = _rng.beta(share * strength, (1 - share) * strength, shape) if icc else share
    return _counted(np.broadcast_to(shares, shape), spores)


def of_two_kinds(trials: int, slides: int, share: float, icc: float, spores=WIDE) -> Clusters:
    """Return slides of which some are broken much and the others hardly, with that likeness."""
    much = _rng.random((trials, slides)) < share
    apart = np.sqrt(icc)
    return _counted(np.where(much, share + (1 - share) * apart, share * (1 - apart)), spores)


def logit_normal(trials: int, slides: int, share: float, icc: float, spores=WIDE) -> Clusters:
    """Return slides whose log odds are normal, with about that likeness; the mean is made right."""
    spread = np.sqrt(icc / (1 - icc) / (share * (1 - share))) if icc else 0.0
    spread = min(float(spread), 2.5)
    points = np.random.default_rng(1).normal(0, spread, 20_000)
    low, high = -15.0, 15.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if expit(middle + points).mean() < share else (low, middle)
    return _counted(expit(low + _rng.normal(0, spread, (trials, slides))), spores)


def _counted(shares: np.ndarray, spores: tuple[int, int]) -> Clusters:
    sizes = np.exp(_rng.uniform(np.log(spores[0]), np.log(spores[1] + 1), shares.shape))
    sizes = sizes.astype(int)
    return Clusters(_rng.binomial(sizes, shares).astype(float), sizes.astype(float))


def table(title: str, heads: list[str], rows: Iterator[list[str]]) -> None:
    """Print a table in Markdown."""
    print(f"\n### {title}\n\n| {' | '.join(heads)} |\n|{' --- |' * len(heads)}")
    for row in rows:
        print(f"| {' | '.join(row)} |", flush=True)


def size_rows(trials: int) -> Iterator[list[str]]:
    """Give how often no effect is taken for one, at worst over shares: ours and the naive."""
    for slides, others in SLIDES:
        cells = []
        for icc in LIKENESS:
            worst = np.zeros(2)
            for share in SHARES:
                for spores in (WIDE, MIDDLING):
                    arms = (
                        drawn(trials, slides, share, icc, spores),
                        drawn(trials, others, share, icc, spores),
                    )
                    found = [np.mean(test(*arms) < 0.05) for test in (p_of_difference, naive_p)]
                    worst = np.maximum(worst, found)
            cells.append(f"{worst[0]:.3f} ({worst[1]:.2f})")
        yield [f"{slides} and {others}", *cells]


def welch(one: Clusters, other: Clusters) -> np.ndarray:
    """Return p of Welch's t test of slide shares; no variance at all is no evidence."""
    shares = [arm.events / arm.sizes for arm in (one, other)]
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # slides that are all the same
        return np.nan_to_num(ttest_ind(*shares, axis=-1, equal_var=False).pvalue, nan=1.0)


def arcsine(one: Clusters, other: Clusters) -> np.ndarray:
    """Return p of the t test of arcsines of slide shares."""
    shares = [np.arcsin(np.sqrt(arm.events / arm.sizes)) for arm in (one, other)]
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.nan_to_num(ttest_ind(*shares, axis=-1).pvalue, nan=1.0)


def by_spores(one: Clusters, other: Clusters) -> np.ndarray:
    """Return p of t where every spore counts the same: a slide of many outweighs the others."""
    shares, variances = [], []
    for arm in (one, other):
        parts = arm.sizes / arm.sizes.sum(-1, keepdims=True)
        share = (parts * arm.events / arm.sizes).sum(-1)
        apart = arm.events / arm.sizes - share[:, None]
        shares.append(share)
        number = arm.sizes.shape[-1]
        variances.append(number / (number - 1) * ((parts * apart) ** 2).sum(-1))
    freedom = one.sizes.shape[-1] + other.sizes.shape[-1] - 2
    with np.errstate(all="ignore"):
        value = np.nan_to_num(np.abs(shares[0] - shares[1]) / np.sqrt(sum(variances)))
    return 2 * student.sf(value, freedom)


def one_by_one(test: Callable, one: Clusters, other: Clusters, trials: int) -> np.ndarray:
    """Return p of a test that takes one trial at a time, for the first trials."""
    return np.array(
        [
            test([group(arm.events[row], arm.sizes[row]) for arm in (one, other)])
            for row in range(trials)
        ]
    )


def by_likelihood(groups: list) -> float:
    """Return p of the beta-binomial likelihood ratio, one likeness for both arms."""
    free = fit_beta_binomial(groups, common_likeness=True)
    same = fit_beta_binomial(groups, common_share=True, common_likeness=True)
    return likelihood_ratio(same, free).p


def by_permutation(groups: list) -> float:
    """Return p of the exact permutation of slides, each slide's share counting the same."""
    return permute_clusters([group(g.events / g.sizes, [1.0] * len(g.sizes)) for g in groups]).p


def rival_rows(trials: int, slow: int) -> Iterator[list[str]]:
    """Give size and power of the tests that were tried."""
    every = (p_of_difference, welch, arcsine, by_spores, naive_p)
    for slides, others, icc, shares, spores in (
        (3, 3, 0.1, (0.1, 0.1), WIDE),
        (5, 5, 0.1, (0.1, 0.1), WIDE),
        (8, 8, 0.05, (0.02, 0.02), WIDE),
        (3, 8, 0.3, (0.02, 0.02), WIDE),
        (5, 5, 0.05, (0.05, 0.05), FEW),
        (8, 8, 0.05, (0.05, 0.05), FEW),
        (3, 3, 0.1, (0.5, 0.05), WIDE),
        (5, 5, 0.1, (0.25, 0.05), WIDE),
        (8, 8, 0.3, (0.25, 0.05), WIDE),
    ):
        one = drawn(trials, slides, shares[0], icc, spores)
        other = drawn(trials, others, shares[1], icc)
        cells = [f"{np.mean(test(one, other) < 0.05):.3f}" for test in every]
        for test, some in ((by_likelihood, slow), (by_permutation, 10 * slow)):
            cells.append(f"{np.mean(one_by_one(test, one, other, some) < 0.05):.2f}")
        about = [f"{slides} and {others}", f"{icc:g}", f"{shares[0]}, {shares[1]}"]
        yield [*about, "{}-{}".format(*spores), *cells]


def coverage_rows(trials: int, spores: tuple[int, int]) -> Iterator[list[str]]:
    """Give how often the limits of effect and of Abbott's efficacy hold the truth."""
    for slides, others in ((3, 3), (5, 5), (8, 8), (3, 8), (8, 3)):
        for icc in (0.0, 0.1, 0.3):
            cells = []
            for base, share in PAIRS:
                one = drawn(trials, slides, share, icc, spores)
                other = drawn(trials, others, base, icc, spores)
                whole = [Clusters(arm.sizes - arm.events, arm.sizes) for arm in (one, other)]
                effect = np.mean(p_of_difference(one, other, share - base) >= 0.05)
                ratio = np.mean(p_of_ratio(*whole, (1 - share) / (1 - base)) >= 0.05)
                cells.append(f"{effect:.3f} / {ratio:.3f}")
            yield [f"{slides} and {others}", f"{icc:g}", *cells]


def share_rows(trials: int) -> Iterator[list[str]]:
    """Give how often the limits of an arm's own share hold, and their median width."""
    for slides in (2, 3, 5, 8):
        for icc in (0.0, 0.1, 0.3):
            cells = []
            for share in SHARES:
                arm = drawn(trials, slides, share, icc, MIDDLING)
                other = drawn(trials, slides, 0.5, icc, MIDDLING)
                low, high = share_limits(arm, [other])
                held = np.mean((low <= share + 1e-12) & (share <= high + 1e-12))
                cells.append(f"{held:.3f} ({np.median(high - low):.2f})")
            yield [str(slides), f"{icc:g}", *cells]


def other_law_rows(trials: int) -> Iterator[list[str]]:
    """Give size and coverage where the test's suppositions are wrong."""
    cases: tuple[tuple[str, tuple[Draw, float, tuple], tuple[Draw, float, tuple]], ...] = (
        ("beta law, as above", (drawn, 0.1, WIDE), (drawn, 0.1, WIDE)),
        ("log odds normal", (logit_normal, 0.1, WIDE), (logit_normal, 0.1, WIDE)),
        ("two kinds of slide", (of_two_kinds, 0.1, WIDE), (of_two_kinds, 0.1, WIDE)),
        ("5-20 spores, control 5-300", (drawn, 0.1, FEW), (drawn, 0.1, WIDE)),
        ("likeness .3, control 0", (drawn, 0.3, MIDDLING), (drawn, 0.0, MIDDLING)),
        ("likeness 0, control .3", (drawn, 0.0, MIDDLING), (drawn, 0.3, MIDDLING)),
    )
    for name, (law, icc, spores), (other_law, other_icc, other_spores) in cases:
        cells = []
        for slides in (3, 5, 8):
            for share, base in ((0.05, 0.05), (0.5, 0.5), (0.5, 0.05), (0.9, 0.1)):
                one = law(trials, slides, share, icc, spores)
                other = other_law(trials, slides, base, other_icc, other_spores)
                held = np.mean(p_of_difference(one, other, share - base) >= 0.05)
                cells.append(f"{1 - held:.3f}" if share == base else f"{held:.3f}")
        yield [name, *(" / ".join(cells[start : start + 4]) for start in (0, 4, 8))]


def equivalence_rows(trials: int) -> Iterator[list[str]]:
    """Give how often "no visible effect" is shown: wrongly at the margin, rightly at none."""
    for slides in (3, 5, 8, 12):
        cells = []
        for icc in (0.0, 0.05, 0.1, 0.3):
            shown = []
            for effect in (0.1, 0.0):
                one = drawn(trials, slides, 0.05 + effect, icc, (100, 100))
                other = drawn(trials, slides, 0.05, icc, (100, 100))
                within = one.share - other.share
                near = (p_of_difference(one, other, -0.1) < 0.1) & (within > -0.1)
                far = (p_of_difference(one, other, 0.1) < 0.1) & (within < 0.1)
                shown.append(np.mean(near & far))
            cells.append(f"{shown[0]:.3f} / {shown[1]:.2f}")
        yield [str(slides), *cells]


def power_rows(trials: int) -> Iterator[list[str]]:
    """Give how often an effect is found, all slides with the same number of spores."""
    for base, share in ((0.05, 0.25), (0.05, 0.5), (0.1, 0.3), (0.02, 0.1)):
        for icc in (0.0, 0.05, 0.1, 0.2):
            cells = []
            for slides in (3, 4, 5, 6, 8):
                cells.append(f"{_power(trials, slides, base, share, icc, (50, 50)):.2f}")
            yield [f"{base} to {share}", f"{icc:g}", *cells]


def plan_rows(trials: int) -> Iterator[list[str]]:
    """Give what a plan for a power of 0.8 comes to in trials drawn anew."""
    for base, effect in ((0.05, 0.2), (0.05, 0.4), (0.1, 0.3)):
        for icc in (0.02, 0.1, 0.3):
            supposed = Supposed(base, effect, icc, 60)
            slides, promised = slides_for(supposed, trials=trials)
            by_formula = slides_by_formula(base, base + effect, icc, 60)
            if slides is None:
                yield [f"{base} to {base + effect:g}", f"{icc:g}", str(by_formula), "none"]
                continue
            found = [
                _power(trials, number, base, base + effect, icc, spores)
                for number, spores in (
                    (by_formula, (60, 60)),
                    (slides, (60, 60)),
                    (slides, (21, 130)),
                )
            ]
            yield [
                f"{base} to {base + effect:g}",
                f"{icc:g}",
                f"{by_formula}: {found[0]:.2f}",
                f"{slides}: {promised:.2f}",
                f"{found[1]:.2f}",
                f"{found[2]:.2f}",
            ]


def _power(
    trials: int, slides: int, base: float, share: float, icc: float, spores: tuple[int, int]
) -> float:
    arms = [drawn(trials, slides, one, icc, spores) for one in (share, base)]
    return float(np.mean(p_of_difference(*arms) < 0.05))


def main() -> None:
    """Print all tables."""
    reading = argparse.ArgumentParser(description=__doc__)
    reading.add_argument("--trials", type=int, default=10_000, help="simulated trials of a cell")
    reading.add_argument("--slow", type=int, default=200, help="of tests fitted one by one")
    given = reading.parse_args()
    trials = given.trials
    pairs = [f"{base} to {share}" for base, share in PAIRS]
    table(
        "No effect taken for one",
        ["slides", *(f"likeness {icc:g}" for icc in LIKENESS)],
        size_rows(trials),
    )
    names = ["ours", "Welch", "arcsine t", "weighted by spores", "naive", "beta-binomial"]
    table(
        "Tests that were tried",
        ["slides", "likeness", "shares", "spores of arm", *names, "permutation"],
        rival_rows(trials, given.slow),
    )
    for words, spores in (("5 to 300", WIDE), ("30 to 150", MIDDLING)):
        table(
            f"Limits of effect / of Abbott's efficacy, {words} spores a slide",
            ["slides", "likeness", *pairs],
            coverage_rows(trials, spores),
        )
    table(
        "Limits of an arm's own share (their width)",
        ["slides", "likeness", *(f"share {share:g}" for share in SHARES)],
        share_rows(trials),
    )
    table(
        "Where suppositions are wrong",
        ["slides of an arm", "3 slides", "5 slides", "8 slides"],
        other_law_rows(trials),
    )
    table(
        "Equivalence shown at a difference of the margin / of nothing",
        ["slides", *(f"likeness {icc:g}" for icc in (0.0, 0.05, 0.1, 0.3))],
        equivalence_rows(trials),
    )
    table(
        "Power",
        ["shares", "likeness", *(f"{slides} slides" for slides in (3, 4, 5, 6, 8))],
        power_rows(trials),
    )
    heads = ["by formula", "planned", "came to", "with 21 to 130 spores"]
    table("Power against plan", ["shares", "likeness", *heads], plan_rows(trials))


if __name__ == "__main__":
    main()
