"""The detector's own error: what it calls intact, damaged or a fragment, and what that was."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sporecount.detect.table import STATES
from sporecount.trial.errors import TrialError

Array = NDArray[np.float64]

#: Row of a table of rates for what was called something, with nothing there.
NOTHING = "nothing"
#: Column for what was there and not found.
MISSED = "missed"

#: Sensitivity plus specificity less 1, below which the detector can't tell intact from damaged
#: (common practice, no source: a correction by more than five is all doubt).
LEAST_TELLING = 0.2

#: Added to each count of a row, so that rates never seen are not taken for impossible (Jeffreys).
_PRIOR = 0.5


@dataclass(frozen=True)
class MisreadRates:
    """What the detector called spores and pieces whose truth is known: counts.

    Attributes
    ----------
    called : tuple of tuple of float, shape (3, 4)
        Rows: really intact, damaged, fragment. Columns: called intact, damaged, fragment;
        missed.
    false : tuple of float, shape (3,)
        Called intact, damaged, fragment, with nothing there.
    measured_on : str
        What this was measured on, in words.

    Raises
    ------
    TrialError
        If a number is below 0, or nothing is known of a state.
    """

    called: tuple[tuple[float, ...], ...]
    false: tuple[float, ...] = (0.0, 0.0, 0.0)
    measured_on: str = ""

    def __post_init__(self) -> None:
        called, false = np.asarray(self.called, float), np.asarray(self.false, float)
        if called.shape != (3, 4) or false.shape != (3,):
            raise TrialError(
                f"rates of shape {called.shape} and {false.shape}",
                "there are three rows of four numbers, and three false ones",
                "give what intact, damaged and fragments were called, and missed",
            )
        if not np.isfinite(called).all() or (called < 0).any() or (false < 0).any():
            raise TrialError("rates", "a count is a number of 0 or more", "look them over")
        for state, row in zip(STATES, called):
            if row[:3].sum() <= 0 and state != STATES[2]:
                raise TrialError(
                    f"rates of {state} spores",
                    "none was found, so nothing is known of what they are called",
                    "review more photos, or use the rates that come with the detector",
                )

    @property
    def sensitivity(self) -> float:
        """Share of damaged spores called damaged, among those called intact or damaged."""
        row = self.called[1]
        return row[1] / (row[0] + row[1]) if row[0] + row[1] else math.nan

    @property
    def specificity(self) -> float:
        """Share of intact spores called intact, among those called intact or damaged."""
        row = self.called[0]
        return row[0] / (row[0] + row[1]) if row[0] + row[1] else math.nan

    @property
    def telling(self) -> float:
        """Sensitivity plus specificity less 1: 0 where the detector can't tell at all."""
        return self.sensitivity + self.specificity - 1


class RateDraws:
    """Rates as they might be, given the counts: many draws from their posterior.

    Attributes
    ----------
    chances : ndarray, shape (draws, 3, 3)
        Chance that what is really of the first state is called the second.
    real : ndarray, shape (draws, 3)
        Chance that what is called a state is there at all.
    """

    def __init__(self, chances: Array, real: Array) -> None:
        self.chances, self.real = chances, real
        self.undone = np.linalg.inv(np.swapaxes(chances, 1, 2))

    @property
    def is_plain(self) -> bool:
        """Whether nothing is misread."""
        return bool((self.chances == np.eye(3)).all())

    def true_numbers(self, called: Array) -> Array:
        """Return how many there are really of each state [rogangladen1978].

        Parameters
        ----------
        called : ndarray, shape (draws, 3)
            Called intact, damaged, fragment.

        Returns
        -------
        ndarray, shape (draws, 3)
            Below 0 where fewer were called so than are called so by mistake.
        """
        return np.asarray(np.einsum("kij,kj->ki", self.undone, called * self.real))


def load_misread() -> MisreadRates:
    """Return the rates that come with this version of the detector."""
    return misread_from(
        json.loads(resources.files("sporecount.trial").joinpath("misread.json").read_text("utf-8"))
    )


def misread_from(data: Mapping[str, object]) -> MisreadRates:
    """Return rates from a rates file: ``called`` by state, ``false``, ``measured_on``."""
    called: Mapping[str, list[float]] = data["called"]  # type: ignore[assignment]
    false: list[float] = data.get("false", [0, 0, 0])  # type: ignore[assignment]
    return MisreadRates(
        tuple(tuple(called[state]) for state in STATES),
        tuple(false),
        str(data.get("measured_on", "")),
    )


