"""Litter that a search network takes for spores: what the closer look must learn to turn down."""

from __future__ import annotations

from pathlib import Path
from typing import IO

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn.functional import pixel_unshuffle

from sporecount.detect.inputs import BLOCK_PX, SEARCH_UM_PER_PX, scale
from sporecount.detect.search import peaks
from sporecount.field.field import Field
from sporecount.train.export import fold_batch_norm
from sporecount.train.network import load_search
from sporecount.train.objects import X, Y

#: Heat from which a place is taken for something.
LEAST_HEAT = 0.05

#: Farther than this from all that is true or undecided, it is mistaken, um.
MISTAKEN_UM = 5.5

#: Sides that the network takes are multiples of this, pixels.
_WHOLE_PX = 2 * BLOCK_PX


class Rivals:
    """The false finds of a search network that was trained before.

    Parameters
    ----------
    weights : Path or file
        As `sporecount.train.learn.train_search` saves them.
    """

    def __init__(self, weights: Path | IO[bytes]) -> None:
        torch.set_num_threads(1)
        self.model = fold_batch_norm(load_search(weights))

    @torch.no_grad()
    def of(self, field: Field, rows: NDArray[np.float32]) -> NDArray[np.float64]:
        """Return x, y (working px) and long axis (rad) of false finds, hottest first.

        Parameters
        ----------
        field : Field
            A tile.
        rows : ndarray, shape (n, 8), float32
            What is true or undecided in it.

        Returns
        -------
        ndarray, shape (k, 3)
        """
        density = field.density * field.examined[..., None]
        sides = [(0, -side % _WHOLE_PX) for side in density.shape[:2]]
        whole = torch.from_numpy(scale(np.pad(density, [*sides, (0, 0)]))).permute(2, 0, 1)
        cells = self.model.on_blocks(pixel_unshuffle(whole[None], BLOCK_PX))
        found = peaks(cells[0].permute(1, 2, 0).numpy(), LEAST_HEAT)
        found = found[np.argsort(-found[:, 2:4].max(axis=1))]
        away = np.hypot(found[:, None, 0] - rows[None, :, X], found[:, None, 1] - rows[None, :, Y])
        mistaken = away.min(axis=1, initial=np.inf) * SEARCH_UM_PER_PX > MISTAKEN_UM
        x, y, angle = found[mistaken][:, [0, 1, 7]].T
        return np.stack([x, y, np.deg2rad(angle)], axis=1)
