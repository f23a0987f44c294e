"""Which photos of a tape are compared, likely neighbours first: not every two need be.

Photos that follow each other come first, then those whose reduced pictures correlate. Two
photos that are in one group already, through others, are not compared: where they lie to
each other follows. So the work grows with the number of photos and not with its square,
unless they lie apart: then each two are compared, as none of them may hide an overlap.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from itertools import combinations

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.settings import TapeSettings
from sporecount.tape.guesses import patches
from sporecount.tape.hidden import Hidden
from sporecount.tape.register import (
    IN_PLACE_UM,
    OPEN,
    Registration,
    attempt,
    in_place,
    told_apart,
)
from sporecount.tape.view import View

#: Registrations by the photos and settings they were made from.
Known = dict[Hashable, Registration]

#: Two photos, by number, the lower first.
Pair = tuple[int, int]

#: With this share of the landmarks in place, two photos may be one view.
_MAY_BE_STILL = 0.5

#: Longest side of the reduced pictures that are correlated, pixels.
_SIDE_PX = 128


class Pairs:
    """Compares photos of one tape, each two at most once.

    Parameters
    ----------
    views : sequence of View
        The photos.
    settings : TapeSettings
        What is certain.
    known : dict
        Registrations of earlier calls, to which new ones are added.
    """

    def __init__(self, views: Sequence[View], settings: TapeSettings, known: Known) -> None:
        self._views, self._settings, self._known = views, settings, known
        self._looks = [patches(view) for view in views]
        # What is taken for dirt changes as photos come in, and with it the landmarks.
        self._keys = [(v.photo, v.sha256, hash(v.landmarks_um.tobytes())) for v in views]

    def attempt(self, i: int, j: int) -> Registration:
        """Return what an attempt to join two photos gives."""
        key = (self._keys[i], self._keys[j], self._settings)
        if key not in self._known:
            looks = self._looks[i], self._looks[j]
            self._known[key] = attempt(self._views[i], self._views[j], looks, self._settings)
        return self._known[key]

    def compare(
        self,
        tried: dict[Pair, Registration],
        group: NDArray[np.intp] | None,
        progress: Callable[[int, int], None] | None = None,
    ) -> dict[Pair, Registration]:
        """Try to join photos until each two are tried or in one group.

        Parameters
        ----------
        tried : dict
            What was tried before.
        group : ndarray, shape (n,), int, or None
            Group of each photo. With None each two are tried.
        progress : callable, optional
            Called with the number of pairs done and of all pairs.

        Returns
        -------
        dict
            ``tried`` and what was added.
        """
        count = len(self._views)
        found, label = dict(tried), np.arange(count) if group is None else np.array(group)
        still = _still(self._views)
        for done, (i, j) in enumerate(self._in_order(still, label)):
            if (i, j) not in found and (label[i] != label[j] or (i, j) in still):
                one = found[i, j] = self.attempt(i, j)
                # One view may be dirt that stays in place: others have to tell.
                moved = one.pose is not None and not in_place(one.pose, self._views[i].size_um)
                if moved and group is not None:
                    label[label == label[j]] = label[i]
            if progress is not None:
                progress(done + 1, count * (count - 1) // 2)
        return found

    def told_apart(
        self, found: dict[Pair, Registration], group: NDArray[np.intp]
    ) -> dict[Pair, Registration]:
        """Say of photos in different groups what they may hide, and drop the open rest."""
        hidden = Hidden(self._views, self._looks, self._settings.most_angle_deg)
        result = {}
        for i, j in sorted(found, key=lambda pair: (pair[1], pair[0])):
            one = found[i, j]
            if one.status == OPEN and group[i] == group[j]:
                continue
            if one.status == OPEN:
                key = (self._keys[i], self._keys[j], self._settings, "apart")
                if key not in self._known:
                    self._known[key] = told_apart(one, hidden.between(i, j), self._settings)
                one = self._known[key]
            result[i, j] = one
        return dict(sorted(result.items()))

    def _in_order(self, still: set[Pair], label: NDArray[np.intp]) -> Iterator[Pair]:
        """Give every pair, the likeliest first; ``label`` is looked at as it changes."""
        count = len(self._views)
        first = [(i, i + 1) for i in range(count - 1)]
        first += sorted(still - set(first))
        yield from first
        rest = [pair for pair in combinations(range(count), 2) if pair not in set(first)]
        open_ = [(i, j) for i, j in rest if label[i] != label[j]]
        score = _correlations(self._views, open_)
        # Pairs within a group are none to be tried, but are done.
        yield from sorted(rest, key=lambda pair: -score.get(pair, 0.0))


def _still(views: Sequence[View]) -> set[Pair]:
    """Return which photos may be the same view, by landmarks that lie in the same place."""
    trees = [cKDTree(view.landmarks_um) if len(view.landmarks_um) else None for view in views]
    found = set()
    for i, j in combinations(range(len(views)), 2):
        one, other = trees[i], trees[j]
        if one is None or other is None:
            continue
        small, large = sorted((one, other), key=lambda tree: tree.n)
        away, _ = large.query(small.data, distance_upper_bound=IN_PLACE_UM)
        if np.isfinite(away).mean() >= _MAY_BE_STILL:
            found.add((i, j))
    return found


def _correlations(views: Sequence[View], pairs: Sequence[Pair]) -> dict[Pair, float]:
    """Return how clear a peak the phase correlation of two reduced pictures has."""
    if not pairs:
        return {}
    cell = max(max(view.size_um) for view in views) / _SIDE_PX
    shape = (2 * _SIDE_PX, 2 * _SIDE_PX)
    spectra = {n: _spectrum(views[n], cell, shape) for n in sorted({n for p in pairs for n in p})}
    across, down = scipy.fft.rfftfreq(shape[1]), scipy.fft.fftfreq(shape[0])
    soft = np.exp(-0.5 * np.pi**2 * (across[None] ** 2 + down[:, None] ** 2)).astype(np.float32)
    score = {}
    for i, j in pairs:
        both = spectra[i] * spectra[j].conj()
        size = np.abs(both)
        peaks = scipy.fft.irfft2(both / (size + 1e-6 * size.max() + 1e-12) * soft, shape)
        score[i, j] = float(peaks.max() / max(float(peaks.std()), 1e-12))
    return score


def _spectrum(view: View, cell: float, shape: tuple[int, int]) -> NDArray[np.complex64]:
    """Return the spectrum of a photo's texture, without regard to light or dark."""
    rows, columns = (max(1, round(n * view.um_per_px / cell)) for n in view.texture.shape)
    size = (min(columns, _SIDE_PX), min(rows, _SIDE_PX))
    small, mask = (
        np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.float32)
        for part in (np.abs(view.texture), view.examined.astype(np.float32))
    )
    mean = float((small * mask).sum()) / max(float(mask.sum()), 1.0)
    return np.asarray(scipy.fft.rfft2((small - mean) * mask, shape), np.complex64)
