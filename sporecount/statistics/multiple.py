"""Several tests at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def holm(values: Sequence[float]) -> list[float]:
    """Return p of several tests, adjusted so that none of them misleads too often [holm1979].

    Parameters
    ----------
    values : sequence of float
        p of each test.

    Returns
    -------
    list of float
        In the same order; at most 1.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    p = np.asarray(values, float)
    order = np.argsort(p, kind="stable")
    raised = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(raised, 1.0)
    return [float(one) for one in adjusted]
