"""The load class, 0 to 5, of a number of spores."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS


def load_class(spores: int, lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS) -> int:
    """Return the class whose range of spores holds a count.

    The classes are meant for a whole tape sample [altizer2000]. For one photo
    the class of the spores counted in its examined area is a lower limit: the
    whole tape belongs to that class or a heavier one.

    Parameters
    ----------
    spores : int
        Spores counted, 0 or more.
    lower_bounds : sequence of int
        Smallest count of each class, from class 0 up.

    Returns
    -------
    int
        Index of the class.

    Raises
    ------
    ValueError
        If ``spores`` is negative.

    Examples
    --------
    >>> [load_class(spores) for spores in (0, 1, 2, 20, 21, 100, 101, 1000, 1001)]
    [0, 1, 2, 2, 3, 3, 4, 4, 5]
    """
    if spores < 0:
        raise ValueError(f"spores {spores!r}: a count is 0 or more")
    return bisect_right(lower_bounds, spores) - 1


def class_range(load: int, lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS) -> str:
    """Return the spores that a class stands for, in words.

    Examples
    --------
    >>> [class_range(load) for load in (0, 1, 2, 5)]
    ['no spores', '1 spore', '2-20 spores', '1001 or more spores']
    """
    first = lower_bounds[load]
    if load == len(lower_bounds) - 1:
        return f"{first} or more spores"
    last = lower_bounds[load + 1] - 1
    if last == 0:
        return "no spores"
    if first == last:
        return f"{first} spore" if first == 1 else f"{first} spores"
    return f"{first}-{last} spores"
