"""Whether groups of broods differ: broods change groups, and never single adults."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.rearing.clusters import Array, Group

#: Up to this many ways to share out the broods, all are gone through.
MOST_WAYS = 20_000
_DRAWS = 9_999
_SEED = 20_260_701

#: Statistics that differ by less are the same but for rounding.
_SAME = 1e-9


class Permutation(NamedTuple):
    """A permutation test.

    Attributes
    ----------
    p : float
        Share of the ways in which the broods could have fallen into the groups that
        show a difference as large as the one seen, or larger.
    least_p : float
        Smallest ``p`` that so few broods could have given, whatever they show.
    ways : int
        Ways gone through.
    is_exact : bool
        All ways, and not a random draw of them.
    """

    p: float
    least_p: float
    ways: int
    is_exact: bool


def permute_broods(groups: Sequence[Group], alternative: str = "two-sided") -> Permutation:
    """Test whether groups of broods have the same share of infected adults.

    The hypothesis is that it made no difference to a brood which group it was in.
    With broods of one adult and two groups this is Fisher's exact test; the less
    the broods number, the less it can find.

    Parameters
    ----------
    groups : sequence of Group
        Two or more, each with at least one brood.
    alternative : {"two-sided", "greater"}
        ``greater``: more infected in the first of two groups.

    Returns
    -------
    Permutation

    Examples
    --------
    >>> from sporecount.rearing.clusters import group
    >>> tea = [group([1, 1, 1, 0], [1] * 4), group([1, 0, 0, 0], [1] * 4)]
    >>> round(permute_broods(tea, "greater").p, 4)
    0.2429
    """
    infected = np.concatenate([one.infected for one in groups])
    adults = np.concatenate([one.adults for one in groups])
    sizes = [len(one.adults) for one in groups]
    measure = _one_sided if alternative == "greater" else _two_sided
    labels = np.repeat(np.arange(len(groups)), sizes)
    ways = math.factorial(len(infected))
    for size in sizes:
        ways //= math.factorial(size)
    exact = len(groups) == 2 and ways <= MOST_WAYS
    seen = float(_measures(infected, adults, labels[None, :], len(groups), measure)[0])
    every = _all_ways(sizes) if exact else _drawn(labels)
    values = np.concatenate(
        [_measures(infected, adults, some, len(groups), measure) for some in every]
    )
    more = int((values >= seen - _SAME).sum())
    ends = int((values >= values.max() - _SAME).sum())
    if exact:
        return Permutation(more / ways, ends / ways, ways, True)
    return Permutation((more + 1) / (_DRAWS + 1), 1 / (_DRAWS + 1), _DRAWS, False)


Measure = Callable[[Array, Array], Array]


def _measures(
    infected: Array, adults: Array, labels: NDArray[np.int_], groups: int, measure: Measure
) -> Array:
    """Return the statistic of each row of labels, shape (ways, broods)."""
    of_group = labels[:, None, :] == np.arange(groups)[None, :, None]
    return measure(of_group @ infected, of_group @ adults)


def _two_sided(infected: Array, adults: Array) -> Array:
    """Return the weighted variance of the groups' shares; for two groups it rises with |diff|."""
    if infected.shape[1] == 2:
        shares = infected / adults
        return np.asarray(np.abs(shares[:, 0] - shares[:, 1]))
    overall = infected.sum(1, keepdims=True) / adults.sum(1, keepdims=True)
    return np.asarray((adults * (infected / adults - overall) ** 2).sum(1))


def _one_sided(infected: Array, adults: Array) -> Array:
    shares = infected / adults
    return np.asarray(shares[:, 0] - shares[:, 1])


def _all_ways(sizes: Sequence[int]) -> Iterator[NDArray[np.int_]]:
    broods = sum(sizes)
    labels = np.ones((math.comb(broods, sizes[0]), broods), np.int_)
    for row, chosen in enumerate(combinations(range(broods), sizes[0])):
        labels[row, list(chosen)] = 0
    yield from np.array_split(labels, max(1, labels.size // 100_000))


def _drawn(labels: NDArray[np.int_]) -> Iterator[NDArray[np.int_]]:
    rng = np.random.default_rng(_SEED)
    left = _DRAWS
    at_once = max(1, 200_000 // len(labels))
    while left:
        some = min(at_once, left)
        yield rng.permuted(np.tile(labels, (some, 1)), axis=1)
        left -= some
