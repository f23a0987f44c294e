"""How many more fields would settle a load, and why none would."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.literature import TAPE_MM2
from sporecount.load.estimate import class_chances
from sporecount.load.fields import LoadError, Seen, seen_from
from sporecount.load.posterior import posterior
from sporecount.settings import Settings

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike


@dataclass(frozen=True)
class MoreFields:
    """How many more fields bring a chance under the chosen risk.

    Attributes
    ----------
    fields : int or None
        More fields of the usual size; 0 if none is needed, None if no number will do.
    chance_now : float
        Chance of a load that is not to be released, as it stands.
    chance_then : float
        The same after these fields, or at the tape's end where ``fields`` is None.
    field_mm2 : float
        Size of a field: the median of those seen.
    why : str
        In words.
    """

    fields: int | None
    chance_now: float
    chance_then: float
    field_mm2: float
    why: str


def more_fields(
    fields: pd.DataFrame,
    tape_mm2: float = TAPE_MM2,
    *,
    risk: float | None = None,
    from_class: int | None = None,
    rates: DetectorRates | None = None,
    confidences: Sequence[ArrayLike] | None = None,
    settings: Settings | None = None,
) -> MoreFields:
    """Say how many more clean fields bring the chance of a class under a risk.

    Parameters
    ----------
    fields, tape_mm2, rates, confidences, settings
        As for :func:`sporecount.load.estimate.estimate_tape`.
    risk : float, optional
        Chance to get under; ``decision.risk_release`` by default.
    from_class : int, optional
        Lightest class that is not to be released; by default the one after
        ``decision.releasable_up_to``.

    Raises
    ------
    LoadError
        If the risk or the class makes no sense, or the fields cannot be used.

    Examples
    --------
    >>> import pandas as pd
    >>> from sporecount.load.estimate import CHECKED_BY_HAND
    >>> table = pd.DataFrame({"photo": ["a"], "examined_mm2": [2.5], "spores": [0]})
    >>> more_fields(table, from_class=3, rates=CHECKED_BY_HAND).fields
    2
    >>> more_fields(table, from_class=1, rates=CHECKED_BY_HAND).why
    '22 more clean fields would bring the chance of class 1 or more under 0.05'
    """
    settings = settings or Settings()
    rates = rates or load_rates()
    risk = settings.decision.risk_release if risk is None else risk
    first = settings.decision.releasable_up_to + 1 if from_class is None else from_class
    _check(risk, first, len(settings.count.class_lower_bounds))
    seen = seen_from(fields, tape_mm2, confidences)
    size = field_size_mm2(seen)

    def chance(extra: int) -> float:
        known = posterior(with_more(seen, extra, clean=True), rates, settings.load)
        return float(class_chances(known, settings.count.class_lower_bounds)[first:].sum())

    now, most = chance(0), fields_left(seen)
    needed = fewest(lambda extra: chance(extra) <= risk, most)
    then = chance(most if needed is None else needed)
    return MoreFields(needed, now, then, size, _why(needed, most, then, risk, first, seen, rates))


def field_size_mm2(seen: Seen) -> float:
    """Return the size of a usual field: places by the number of their fields, on average.

    Examples
    --------
    >>> field_size_mm2(Seen(100.0, np.array([6.0, 2.0]), np.array([0, 0]), 4))
    2.0
    """
    return float(seen.areas_mm2.sum()) / seen.fields


def fields_left(seen: Seen) -> int:
    """Return how many fields the rest of the tape holds; the last may be smaller."""
    return int(np.ceil(seen.unseen_mm2 / field_size_mm2(seen) - 1e-9))


def with_more(seen: Seen, extra: int, *, clean: bool) -> Seen:
    """Return what would be seen after so many more separate fields.

    They hold no spores, or else as many as those seen, spread evenly over them.

    Examples
    --------
    >>> seen = Seen(10.0, np.array([2.0, 2.0]), np.array([1, 0]), 2)
    >>> with_more(seen, 3, clean=False).spores.tolist()
    [1, 0, 0, 1, 0]
    """
    if extra == 0:
        return seen
    size = field_size_mm2(seen)
    sizes = np.full(extra, size)
    sizes[-1] = min(size, max(seen.unseen_mm2 - size * (extra - 1), 1e-6))
    steps = 0.0 if clean else seen.total / seen.fields
    counts = np.diff(np.floor(steps * np.arange(extra + 1) + 1e-9)).astype(np.int64)
    chances = seen.confidences
    if chances is not None:
        usual = float(np.concatenate([*chances, np.empty(0)]).mean()) if seen.total else 0.0
        chances += tuple(np.full(count, usual) for count in counts)
    return Seen(
        seen.tape_mm2,
        np.concatenate([seen.areas_mm2, sizes]),
        np.concatenate([seen.spores, counts]),
        seen.fields + extra,
        chances,
    )


def fewest(enough: Callable[[int], bool], most: int) -> int | None:
    """Return the fewest more fields that are enough, or None if even the most are not.

    Takes it that more fields do not undo what fewer did.

    Examples
    --------
    >>> fewest(lambda extra: extra >= 13, 40), fewest(lambda extra: extra >= 13, 12)
    (13, None)
    """
    if enough(0):
        return 0
    low, high = 0, 1
    while high < most and not enough(high):
        low, high = high, 2 * high
    high = min(high, most)
    if most < 1 or not enough(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _check(risk: float, first: int, classes: int) -> None:
    if not 0.0 < risk < 1.0:
        raise LoadError(f"risk {risk}", "a risk lies between 0 and 1", "give one such as 0.05")
    if not 1 <= first < classes:
        raise LoadError(
            f"from_class {first}",
            f"it is a class from 1 to {classes - 1}",
            "give the lightest class that is not to be released",
        )


def _why(
    needed: int | None,
    most: int,
    then: float,
    risk: float,
    first: int,
    seen: Seen,
    rates: DetectorRates,
) -> str:
    target = f"the chance of class {first} or more under {risk:.3g}"
    if needed == 0:
        return f"what was seen is enough: {target}"
    if needed is not None:
        word = "field" if needed == 1 else "fields"
        return f"{needed} more clean {word} would bring {target}"
    end = f"even the whole tape ({most} more clean fields) would not bring {target}"
    left = f" ({then:.2g} would remain)"
    if seen.total and rates.false_per_mm2 > 0.0:
        cause = "spores were counted, and whether they are false no clean field can tell"
    elif seen.total:
        cause = "spores were seen"
    else:
        cause = "the detector may miss spores that lie there"
    return f"{end}{left}: {cause}"
