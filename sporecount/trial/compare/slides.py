"""Slides of an arm as they are compared: checked, and those without spores left out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sporecount.statistics.mean_share import Clusters
from sporecount.trial.errors import TrialError


def slides_of(arm: str, broken: ArrayLike, total: ArrayLike) -> tuple[Clusters, int]:
    """Return the slides of an arm that have spores, and how many have none.

    Parameters
    ----------
    arm : str
        Name of the arm, for messages.
    broken : array_like of float, shape (slides,)
        Broken spores of each slide; need not be whole, since pieces are turned into spores.
    total : array_like of float, shape (slides,)
        Spores of each slide, broken ones included.

    Returns
    -------
    tuple of Clusters and int

    Raises
    ------
    TrialError
        Where the two do not go together, or a slide has more broken spores than spores.
    """
    events, sizes = np.asarray(broken, float), np.asarray(total, float)
    if events.ndim != 1 or events.shape != sizes.shape:
        raise TrialError(
            f"arm {arm!r}",
            f"{events.size} numbers of broken spores go with {sizes.size} numbers of spores",
            "give one of each for every slide",
        )
    wrong = ~(np.isfinite(events) & np.isfinite(sizes)) | (events < 0) | (events > sizes + 1e-9)
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        raise TrialError(
            f"arm {arm!r}, slide {at + 1}: {events[at]:g} broken of {sizes[at]:g}",
            "broken spores are numbers from 0 to the number of spores",
            "look the slide's counts over",
        )
    there = sizes > 0
    return Clusters(np.minimum(events, sizes)[there], sizes[there]), int((~there).sum())
