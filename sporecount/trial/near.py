"""What a person probably meant, where a word is none of those known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return a remedy: the nearest known word, or all of them.

    Examples
    --------
    >>> did_you_mean("hypoclorite", ["water", "hypochlorite"])
    'write "hypochlorite"'
    >>> did_you_mean("zzz", ["water", "none"])
    'known are: water, none'
    """
    known = list(known)
    folded = {name.casefold(): name for name in known}
    longer = [name for name in folded if len(word) > 3 and name.startswith(word.casefold())]
    near = longer or difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.7)
    return f'write "{folded[near[0]]}"' if near else f"known are: {', '.join(known)}"
