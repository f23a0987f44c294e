"""Which reviews are a fair sample of the tool's work, and what each photo says of it.

A review that follows the queue looks at what the tool is least sure of; figures from that
would make the tool look worse than it is, or better. Fair are photos that were looked through
in full, and those where the first detections of a random order that the photo itself fixes
were all judged, whatever else was.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.detect.table import STATES
from sporecount.review.actions import Action
from sporecount.review.record import Review
from sporecount.review.reviewed import PERSON, TOOL, everything, is_closed

#: Rows and columns of a photo's table beside the states.
NOTHING, MISSED = "nothing", "missed"
TRUTHS = (*STATES, NOTHING)
CALLS = (*STATES, MISSED)

#: A random sample of fewer detections than this tells nothing.
LEAST_SAMPLE = 10


@dataclass(frozen=True, eq=False)
class Judged:
    """What a review says of the tool on one photo.

    Attributes
    ----------
    photo, sha256, who : str
        The photo and the person.
    um_per_px : float
        The photo's scale.
    examined_mm2 : float
        Area looked at; nan where the review does not tell.
    in_full : bool
        Whether the whole photo was looked through: only then are missed ones known.
    table : ndarray, shape (4, 4)
        How often what is really of a state (rows ``TRUTHS``) was called one (``CALLS``).
    """

    photo: str
    sha256: str
    who: str
    um_per_px: float
    examined_mm2: float
    in_full: bool
    table: NDArray[np.float64]


def random_order(detections: pd.DataFrame, sha256: str) -> list[str]:
    """Return the ids of a photo's detections in the order in which a fair sample takes them.

    The photo fixes it, so that nobody chooses.

    Examples
    --------
    >>> table = pd.DataFrame({"state": ["intact"] * 4})
    >>> sorted(random_order(table, "ab")) == ["t1", "t2", "t3", "t4"]
    True
    >>> random_order(table, "ab") == random_order(table, "ab")
    True
    """
    names = [f"t{number}" for number in range(1, len(detections) + 1)]
    return sorted(names, key=lambda name: hashlib.sha256(f"{sha256}/{name}".encode()).digest())


def judged(review: Review) -> Judged | None:
    """Return what a review says of the tool; None where it is no fair sample."""
    counted = review.counted
    in_full = is_closed(review.actions)
    chosen = None if in_full else _sampled(counted.detections, review.actions, review.sha256)
    if not in_full and not chosen:
        return None
    table = table_of(counted.detections, review.actions, counted.um_per_px, chosen)
    summary = counted.facts.get("summary", {})
    area = summary.get("examined_mm2") if isinstance(summary, dict) else None
    return Judged(
        review.photo,
        review.sha256,
        review.who,
        counted.um_per_px,
        float("nan") if area is None else float(area),
        in_full,
        table,
    )


def table_of(
    detections: pd.DataFrame,
    actions: Iterable[Action],
    um_per_px: float,
    chosen: Sequence[str] | None = None,
) -> NDArray[np.float64]:
    """Return how often what is really of a state was called one.

    Parameters
    ----------
    detections : DataFrame
        The tool's.
    actions : iterable of Action
        The person's.
    um_per_px : float
        The photo's scale.
    chosen : sequence of str, optional
        Ids of the tool's detections to go by; then missed ones are left out.

    Returns
    -------
    ndarray, shape (4, 4)
        Rows ``TRUTHS``, columns ``CALLS``.
    """
    rows = everything(detections, actions)
    said = rows["source"] == TOOL
    if chosen is not None:
        said &= rows["id"].isin(list(chosen))
    tools = rows[said]
    truth = np.where(tools["standing"], tools["state"], NOTHING).astype(object)
    called = tools["tool_state"].to_numpy(object)
    own = rows[(rows["source"] == PERSON) & rows["standing"]]
    # What was parted, joined or drawn anew is the same object where the centres lie near.
    gone = np.flatnonzero(truth == NOTHING)
    pairs = match_centres(
        tools[["x_px", "y_px"]].to_numpy(float)[gone],
        own[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        WITHIN_UM / um_per_px,
    )
    own_states = own["state"].to_numpy(object)
    truth[gone[pairs.found]] = own_states[pairs.true]
    missed = own_states[pairs.true_left] if chosen is None else own_states[:0]
    return counted_pairs(
        [*truth.tolist(), *missed.tolist()], [*called.tolist(), *([MISSED] * len(missed))]
    )


def counted_pairs(truths: Sequence[str], calls: Sequence[str]) -> NDArray[np.float64]:
    """Return the table of what things really are and what they were called.

    Examples
    --------
    >>> counted_pairs(["intact", "nothing"], ["damaged", "intact"])[[0, 3], :2].tolist()
    [[0.0, 1.0], [1.0, 0.0]]
    """
    table = np.zeros((len(TRUTHS), len(CALLS)))
    for truth, call in zip(truths, calls, strict=True):
        table[TRUTHS.index(truth), CALLS.index(call)] += 1
    return table


def _sampled(
    detections: pd.DataFrame, actions: Sequence[Action], sha256: str
) -> tuple[str, ...] | None:
    """Return the first detections of the random order, as far as all of them were judged."""
    rows = everything(detections, actions)
    seen = set(rows.loc[rows["looked_at"], "id"])
    sample: list[str] = []
    for name in random_order(detections, sha256):
        if name not in seen:
            break
        sample.append(name)
    enough = len(sample) >= min(LEAST_SAMPLE, max(len(detections), 1))
    return tuple(sample) if enough else None
