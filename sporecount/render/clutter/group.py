"""Like objects on one patch: where they lie, and the window that each is painted in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, make_canvas
from sporecount.render.clutter.paint import frame_to_px

#: Greatest optical density that may heap up.
DARKEST = 2.4
#: Attempts to find a free place beside a neighbour.
TRIES = 6


@dataclass(frozen=True, eq=False)
class Window:
    """The part of a patch about one object, in that object's own frame.

    Attributes
    ----------
    rows, columns : slice
        Where it lies on the fine grid.
    u_um, v_um : ndarray, float32
        Position of each fine pixel along and across the object.
    step_um : float
        Side of a fine pixel.
    """

    rows: slice
    columns: slice
    u_um: Image
    v_um: Image
    step_um: float

    def lay(self, density: Image, layer: Image) -> None:
        """Add a layer (rows, columns, 3) to a density that is being drawn."""
        part = density[self.rows, self.columns]
        np.minimum(part + layer, np.float32(DARKEST), out=part)


def window_at(
    canvas: Canvas, place_um: NDArray[np.float64], turn: float, reach_um: float
) -> Window:
    """Return the window of an object at a place, turned, that reaches so far from its middle."""
    x, y = frame_to_px(canvas, place_um.reshape(1, 2))[0]
    reach = reach_um / canvas.step_um + 2.0
    rows = slice(max(int(y - reach), 0), max(int(y + reach) + 2, 0))
    columns = slice(max(int(x - reach), 0), max(int(x + reach) + 2, 0))
    du = canvas.u_um[rows, columns] - np.float32(place_um[0])
    dv = canvas.v_um[rows, columns] - np.float32(place_um[1])
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    return Window(rows, columns, cos * du + sin * dv, cos * dv - sin * du, canvas.step_um)


def length_of(u: Image, v: Image) -> Image:
    """Return the lengths of vectors; unlike OpenCV's, the same wherever they lie in memory."""
    return np.sqrt(u * u + v * v)


def loose_group(
    rng: np.random.Generator, radii_um: NDArray[np.float64], gap: float
) -> NDArray[np.float64]:
    """Return places, shape (n, 2), of discs that each lie beside one laid before.

    ``gap`` is the mean distance of neighbours' edges as a share of their radii; below 0
    they overlap.
    """
    places = np.zeros((len(radii_um), 2))
    for i in range(1, len(radii_um)):
        for _ in range(TRIES):
            host, angle = int(rng.integers(0, i)), rng.uniform(0.0, 2 * np.pi)
            share = 1.0 + gap * rng.uniform(0.6, 1.4)
            away = (radii_um[i] + radii_um[host]) * share
            places[i] = places[host] + away * np.array([np.cos(angle), np.sin(angle)])
            far = np.hypot(*(places[:i] - places[i]).T)
            if (far >= (radii_um[:i] + radii_um[i]) * min(share, 1.0) * 0.92).all():
                break
    return places - (places.min(axis=0) + places.max(axis=0)) / 2


def canvas_around(
    rng: np.random.Generator,
    um_per_px: float,
    places_um: NDArray[np.float64],
    reach_um: float,
    angle: float | None = 0.0,
) -> tuple[Canvas, Image]:
    """Return a canvas that holds objects at centred places, and an empty density for it.

    A group whose members lie and point anywhere is not turned once more, since that would
    only leave more of the patch empty; ``angle`` None turns it at random.
    """
    half = np.abs(places_um).max(axis=0) + reach_um
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]), angle=angle)
    return canvas, np.zeros((*canvas.shape, 3), np.float32)
