"""Whether groups of clusters differ: clusters change groups, and never single units."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.clusters import Array, Group

#: Up to this many ways to share out the clusters, all are gone through.
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
        Share of the ways in which the clusters could have fallen into the groups that
        show a difference as large as the one seen, or larger.
    least_p : float
        Smallest ``p`` that so few clusters could have given, whatever they show.
    ways : int
        Ways gone through.
    is_exact : bool
        All ways, and not a random draw of them.
    """

    p: float
    least_p: float
    ways: int
    is_exact: bool


def permute_clusters(groups: Sequence[Group], alternative: str = "two-sided") -> Permutation:
    """Test whether groups of clusters have the same share of events.

    The hypothesis is that it made no difference to a cluster which group it was in.
    With clusters of one unit and two groups this is Fisher's exact test; the less
    the clusters number, the less it can find.

    Parameters
    ----------
    groups : sequence of Group
        Two or more, each with at least one cluster.
    alternative : {"two-sided", "greater"}
        ``greater``: more events in the first of two groups.

    Returns
    -------
    Permutation

    Examples
    --------
    >>> from sporecount.statistics.clusters import group
    >>> tea = [group([1, 1, 1, 0], [1] * 4), group([1, 0, 0, 0], [1] * 4)]
    >>> round(permute_clusters(tea, "greater").p, 4)
    0.2429
    """
    events = np.concatenate([one.events for one in groups])
    sizes = np.concatenate([one.sizes for one in groups])
    counts = [len(one.sizes) for one in groups]
    measure = _one_sided if alternative == "greater" else _two_sided
    labels = np.repeat(np.arange(len(groups)), counts)
    ways = math.factorial(len(events))
    for count in counts:
        ways //= math.factorial(count)
    exact = len(groups) == 2 and ways <= MOST_WAYS
    seen = float(_measures(events, sizes, labels[None, :], len(groups), measure)[0])
    every = _all_ways(counts) if exact else _drawn(labels)
    values = np.concatenate(
        [_measures(events, sizes, some, len(groups), measure) for some in every]
    )
    more = int((values >= seen - _SAME).sum())
    ends = int((values >= values.max() - _SAME).sum())
    if exact:
        return Permutation(more / ways, ends / ways, ways, True)
    return Permutation((more + 1) / (_DRAWS + 1), 1 / (_DRAWS + 1), _DRAWS, False)


Measure = Callable[[Array, Array], Array]


def _measures(
    events: Array, sizes: Array, labels: NDArray[np.int_], groups: int, measure: Measure
) -> Array:
    """Return the statistic of each row of labels, shape (ways, clusters)."""
    of_group = labels[:, None, :] == np.arange(groups)[None, :, None]
    return measure(of_group @ events, of_group @ sizes)


def _two_sided(events: Array, sizes: Array) -> Array:
    """Return the weighted variance of the groups' shares; for two groups it rises with |diff|."""
    if events.shape[1] == 2:
        shares = events / sizes
        return np.asarray(np.abs(shares[:, 0] - shares[:, 1]))
    overall = events.sum(1, keepdims=True) / sizes.sum(1, keepdims=True)
    return np.asarray((sizes * (events / sizes - overall) ** 2).sum(1))


def _one_sided(events: Array, sizes: Array) -> Array:
    shares = events / sizes
    return np.asarray(shares[:, 0] - shares[:, 1])


def _all_ways(counts: Sequence[int]) -> Iterator[NDArray[np.int_]]:
    clusters = sum(counts)
    labels = np.ones((math.comb(clusters, counts[0]), clusters), np.int_)
    for row, chosen in enumerate(combinations(range(clusters), counts[0])):
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
