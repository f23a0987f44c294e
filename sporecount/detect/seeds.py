"""Seeds: what a candidate step hands on, whichever candidate step it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Seeds:
    """Places where a spore may be, with a rough idea of its shape.

    Attributes
    ----------
    xy_px : ndarray, shape (k, 2), float64
        Centres in photo pixels.
    length_um, width_um : ndarray, shape (k,), float64
        Rough extents along and across the long axis.
    angle_deg : ndarray, shape (k,), float64
        Long axis, from +x towards +y, in [0, 180).
    """

    xy_px: NDArray[np.float64]
    length_um: NDArray[np.float64]
    width_um: NDArray[np.float64]
    angle_deg: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.xy_px)

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Seeds:
        """Return the chosen seeds, in the order chosen."""
        return Seeds(
            self.xy_px[chosen],
            self.length_um[chosen],
            self.width_um[chosen],
            self.angle_deg[chosen],
        )


def no_seeds() -> Seeds:
    """Return seeds without any entry.

    Examples
    --------
    >>> len(no_seeds())
    0
    """
    nothing = np.zeros(0)
    return Seeds(np.zeros((0, 2)), nothing, nothing.copy(), nothing.copy())
