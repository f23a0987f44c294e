"""The test that forgets the slide, kept beside the honest one to show the difference."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.mean_share import Clusters


def naive_p(arm: Clusters, other: Clusters) -> NDArray[np.float64]:
    """Return the p of the usual chi-square test with every spore a trial of its own.

    Takes many trials at once: slides lie along the last axis.

    Examples
    --------
    >>> one = Clusters(np.array([142.0]), np.array([158.0]))
    >>> other = Clusters(np.array([112.0]), np.array([145.0]))
    >>> round(float(naive_p(one, other)), 5)
    0.00285
    """
    from scipy.stats import chi2

    (a, m), (b, n) = ((c.events.sum(-1), c.sizes.sum(-1)) for c in (arm, other))
    common = (a + b) / (m + n)
    variance = common * (1 - common) * (1 / m + 1 / n)
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = np.where(variance > 0, (a / m - b / n) ** 2 / variance, 0.0)
    return np.asarray(chi2.sf(statistic, 1))