def rates_from_reviewed(table: pd.DataFrame, measured_on: str = "") -> MisreadRates:
    """Return rates from a table of reviewed detections.

    Parameters
    ----------
    table : DataFrame
        Index: what it really is (intact, damaged, fragment; ``nothing`` for false ones).
        Columns: what it was called (intact, damaged, fragment; ``missed``). Counts; what is
        left out is 0.
    measured_on : str
        What was reviewed, in words.

    Raises
    ------
    TrialError
        If a row or a column is unknown.

    Examples
    --------
    >>> table = pd.DataFrame({"intact": [96, 11], "damaged": [4, 89]}, ["intact", "damaged"])
    >>> round(rates_from_reviewed(table).telling, 2)
    0.85
    """
    known = {"row": [*STATES, NOTHING], "column": [*STATES, MISSED]}
    for what, names in (("row", table.index), ("column", table.columns)):
        for name in names:
            if name not in known[what]:
                raise TrialError(
                    f"{what} {name!r} of the reviewed detections",
                    f"there is no such {what}",
                    f"known are: {', '.join(known[what])}",
                )
    full = table.reindex(index=known["row"], columns=known["column"], fill_value=0).fillna(0)
    counts = full.to_numpy(float)
    return MisreadRates(
        tuple(tuple(row) for row in counts[:3].tolist()), tuple(counts[3, :3].tolist()), measured_on
    )


def rogan_gladen(share: ArrayLike, sensitivity: float, specificity: float) -> Array:
    """Return the share that is really damaged from the share that is called so [rogangladen1978].

    ``(share + specificity - 1) / (sensitivity + specificity - 1)``, cut to 0 and 1.

    Raises
    ------
    TrialError
        If calling damaged says nothing, or the contrary.

    Examples
    --------
    >>> round(float(rogan_gladen(23 / 150, 0.96, 0.89)), 3)
    0.051
    """
    telling = sensitivity + specificity - 1
    if telling <= 0:
        raise TrialError(
            f"sensitivity {sensitivity:g} and specificity {specificity:g}",
            "together they are not above 1, so what is called damaged says nothing",
            "review the photos by hand",
        )
    return np.clip((np.asarray(share, float) + specificity - 1) / telling, 0.0, 1.0)


def draw_rates(rates: MisreadRates, draws: int, seed: int) -> RateDraws:
    """Return rates as they might be: Dirichlet posteriors of what each state is called.

    Parameters
    ----------
    rates : MisreadRates
        Counts.
    draws : int
        How many. The first is not drawn: it holds the rates as counted.
    seed : int
        Of the generator.
    """
    rng = np.random.default_rng(seed)
    called, false = np.asarray(rates.called, float), np.asarray(rates.false, float)
    found = called[:, :3].sum(0)
    drawn = np.stack([rng.dirichlet(row + _PRIOR, draws) for row in called], 1)
    real = rng.beta(found + _PRIOR, false + _PRIOR, (draws, 3))
    if called[2, :3].sum() <= 0:  # nothing known of fragments: taken as they are called
        called[2] = (0, 0, 1, 0)
        drawn[:, 2] = called[2]
        real[:, 2] = 1.0
    drawn[0] = called / called.sum(1, keepdims=True)
    real[0] = np.where(found + false > 0, found / np.maximum(found + false, 1e-12), 1.0)
    return RateDraws(_telling(drawn[:, :, :3]), real)


def no_error(draws: int) -> RateDraws:
    """Return rates of a count in which nothing is misread."""
    return RateDraws(np.tile(np.eye(3), (draws, 1, 1)), np.ones((draws, 3)))


def _telling(chances: Array) -> Array:
    """Keep draws away from rates that tell nothing, which no correction could undo."""
    sensitivity = chances[:, 1, 1] / (chances[:, 1, 0] + chances[:, 1, 1])
    specificity = chances[:, 0, 0] / (chances[:, 0, 0] + chances[:, 0, 1])
    bad = (sensitivity + specificity - 1 < LEAST_TELLING / 2) | (chances[:, 2, 2] < 0.02)
    kept = chances.copy()
    kept[bad] = chances[0]
    return kept
