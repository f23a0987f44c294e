"""Specks that stay in place in every photo: they are on the lens or the sensor, not on the tape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.tape.guesses import patches
from sporecount.tape.view import View

#: A landmark at this distance, um, that looks this much alike is in the same place.
_SAME_PLACE_UM, _ALIKE = 5.0, 0.5

#: Two photos with at least this share in place may be the same view, which is no dirt.
_SAME_VIEW = 0.8

#: Share of the other photos, and least number, in which a speck must be in place.
_OF_OTHERS, _LEAST_OTHERS = 0.4, 2


def without_dirt(views: Sequence[View]) -> tuple[list[View], int]:
    """Drop landmarks that lie in the same place of most photos.

    Parameters
    ----------
    views : sequence of View
        Different photos of one tape. With fewer than three nothing can be said.

    Returns
    -------
    views : list of View
        The same, with fewer landmarks.
    specks : int
        Most landmarks dropped from a photo.
    """
    shares, hits = _in_place(views)
    n = len(views)
    if n < 1 + _LEAST_OTHERS:
        return list(views), 0
    counted = ~np.eye(n, dtype=bool)
    same_view = (np.maximum(shares, shares.T) >= _SAME_VIEW) & counted
    # Where all photos are alike, all of them show the same dirt, or the same view: no
    # more than half the pairs of a session are repeats.
    if same_view.sum() <= counted.sum() / 2 or n < 4:
        counted &= ~same_view
    dirty = []
    for number, view in enumerate(views):
        others = int(counted[number].sum())
        seen = hits[number][counted[number]].sum(axis=0) if others else 0
        dirt = np.asarray(seen >= max(_LEAST_OTHERS, _OF_OTHERS * others))
        dirt = np.broadcast_to(dirt, (len(view.landmarks_um),))
        dirty.append(view.landmarks_um[dirt])
    specks = max(len(places) for places in dirty)
    # A blurred speck has its landmarks a little aside in some photos.
    everywhere = cKDTree(np.concatenate(dirty)) if specks else None
    if everywhere is None:
        return list(views), 0
    return [
        replace(
            view,
            landmarks_um=view.landmarks_um[
                np.asarray(everywhere.query(view.landmarks_um)[0]) > _SAME_PLACE_UM
            ],
        )
        for view in views
    ], specks


def _in_place(
    views: Sequence[View],
) -> tuple[NDArray[np.float64], list[NDArray[np.bool_]]]:
    """Return what share of each photo's landmarks is in place in each other, and which."""
    n = len(views)
    looks = [patches(view) for view in views]
    trees = [cKDTree(view.landmarks_um) if len(view.landmarks_um) else None for view in views]
    shares = np.zeros((n, n))
    hits = [np.zeros((n, len(view.landmarks_um)), bool) for view in views]
    for i, view in enumerate(views):
        for j, tree in enumerate(trees):
            if i == j or tree is None or not len(view.landmarks_um):
                continue
            query = tree.query(view.landmarks_um, distance_upper_bound=1.001 * _SAME_PLACE_UM)
            away, nearest = map(np.asarray, query)
            near = away <= _SAME_PLACE_UM
            alike = (looks[i][near] * looks[j][nearest[near]]).sum(axis=1) >= _ALIKE
            hits[i][j, np.flatnonzero(near)[alike]] = True
            shares[i, j] = hits[i][j].mean()
    return shares, hits
