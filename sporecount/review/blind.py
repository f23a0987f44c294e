"""Photos under other names and in another order, so that nobody knows what they look at."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class BlindOrder:
    """In which order photos are shown, and under which names.

    Attributes
    ----------
    names : tuple of str
        The photos' own names, in the order in which they are shown.
    shown : tuple of str
        What each is called while it is shown.
    """

    names: tuple[str, ...]
    shown: tuple[str, ...]

    def shown_as(self, name: str) -> str:
        """Return what a photo is called.

        Examples
        --------
        >>> open_order(["b.jpg", "a.jpg"]).shown_as("a.jpg")
        'a.jpg'
        """
        return self.shown[self.names.index(name)]


def open_order(names: Sequence[str]) -> BlindOrder:
    """Return the photos as they are, nothing hidden."""
    return BlindOrder(tuple(names), tuple(names))


def blind_order(names: Sequence[str], seed: int | str | None = None) -> BlindOrder:
    """Return photos shuffled, and numbered instead of named.

    Parameters
    ----------
    names : sequence of str
        The photos' names.
    seed : int or str, optional
        Another one gives another order. By default the names themselves are it: a review that
        goes on another day goes on in the same order.

    Examples
    --------
    >>> order = blind_order([f"arm A/{number}.jpg" for number in range(12)], seed=1)
    >>> order.shown[0], order.shown[-1], order.names == tuple(sorted(order.names))
    ('photo 01', 'photo 12', False)
    """
    ordered = sorted(names)
    shuffled = list(ordered)
    # A text as the seed is hashed in a way that is the same everywhere and every time.
    random.Random("\n".join(ordered) if seed is None else str(seed)).shuffle(shuffled)
    digits = max(2, len(str(len(shuffled))))
    shown = tuple(f"photo {place:0{digits}d}" for place in range(1, len(shuffled) + 1))
    return BlindOrder(tuple(shuffled), shown)
