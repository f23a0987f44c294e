"""The background light: what the camera would have seen with nothing on the glass."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.density import log_counts

#: Optical density within which a pixel still counts as clear background.
_CLEAR_DENSITY = 0.045
#: Highest order of the smooth surface that carries the light across wide dark objects.
_ORDER = 4
#: Pixels used for the surface; more make it no better (measured).
_SAMPLES = 6_000
#: Size over which the light may depart from the surface, um.
_LOCAL_SIGMA_UM = 110.0
#: Share of clear background below which the surface alone is trusted.
_LOCAL_PRIOR = 0.08


def log_light(
    picture: NDArray[np.uint8], sample: NDArray[np.bool_], um_per_px: float
) -> NDArray[np.float32]:
    """Estimate the background light of a coarse picture.

    A smooth surface is fitted to the logarithm of each channel from above, so that
    dark objects over more than half of the sample do not pull it down; what the
    surface cannot follow (a lamp's image, fringes, the fall-off at a rim) is added
    from the clear pixels around each place.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns, 3), uint8
        The photo, a few um per pixel.
    sample : ndarray, shape (rows, columns), bool
        Pixels that may be used: no surround, no text.
    um_per_px : float
        Scale of ``picture``.

    Returns
    -------
    ndarray, shape (rows, columns, 3), float32
        Base-10 logarithm of the light, in units of ``picture``.
    """
    log_picture = log_counts(picture)
    if not sample.any():
        return np.broadcast_to(log_picture.max(axis=(0, 1)), picture.shape).copy()
    surface = _surface(log_picture, sample)
    return surface + _local_departure(log_picture - surface, sample, um_per_px)


def _surface(log_picture: NDArray[np.float32], sample: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Fit a polynomial in x and y to each channel's background, in the logarithm."""
    rows, columns = sample.shape
    step = max(int(np.sqrt(sample.sum() / _SAMPLES)), 1)
    picked = sample[::step, ::step]
    # Each channel in unbroken memory: what follows works on whole channels.
    values = np.ascontiguousarray(log_picture[::step, ::step].transpose(2, 0, 1), np.float64)
    # Several times as quick as taking the places of the mask.
    seen = values.reshape(3, -1).take(np.flatnonzero(picked), axis=1)
    if seen.shape[1] < 200:
        return np.broadcast_to(np.percentile(seen, 90, axis=1), log_picture.shape).astype(
            np.float32
        )
    half = max(rows, columns) / 2.0
    v, u = ((np.arange(side) - side / 2.0) / half for side in (rows, columns))
    surface = _polynomial(_fit_from_above(values, picked, v[::step], u[::step]), v, u)
    low, high = np.percentile(seen, (0.1, 99.9), axis=1)[..., None, None]
    surface = np.clip(surface, low - 0.1, high + 0.05)
    return np.ascontiguousarray(surface.transpose(1, 2, 0), np.float32)


def _polynomial(
    factors: NDArray[np.float64], v: NDArray[np.float64], u: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the values on the grid of ``v`` and ``u``: factor (k, j, i) belongs to v^j u^i."""
    powers_v, powers_u = (np.vander(t, _ORDER + 1, increasing=True) for t in (v, u))
    return np.asarray(powers_v @ factors @ powers_u.T, np.float64)


def _fit_from_above(
    values: NDArray[np.float64],
    picked: NDArray[np.bool_],
    v: NDArray[np.float64],
    u: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Least squares on the background only, found by leaning to the brighter side first.

    Parameters
    ----------
    values : ndarray, shape (k, rows, columns)
        What the polynomials are fitted to.
    picked : ndarray, shape (rows, columns), bool
        Pixels that may be used.
    v, u : ndarray, shape (rows,) and (columns,)
        Coordinates of the rows and columns.

    Returns
    -------
    ndarray, shape (k, _ORDER + 1, _ORDER + 1)
        Factors for `_polynomial`.
    """
    j, i = (np.array([(j, i) for i in range(_ORDER + 1) for j in range(_ORDER + 1 - i)])).T
    # High orders are held back a little, so that a corner without background stays sane.
    ridge = np.diag(1e-6 * 3.0 ** (i + j)) * np.count_nonzero(picked)
    powers_v, powers_u = (np.vander(t, 2 * _ORDER + 1, increasing=True) for t in (v, u))
    low_v, low_u = powers_v[:, : _ORDER + 1], powers_u[:, : _ORDER + 1]

    def at_pixels(factors: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(low_v @ factors @ low_u.T, np.float64)

    def solve(weight: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
        # On a grid every sum of products of terms is one of these few sums over powers.
        sums = powers_v.T @ weight @ powers_u
        right = low_v.T @ (weight * wanted) @ low_u
        solved = np.linalg.solve(sums[j[:, None] + j, i[:, None] + i] + ridge, right[:, j, i].T)
        factors = np.zeros_like(right)
        factors[:, j, i] = solved.T
        return factors

    mean = values.mean(axis=0, keepdims=True)
    weight = picked * (mean[0] >= np.percentile(mean[0][picked], 40)).astype(np.float64)
    for _ in range(12):
        before = weight
        excess = (mean - at_pixels(solve(weight, mean)))[0]
        weight = np.where(excess > 0, 1.0, 0.02) * (picked & (excess < 0.3))
        if np.array_equal(weight, before):
            break
    factors = solve(weight, values)
    # Leaning overshoots by the noise; from here on only pixels near the fit have a say.
    for tolerance in (0.10, 0.07, _CLEAR_DENSITY, _CLEAR_DENSITY):
        near = picked & (np.abs(values - at_pixels(factors)).max(axis=0) < tolerance)
        if near.sum() < 0.05 * np.count_nonzero(picked):
            break
        factors = solve(near.astype(np.float64), values)
    return factors


def _local_departure(
    departure: NDArray[np.float32], sample: NDArray[np.bool_], um_per_px: float
) -> NDArray[np.float32]:
    """Average the clear pixels' departure from the surface around each place."""
    sigma_px = _LOCAL_SIGMA_UM / um_per_px
    step = max(int(sigma_px / 4.0), 1)
    local = np.zeros_like(departure)
    size = (departure.shape[1], departure.shape[0])
    colours = cv2.split(departure)
    for tolerance in (0.12, _CLEAR_DENSITY):
        red, green, blue = cv2.split(cv2.absdiff(departure, local))
        clear = sample & (cv2.max(cv2.max(red, green), blue) < tolerance)
        weight = clear.astype(np.float32)
        total = cv2.merge([weight, *(weight * colour for colour in colours)])
        small = cv2.resize(
            total,
            (max(size[0] // step, 1), max(size[1] // step, 1)),
            interpolation=cv2.INTER_AREA,
        )
        small = cv2.GaussianBlur(small, (0, 0), sigma_px / step, borderType=cv2.BORDER_REFLECT)
        mean = small[..., 1:] / (small[..., :1] + _LOCAL_PRIOR * 0.25)
        local = np.asarray(cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR), np.float32)
    return local
