"""Whether, after each field, it is settled where the load lies.

Classes are put together into ranges that have to be told apart. A range is settled when
the chance that the load is lighter, and the chance that it is heavier, are both under
the risks chosen for these two mistakes. These are chances given what was seen, so looking
after every field does not add to them, as it would with tests at a fixed level: of all tapes
that are settled, the wrong ones stay within the risk as long as loads are spread as the
prior says. docs/load.md holds what that means load by load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.literature import TAPE_MM2
from sporecount.load.estimate import TapeEstimate, estimate_seen
from sporecount.load.fields import LoadError, Seen, seen_from
from sporecount.load.more_fields import fewest, fields_left, with_more
from sporecount.settings import Settings

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Settled:
    """Whether it is settled where the load lies.

    Attributes
    ----------
    is_settled : bool
        True when nothing more has to be looked at.
    classes : tuple of int
        The range of classes that is settled, or the most likely one.
    p_right, p_lighter, p_heavier : float
        Chances that the load lies there, below, above.
    estimate : TapeEstimate
        What it rests on.
    why : str
        In words.
    """

    is_settled: bool
    classes: tuple[int, ...]
    p_right: float
    p_lighter: float
    p_heavier: float
    estimate: TapeEstimate
    why: str


def settled(
    fields: pd.DataFrame,
    tape_mm2: float = TAPE_MM2,
    *,
    first_classes: Sequence[int] | None = None,
    rates: DetectorRates | None = None,
    confidences: Sequence[ArrayLike] | None = None,
    settings: Settings | None = None,
) -> Settled:
    """Say whether the fields seen so far settle where the load lies.

    Parameters
    ----------
    fields, tape_mm2, rates, confidences, settings
        As for :func:`sporecount.load.estimate.estimate_tape`.
    first_classes : sequence of int, optional
        Lightest class of each range but the first. By default those of the decision:
        ``(decision.releasable_up_to + 1, decision.heavy_from)``. ``range(1, 6)`` tells
        every class apart.

    Raises
    ------
    LoadError
        If the ranges make no sense or the fields cannot be used.

    Examples
    --------
    >>> import pandas as pd
    >>> from sporecount.load.estimate import CHECKED_BY_HAND
    >>> table = pd.DataFrame(
    ...     {"photo": list("abcd"), "examined_mm2": [2.5] * 4, "spores": [60, 20, 35, 81]}
    ... )
    >>> now = settled(table, rates=CHECKED_BY_HAND)
    >>> now.is_settled, now.classes
    (True, (4, 5))
    """
    settings = settings or Settings()
    seen = seen_from(fields, tape_mm2, confidences)
    return settled_by(estimate_seen(seen, rates or load_rates(), settings), settings, first_classes)


def settled_by(
    estimate: TapeEstimate, settings: Settings, first_classes: Sequence[int] | None = None
) -> Settled:
    """Say whether an estimate settles where the load lies."""
    ranges = _ranges(first_classes, settings)
    chances = [sum(estimate.p_class[load] for load in classes) for classes in ranges]
    risks = settings.decision
    at = max(range(len(ranges)), key=lambda n: (chances[n], n))
    for n in range(len(ranges)):
        if sum(chances[:n]) <= risks.risk_call and sum(chances[n + 1 :]) <= risks.risk_release:
            at = n
    lighter, heavier = float(sum(chances[:at])), float(sum(chances[at + 1 :]))
    sure = lighter <= risks.risk_call and heavier <= risks.risk_release
    enough = estimate.fields >= risks.least_fields or estimate.examined_mm2 >= estimate.tape_mm2
    # What was seen is on the tape, however few fields were looked at.
    heaviest = settings.count.class_lower_bounds[ranges[-1][0]]
    enough = enough or (at == len(ranges) - 1 and estimate.real_low >= heaviest)
    if sure and not enough:
        why = f"sure, but fewer than {risks.least_fields} fields were looked at"
    elif sure:
        why = "both risks are within what was chosen"
    else:
        doubts = (("heavier", heavier, risks.risk_release), ("lighter", lighter, risks.risk_call))
        open_ones = [f"{word} ({part:.1%})" for word, part, risk in doubts if part > risk]
        why = f"the load may be {' or '.join(open_ones)} than class {_span(ranges[at])}"
    right = float(chances[at])
    return Settled(sure and enough, ranges[at], right, lighter, heavier, estimate, why)


def fields_to_settle(seen: Seen, rates: DetectorRates, settings: Settings) -> int | None:
    """Return how many more fields settle the decision if they go on like those seen.

    Returns
    -------
    int or None
        None if not even the whole tape would settle it.
    """

    def enough(extra: int) -> bool:
        later = with_more(seen, extra, clean=False)
        return settled_by(estimate_seen(later, rates, settings), settings).is_settled

    return fewest(enough, fields_left(seen))


def _span(classes: tuple[int, ...]) -> str:
    return f"{classes[0]}" if len(classes) == 1 else f"{classes[0]}-{classes[-1]}"


def _ranges(first_classes: Sequence[int] | None, settings: Settings) -> list[tuple[int, ...]]:
    """Return the classes of each range.

    Examples
    --------
    >>> _ranges(None, Settings())
    [(0,), (1, 2, 3), (4, 5)]
    """
    classes = len(settings.count.class_lower_bounds)
    if first_classes is None:
        rule = settings.decision
        first_classes = sorted({rule.releasable_up_to + 1, rule.heavy_from})
    starts = [0, *first_classes, classes]
    if any(b <= a for a, b in zip(starts, starts[1:])):
        raise LoadError(
            f"ranges of classes that start at {list(first_classes)}",
            f"they rise from 1 to at most {classes - 1}",
            "give the lightest class of each range but the first, or change the decision's classes",
        )
    return [tuple(range(a, b)) for a, b in zip(starts, starts[1:])]
