"""The one rule for confidence levels."""

from __future__ import annotations


def check_level(level: float) -> None:
    """Raise ValueError unless a confidence level lies between 0 and 1.

    Examples
    --------
    >>> check_level(95)
    Traceback (most recent call last):
    ValueError: level 95: a confidence level lies between 0 and 1, such as 0.95
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level {level!r}: a confidence level lies between 0 and 1, such as 0.95")
