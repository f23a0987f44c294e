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
#: Pixels taken at a time where the fit's products are summed: small products run on the
#: caller's own thread, and a pool of threads would take longer to wake than to multiply.
_CHUNK = 1_000
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
    y, x = np.nonzero(picked)
    values = log_picture[::step, ::step][picked].astype(np.float64)
    if len(values) < 200:
        return np.broadcast_to(np.percentile(values, 90, axis=0), log_picture.shape).astype(
            np.float32
        )
    terms = [(i, j) for i in range(_ORDER + 1) for j in range(_ORDER + 1 - i)]
    half = max(rows, columns) / 2.0
    u, v = (x * step - columns / 2.0) / half, (y * step - rows / 2.0) / half
    powers_u, powers_v = (np.vander(t, _ORDER + 1, increasing=True) for t in (u, v))
    basis = np.stack([powers_u[:, i] * powers_v[:, j] for i, j in terms], axis=1)
    # High orders are held back a little, so that a corner without background stays sane.
    ridge = np.diag([1e-6 * 3.0 ** (i + j) for i, j in terms]) * len(values)
    clear = _fit_from_above(basis, values, ridge)
    uu = (np.arange(columns) - columns / 2.0) / half
    vv = (np.arange(rows) - rows / 2.0) / half
    surface = np.empty(log_picture.shape, np.float32)
    for channel in range(3):
        table = np.zeros((_ORDER + 1, _ORDER + 1))
        for (i, j), factor in zip(terms, clear[:, channel]):
            table[j, i] = factor
        surface[..., channel] = np.polynomial.polynomial.polygrid2d(vv, uu, table)
    low, high = np.percentile(values, (0.1, 99.9), axis=0)
    return np.clip(surface, (low - 0.1).astype(np.float32), (high + 0.05).astype(np.float32))


def _fit_from_above(
    basis: NDArray[np.float64], values: NDArray[np.float64], ridge: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Least squares on the background only, found by leaning to the brighter side first."""

    def solve(weight: NDArray[np.float64]) -> NDArray[np.float64]:
        matrix, right = ridge.copy(), np.zeros((basis.shape[1], values.shape[1]))
        for start in range(0, len(values), _CHUNK):
            part = slice(start, start + _CHUNK)
            weighted = basis[part] * weight[part, None]
            matrix += basis[part].T @ weighted
            right += weighted.T @ values[part]
        return np.asarray(np.linalg.solve(matrix, right), np.float64)

    mean = values.mean(axis=1)
    weight = (mean >= np.percentile(mean, 40)).astype(np.float64)
    factors = solve(weight)
    for _ in range(12):
        excess = (values - basis @ factors).mean(axis=1)
        factors = solve(np.where(excess > 0, 1.0, 0.02) * (excess < 0.3))
    # Leaning overshoots by the noise; from here on only pixels near the fit have a say.
    for tolerance in (0.10, 0.07, _CLEAR_DENSITY, _CLEAR_DENSITY):
        excess = np.abs(values - basis @ factors).max(axis=1)
        near = excess < tolerance
        if near.sum() < 0.05 * len(values):
            break
        factors = solve(near.astype(np.float64))
    return factors


def _local_departure(
    departure: NDArray[np.float32], sample: NDArray[np.bool_], um_per_px: float
) -> NDArray[np.float32]:
    """Average the clear pixels' departure from the surface around each place."""
    sigma_px = _LOCAL_SIGMA_UM / um_per_px
    step = max(int(sigma_px / 4.0), 1)
    local = np.zeros_like(departure)
    size = (departure.shape[1], departure.shape[0])
    for tolerance in (0.12, _CLEAR_DENSITY):
        off = departure - local
        red, green, blue = cv2.split(np.abs(off))
        clear = sample & (cv2.max(cv2.max(red, green), blue) < tolerance)
        weight = clear.astype(np.float32)
        total = cv2.merge([weight, *(weight * departure[..., c] for c in range(3))])
        small = cv2.resize(
            total,
            (max(size[0] // step, 1), max(size[1] // step, 1)),
            interpolation=cv2.INTER_AREA,
        )
        small = cv2.GaussianBlur(small, (0, 0), sigma_px / step, borderType=cv2.BORDER_REFLECT)
        mean = small[..., 1:] / (small[..., :1] + _LOCAL_PRIOR * 0.25)
        local = np.asarray(cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR), np.float32)
    return local
