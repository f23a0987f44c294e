"""Which share of the tape's spores was found, and how unsure that is.

The share found is ``q = r * p``: a share p of the spores lies where one looked, and
the detector finds a share r of those. If spores lay evenly, p would be the examined
share of the area. They lie in clumps: the density of each place is a gamma variable of
shape k, so counts of places follow a negative binomial law. Then p follows, closely, a
beta law with the examined share as its mean.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import DetectorRates
from sporecount.literature import LEAST_CLUMPING_K
from sporecount.load.fields import Seen
from sporecount.settings import LoadSettings

#: Nodes over ln k, over p and over r, and cells of the common grid of q.
_K_NODES, _P_NODES, _R_NODES, _CELLS = 21, 40, 16, 160

#: How far out the nodes reach, in standard deviations of a normal law.
_REACH_K, _REACH = 2.5, 3.8

#: Shares below and above this make no difference.
_LEAST_Q, _MOST_Q = 1e-8, 1.0 - 1e-9


class Clumping(NamedTuple):
    """Possible dispersions k, with their chances before anything was counted."""

    k: NDArray[np.float64]
    chances: NDArray[np.float64]


class Shares(NamedTuple):
    """Possible shares found: the same nodes for each k, with chances of shape (k, nodes)."""

    q: NDArray[np.float64]
    chances: NDArray[np.float64]


class Places(NamedTuple):
    """How many places with a density of their own were seen, and how many were not."""

    seen: float
    unseen: float


def clumping(settings: LoadSettings) -> Clumping:
    """Return the prior over the dispersion k: log-normal, cut off at ``LEAST_CLUMPING_K``.

    Examples
    --------
    >>> clumping(LoadSettings(clumping_k=2.0, clumping_spread=0.0)).k.tolist()
    [2.0]
    """
    if settings.clumping_spread == 0.0:
        return Clumping(np.array([settings.clumping_k]), np.array([1.0]))
    steps, chances = _normal_nodes(_K_NODES, _REACH_K)
    k = settings.clumping_k * np.exp(settings.clumping_spread * steps)
    kept = (k >= LEAST_CLUMPING_K) | (k == k.max())
    return Clumping(k[kept], chances[kept] / chances[kept].sum())


def places(seen: Seen, patch_mm2: float) -> Places:
    """Return the numbers of places seen and unseen.

    A group of fields smaller than a patch is one place; a larger one is as many as the
    patches it covers. There are never more places than the tape has patches.

    Examples
    --------
    >>> table = Seen(100.0, np.array([1.0, 1.0, 12.0]), np.array([0, 0, 0]), 3)
    >>> places(table, 4.0)
    Places(seen=5.0, unseen=21.5)
    """
    own = np.maximum(seen.areas_mm2 / patch_mm2, 1.0).sum()
    most = max(seen.tape_mm2 / patch_mm2, 1.0)
    return Places(float(min(own, most)), seen.unseen_mm2 / patch_mm2)


def shares(seen: Seen, rates: DetectorRates, k: NDArray[np.float64], patch_mm2: float) -> Shares:
    """Return the law of the share of the tape's spores that was found, for each k."""
    examined, p_chances = _examined_nodes(seen, k, patch_mm2)
    recall, r_chances = _recall_nodes(rates)
    q = np.clip(examined[:, :, None] * recall, _LEAST_Q, _MOST_Q)
    weights = np.broadcast_to(p_chances[:, None] * r_chances, q.shape)
    return _on_common_grid(q.reshape(len(k), -1), weights.reshape(len(k), -1))


def _examined_nodes(
    seen: Seen, k: NDArray[np.float64], patch_mm2: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return nodes of p, shape (k, nodes), and their chances."""
    from scipy.special import betaincinv, ndtr

    share, (here, there) = seen.share, places(seen, patch_mm2)
    if there <= 1e-12:
        return np.ones((len(k), 1)), np.ones(1)
    # Relative variances of the seen and the unseen part add up; a beta law with the same
    # variance has this many effective places.
    effective = 1.0 / (share * (1.0 - share) * (1.0 / here + 1.0 / there))
    steps, chances = _normal_nodes(_P_NODES, _REACH)
    a, b = k[:, None] * effective * share, k[:, None] * effective * (1.0 - share)
    nodes = betaincinv(a, b, ndtr(steps))
    even = a + b > 1e7  # beyond this the beta law is a point, and its inverse is slow
    return np.where(even, share, nodes), chances


def _recall_nodes(rates: DetectorRates) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    from scipy.special import betaincinv, ndtr

    if rates.recall_sd == 0.0 or rates.recall_mean == 1.0:
        return np.array([rates.recall_mean]), np.ones(1)
    steps, chances = _normal_nodes(_R_NODES, _REACH)
    return betaincinv(*rates.recall_beta, ndtr(steps)), chances


def _normal_nodes(number: int, reach: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    steps = np.linspace(-reach, reach, number)
    chances = np.exp(-0.5 * steps**2)
    return steps, chances / chances.sum()


def _on_common_grid(q: NDArray[np.float64], weights: NDArray[np.float64]) -> Shares:
    """Spread weights over grid points of equal distance in the logit, keeping their mean."""
    logit = np.log(q) - np.log1p(-q)
    low, high = float(logit.min()), float(logit.max())
    step = max((high - low) / (_CELLS - 1), 1e-9)
    place = (logit - low) / step
    left = np.minimum(place.astype(np.int64), _CELLS - 2)
    right = place - left
    rows = np.arange(len(q))[:, None] * _CELLS
    flat = np.bincount(
        np.concatenate([(rows + left).ravel(), (rows + left + 1).ravel()]),
        weights=np.concatenate([(weights * (1.0 - right)).ravel(), (weights * right).ravel()]),
        minlength=len(q) * _CELLS,
    )
    chances = flat.reshape(len(q), _CELLS)
    used = chances.sum(axis=0) > 1e-9
    nodes = 1.0 / (1.0 + np.exp(-(low + step * np.arange(_CELLS))))
    kept = chances[:, used]
    return Shares(nodes[used], kept / kept.sum(axis=1, keepdims=True))
