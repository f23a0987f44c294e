"""A verdict in words for one arm. No verdict says that an agent failed: looks can't show that."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.outcomes.eggs import EggSafety
from sporecount.trial.outcomes.feeding import Feeding, p_words
from sporecount.trial.outcomes.vanished import NO_STANDARD, Reduction, percent
from sporecount.trial.result import (
    BREAKS,
    BREAKS_SOME,
    CONTROL,
    NONE_SHOWN,
    OPEN,
    UNSETTLED,
    Verdict,
)

#: Agents known to take infectivity away without visible damage [morita2002], or that may, for
#: all that is known of them. Whole-looking spores settle nothing for these.
MAY_ACT_UNSEEN = ("uv-c", "other")

#: Words for how sure a difference is, by adjusted p (common practice).
SURENESS = ((0.001, "practically sure"), (0.01, "very sure"), (1.0, "sure"))

#: Fall of all spores, pieces included, that is surely more than what is missed of small pieces.
LEAST_LOST = 0.2

FEEDING_TEST = (
    "Only a feeding test can tell: feed treated spores to caterpillars, untreated ones to "
    "others, and look at the adults."
)
NOT_FAILED = (
    "That does not say that it failed: a spore can be dead and look whole. "
    "Only a feeding test can tell."
)
STILL_WHOLE = (
    "What still looks whole may or may not be able to infect; a feeding test is the only proof."
)
LOOKS = {
    "uv-c": "Ultraviolet light can take infectivity away and leave spores looking whole, so "
    "looks cannot settle whether it worked.",
    "other": "It is not known whether this agent can take infectivity away and leave spores "
    "looking whole, so looks cannot settle whether it worked.",
}
CANNOT_READ = (
    "The detector can hardly tell intact from damaged spores here, so its counts say nothing of "
    "breakage: review the photos, or count by hand."
)


@dataclass(frozen=True)
class Evidence:
    """All that a verdict rests on.

    Attributes
    ----------
    role, agent : str
        As in the trial.
    broken : Comparison
        Of the arm with the control, with misreading allowed for.
    control : str
        The control's name; empty where there is none.
    control_share : float
        Broken share of the control.
    smallest_effect, margin, alpha : float
        Smallest difference that matters, margin of equivalence, chance of a false alarm.
    more_slides : int or None
        Slides more, in each arm, that would show the smallest effect; 0 where there are
        enough for that already, None where not known or too many.
    can_read : bool
        Whether intact and damaged spores can be told apart at all.
    vanished : Reduction or None
        Whole spores per mm2, as they are to be compared with ``broken``.
    lost : Reduction or None
        All spores per mm2, broken ones and pieces included.
    followed_sentences : tuple of str
        What the followed spores say.
    eggs : EggSafety or None
    feeding : Feeding or None
    followed_harm : bool or None
        Whether the followed spores show harm; None where nothing can be said of it.
    """

    role: str
    agent: str
    broken: Comparison
    control: str = ""
    control_share: float = math.nan
    smallest_effect: float = 0.2
    margin: float = 0.1
    alpha: float = 0.05
    more_slides: int | None = None
    can_read: bool = True
    vanished: Reduction | None = None
    lost: Reduction | None = None
    followed_sentences: tuple[str, ...] = ()
    eggs: EggSafety | None = None
    feeding: Feeding | None = None
    followed_harm: bool | None = None


def verdict_on(evidence: Evidence) -> Verdict:
    """Return the verdict on one arm.

    ``breaks``: the adjusted p is below alpha and the difference is as large as the smallest
    that matters, or larger; ``breaks some``: below alpha and smaller. Without such a
    difference an agent that may act unseen gets ``looks don't settle this``, and another
    ``no visible breakage shown`` where the limits lie within the margin, else ``can't tell
    yet``.

    Examples
    --------
    >>> lamp = Comparison(0.05, 0.03, 0.08, 0.01, -0.03, 0.05, 0.6, 0.6, equivalent=True,
    ...                   equivalence_low=-0.02, equivalence_high=0.04, slides=5)
    >>> verdict_on(Evidence("treated", "uv-c", lamp, "water", 0.04)).code
    "looks don't settle this"
    """
    if evidence.role != "treated":
        return _of_control(evidence)
    code = _code(evidence)
    lines = [*_LINES[code](evidence), *_vanished(evidence), *_followed(evidence, code)]
    if evidence.eggs is not None:
        lines += evidence.eggs.sentences
    if evidence.feeding is not None:
        lines += evidence.feeding.sentences
        if code == UNSETTLED and evidence.feeding.fewer:
            lines.append("So the agent takes infectivity away, whatever spores look like.")
    return Verdict(code, tuple(line for line in lines if line))


def _code(evidence: Evidence) -> str:
    broken = evidence.broken
    unseen = evidence.agent in MAY_ACT_UNSEEN
    if not evidence.can_read:
        return UNSETTLED if unseen else OPEN
    if math.isnan(broken.share):
        return OPEN
    if _is_sure(evidence) and broken.effect > 0:
        return BREAKS if broken.effect >= evidence.smallest_effect else BREAKS_SOME
    if unseen:
        return UNSETTLED
    if broken.equivalent or broken.effect_high < 0:
        return NONE_SHOWN
    return OPEN


def _is_sure(evidence: Evidence) -> bool:
    p = evidence.broken.p_adjusted
    return (evidence.broken.p_value if math.isnan(p) else p) < evidence.alpha


def _of_control(evidence: Evidence) -> Verdict:
    broken = evidence.broken
    if math.isnan(broken.share):
        return Verdict(CONTROL, ("No spores were counted, so nothing can be said of it.",))
    words = f"{percent(broken.share)} of its spores are broken{_range(broken.low, broken.high)}."
    lines = [words]
    if not math.isnan(broken.p_value) and broken.p_value < evidence.alpha:
        lines.append(
            f"That differs from {evidence.control!r} by {_points(broken.effect)} percentage points "
            f"(p {p_words(broken.p_value)}): handling alone changes spores, or slides were "
            "mixed up."
        )
    lines += evidence.followed_sentences[:1]
    for outcome in (evidence.eggs, evidence.feeding):
        lines += outcome.sentences if outcome is not None else ()
    return Verdict(CONTROL, tuple(lines))


def _difference(evidence: Evidence) -> str:
    broken = evidence.broken
    limits = ""
    if not math.isnan(broken.effect_low):
        limits = f" ({_points(broken.effect_low)} to {_points(broken.effect_high)})"
    return (
        f"{percent(broken.share)} broken against {percent(evidence.control_share)} in "
        f"{evidence.control!r}: {_points(broken.effect)} percentage points{limits}"
    )


def _breaks(evidence: Evidence) -> list[str]:
    broken = evidence.broken
    p = broken.p_value if math.isnan(broken.p_adjusted) else broken.p_adjusted
    sure = next(words for most, words in SURENESS if p < most or most == 1.0)
    some = "Breaks spores" if _code(evidence) == BREAKS else "Breaks some spores"
    lines = [f"{some}, {sure}: {_difference(evidence)}; p {p_words(p)}."]
    if not math.isnan(broken.abbott):
        lines.append(
            f"Of spores that would be whole without it, {percent(max(broken.abbott, 0.0))} were "
            f"broken{_range(broken.abbott_low, broken.abbott_high)}."
        )
    if broken.effect_low < evidence.smallest_effect <= broken.effect:
        lines.append(
            f"How much is less sure: it may be less than the {100 * evidence.smallest_effect:.0f} "
            "points that matter to you."
        )
    elif broken.effect < evidence.smallest_effect:
        lines.append(
            f"That is less than the {100 * evidence.smallest_effect:.0f} points that matter to you."
        )
    return [*lines, STILL_WHOLE]


def _none_shown(evidence: Evidence) -> list[str]:
    broken = evidence.broken
    if broken.effect_high < 0:
        return [
            f"No visible breakage shown: fewer are broken than in the control, "
            f"{_difference(evidence)}. Look whether slides were mixed up.",
            NOT_FAILED,
        ]
    return [
        f"No visible breakage shown: the difference lies within {100 * evidence.margin:.0f} "
        f"percentage points either way; {_difference(evidence)}.",
        NOT_FAILED,
    ]


def _open(evidence: Evidence) -> list[str]:
    if not evidence.can_read:
        return [CANNOT_READ, NOT_FAILED]
    broken = evidence.broken
    if math.isnan(broken.share):
        return ["Can't tell yet: no spores of this arm were counted.", NOT_FAILED]
    if not evidence.control or math.isnan(broken.effect):
        return [
            f"Can't tell: {percent(broken.share)} of its spores are broken"
            f"{_range(broken.low, broken.high)}, and there is no control to compare with.",
            NOT_FAILED,
        ]
    lines = [f"Can't tell yet: {_difference(evidence)}."]
    if math.isnan(broken.p_value):
        lines.append("With one slide in an arm nothing can be tested: make 3 or more of each.")
    return [*lines, *_more(evidence), NOT_FAILED]


def _unsettled(evidence: Evidence) -> list[str]:
    broken = evidence.broken
    lines = [LOOKS.get(evidence.agent, LOOKS["other"])]
    if not evidence.can_read:
        lines.append(CANNOT_READ)
    elif math.isnan(broken.effect):
        lines.append(f"{percent(broken.share)} of its spores are broken; there is no control.")
    elif broken.equivalent:
        lines.append(
            f"No visible breakage: within {100 * evidence.margin:.0f} percentage points of the "
            f"control; {_difference(evidence)}."
        )
    else:
        lines.append(f"Breakage is not surely different: {_difference(evidence)}.")
        lines += _more(evidence)
    return [*lines, FEEDING_TEST]


def _more(evidence: Evidence) -> list[str]:
    smallest = f"{100 * evidence.smallest_effect:.0f} percentage points"
    more = evidence.more_slides
    if more is None:
        return [
            f"More slides than a person can make would be needed to show {smallest}: spores of one "
            "slide are too much alike. Handle slides more evenly, or follow the same spores."
        ]
    if more == 0:
        return [
            f"A difference of {smallest} would most likely have been seen with so many slides; to "
            "show that there is none takes more of them."
        ]
    slides = "1 more slide" if more == 1 else f"{more} more slides"
    return [f"About {slides} in each arm would show a difference of {smallest}, if there is one."]


def _followed(evidence: Evidence, code: str) -> list[str]:
    """Return what followed spores say, and that they disagree with the slides where they do."""
    lines = list(evidence.followed_sentences)
    breaks = code in (BREAKS, BREAKS_SOME)
    if evidence.followed_harm and not breaks:
        lines.append(
            "So the followed spores show what the broken share by itself does not: more of them "
            "are damaged, in pieces or gone than in the control. Each is its own control, which "
            "makes that the stronger sign; gone may also be washed off."
        )
    elif evidence.followed_harm is False and breaks:
        lines.append("By themselves the followed spores are too few, or too alike, to show it.")
    return lines


def _vanished(evidence: Evidence) -> list[str]:
    found = evidence.vanished
    if found is None or not found.in_words():
        return []
    lines = [found.in_words()]
    if "log10" in lines[0]:
        lines.append(NO_STANDARD)
    return [*lines, disagreement(evidence.broken, found, evidence.lost)]


def disagreement(broken: Comparison, vanished: Reduction, lost: Reduction | None = None) -> str:
    """Return what to think where broken and vanished spores tell different stories; else empty.

    If spores only broke, whole ones per mm2 would fall by Abbott's share and no more, and
    ``lost``, the fall of all spores with their pieces, would be none.
    """
    is_lost = lost is not None and lost.low > LEAST_LOST
    if math.isnan(broken.abbott_low) or math.isnan(vanished.low):
        return ""
    if vanished.low > broken.abbott_high or is_lost:
        return (
            "The two disagree: more whole spores are missing than are seen broken. They were "
            "dissolved, washed off, or never lay there; compare with an arm rinsed in the same way."
        )
    if not vanished.is_bound and vanished.high < broken.abbott_low:
        return (
            "The two disagree: more spores are seen broken than whole ones are missing. More "
            "spores were put on these slides, or pieces are counted for too much."
        )
    if broken.abbott_low > 0 >= vanished.low:
        return (
            "Spores per mm2 do not show it by themselves: how many were put on a slide varies "
            "much, so that measure is the weaker one."
        )
    return ""


_LINES = {
    BREAKS: _breaks,
    BREAKS_SOME: _breaks,
    NONE_SHOWN: _none_shown,
    OPEN: _open,
    UNSETTLED: _unsettled,
}


def _range(low: float, high: float) -> str:
    return "" if math.isnan(low) else f" ({percent(max(low, 0.0))} to {percent(high)})"


def _points(share: float) -> str:
    return f"{round(100 * share):+d}"
