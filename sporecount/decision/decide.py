"""The outcome for one adult, in plain words, with the risk that the user chose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.decision import texts
from sporecount.literature import TAPE_MM2
from sporecount.load.estimate import TapeEstimate, estimate_seen
from sporecount.load.fields import seen_from
from sporecount.load.sequential import Settled, fields_to_settle, settled_by
from sporecount.settings import DecisionSettings, Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Decision:
    """What the tape suggests for one adult; a person decides.

    Attributes
    ----------
    outcome : str
        One of ``sporecount.decision.texts.OUTCOMES``.
    meaning : str
        The outcome with its chance and the risk chosen.
    more_fields : int or None
        More fields that would settle it: 0 where it is settled, None where no number would.
    remarks : tuple of str
        What bears on this tape: contact, class 3, false detections.
    choices : tuple of str
        What is usually done.
    cautions : tuple of str
        What is said with every outcome.
    settled : Settled
        The rule's result, with the estimate.
    """

    outcome: str
    meaning: str
    more_fields: int | None
    remarks: tuple[str, ...]
    choices: tuple[str, ...]
    cautions: tuple[str, ...]
    settled: Settled

    @property
    def estimate(self) -> TapeEstimate:
        """The estimate that the decision rests on."""
        return self.settled.estimate

    def as_text(self) -> str:
        """Return all of it as lines of plain text."""
        parts = (self.meaning, *self.remarks, "Usual choices:")
        choices = (f"- {choice}" for choice in self.choices)
        cautions = (f"- {caution}" for caution in self.cautions)
        return "\n".join((self.outcome.capitalize(), *parts, *choices, "Cautions:", *cautions))


def decide(
    fields: pd.DataFrame,
    tape_mm2: float = TAPE_MM2,
    *,
    rates: DetectorRates | None = None,
    confidences: Sequence[ArrayLike] | None = None,
    settings: Settings | None = None,
) -> Decision:
    """Say what the fields of a tape suggest for the adult.

    Parameters
    ----------
    fields, tape_mm2, rates, confidences, settings
        As for :func:`sporecount.load.estimate.estimate_tape`. The risks and classes are
        ``settings.decision``.

    Raises
    ------
    LoadError
        If the table cannot be used or the fields are larger than the tape.

    Examples
    --------
    >>> import pandas as pd
    >>> from sporecount.load.estimate import CHECKED_BY_HAND
    >>> table = pd.DataFrame(
    ...     {"photo": list("abcd"), "examined_mm2": [2.5] * 4, "spores": [60, 20, 35, 81]}
    ... )
    >>> decide(table, rates=CHECKED_BY_HAND).outcome
    'heavily infected'
    """
    settings = settings or Settings()
    rates = rates or load_rates()
    seen = seen_from(fields, tape_mm2, confidences)
    now = settled_by(estimate_seen(seen, rates, settings), settings)
    more = 0 if now.is_settled else fields_to_settle(seen, rates, settings)
    return decision_from(now, more, settings)


def decision_from(now: Settled, more_fields: int | None, settings: Settings) -> Decision:
    """Put a settled or open load into words."""
    rule = settings.decision
    outcome = _outcome(now, rule)
    numbers = {
        "release": rule.releasable_up_to,
        "heavy": rule.heavy_from,
        "lighter": _percent(now.p_lighter),
        "heavier": _percent(now.p_heavier),
        "right": _percent(now.p_right),
        "classes": _span(now.classes),
        "why": now.why,
        "seen": _photos(now.estimate.fields),
        "least": rule.least_fields,
        "risk": _percent(rule.risk_call if outcome == texts.HEAVY else rule.risk_release),
    }
    return Decision(
        outcome=outcome,
        meaning=_meaning(now, outcome, rule).format(**numbers),
        more_fields=more_fields,
        remarks=_remarks(now, outcome, more_fields, rule),
        choices=texts.CHOICES[outcome],
        cautions=texts.CAUTIONS,
        settled=now,
    )


def _outcome(now: Settled, rule: DecisionSettings) -> str:
    if not now.is_settled:
        return texts.HOLD
    if now.classes[-1] <= rule.releasable_up_to:
        return texts.CLEAR
    return texts.HEAVY if now.classes[0] >= rule.heavy_from else texts.LIGHT


def _meaning(now: Settled, outcome: str, rule: DecisionSettings) -> str:
    within = now.p_lighter <= rule.risk_call and now.p_heavier <= rule.risk_release
    return texts.HOLD_FEW if outcome == texts.HOLD and within else texts.MEANING[outcome]


def _remarks(
    now: Settled, outcome: str, more_fields: int | None, rule: DecisionSettings
) -> tuple[str, ...]:
    chances = now.estimate.p_class
    said = []
    if outcome == texts.HOLD:
        said.append(_more(now, more_fields))
    if any("may be false" in note for note in now.estimate.notes):
        said.append(texts.FALSE_ONES)
    if now.estimate.load_class in (1, 2, 3) or sum(chances[1:4]) > rule.risk_call:
        said.append(texts.CONTACT)
    if now.estimate.load_class == 3 or (len(chances) > 3 and chances[3] > rule.risk_call):
        said.append(texts.CLASS_3)
    if outcome == texts.CLEAR and rule.releasable_up_to > 0:
        said.append(texts.RELEASE_RULE.format(release=rule.releasable_up_to))
    return tuple(said)


def _more(now: Settled, more_fields: int | None) -> str:
    if more_fields is None:
        return texts.NO_MORE
    text = texts.MORE if now.estimate.spores else texts.MORE_CLEAN
    return text.format(photos=_photos(more_fields, "more "))


def _photos(number: int, more: str = "") -> str:
    """Return a number of photos in words.

    Examples
    --------
    >>> _photos(1), _photos(12, "more ")
    ('1 photo', '12 more photos')
    """
    return f"{number} {more}photo{'' if number == 1 else 's'}"


def _span(classes: tuple[int, ...]) -> str:
    return f"{classes[0]}" if len(classes) == 1 else f"{classes[0]}-{classes[-1]}"


def _percent(chance: float) -> str:
    """Return a chance in words that never say 0 or 100 %.

    Examples
    --------
    >>> [_percent(chance) for chance in (0.0, 0.05, 0.123, 0.9999)]
    ['below 0.1 %', '5.0 %', '12.3 %', 'above 99.9 %']
    """
    if chance < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if chance > 0.999 else f"{100 * chance:.1f} %"
