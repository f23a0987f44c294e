"""What the page of a trial says of each arm, in words and cells."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from sporecount.bath.dilution import round_to
from sporecount.report.html import words
from sporecount.report.html.trial_charts import Line
from sporecount.trial.cautions import ALWAYS
from sporecount.trial.outcomes.vanished import NO_STANDARD, Reduction, percent
from sporecount.trial.result import CONTROL, UNSETTLED

if TYPE_CHECKING:
    from sporecount.trial.arm import Arm
    from sporecount.trial.plan import Trial
    from sporecount.trial.result import ArmResult, TrialResult

#: What a reader calls the agents.
AGENT_WORDS = {
    "none": "nothing is done",
    "water": "water only",
    "hypochlorite": "bleach (hypochlorite)",
    "uv-c": "ultraviolet light (UV-C)",
    "spray": "spray",
    "other": "another agent",
}

#: Stands where the plan has a gap that a reader would need to repeat the trial.
GAP = "not written down"

LIMITS = (
    "Whether a spore still infects. One that looks whole may be dead, and one that is damaged is "
    "not proven dead. Only a feeding test shows that.",
    "Where a missing spore went. Dissolved, washed off and never put there look the same.",
    "Other spores, other days, other surfaces. All slides come from one trial; spores under a "
    "scale, in a crack or on a leaf may fare otherwise.",
    NO_STANDARD,
)
NOT_BLIND = (
    "What a person expected to see. Slides were not coded in this trial, so whoever took or looked "
    "over photos could know the arm."
)


def verdict(one: ArmResult) -> dict[str, Any]:
    """Return the panel of one arm: its verdict, what led to it, and its figures."""
    first, *others = one.verdict.sentences or ("",)
    beside = {
        line for part in (one.eggs, one.feeding) if part is not None for line in part.sentences
    }
    at = next((place for place, line in enumerate(others) if line in beside), len(others))
    return {
        "name": one.arm,
        "is_control": one.verdict.code == CONTROL,
        "verdict": headline(one),
        "first": first,
        "slides": [line for line in others[:at] if line != NO_STANDARD],
        "animals": others[at:],
        "notes": [note.removeprefix(f"{one.arm}: ") for note in one.notes],
        "facts": [(name, text) for name, text in _facts(one) if text],
        "short": _short(one),
    }


def headline(one: ArmResult) -> str:
    """Return the verdict as a headline; where looks settle nothing, with what would."""
    code = one.verdict.code
    return f"{code}: feeding test" if code == UNSETTLED and one.feeding is None else code


def _facts(one: ArmResult) -> list[tuple[str, str]]:
    return [
        ("Broken", span(one.broken.share, one.broken.low, one.broken.high)),
        ("Above control", points(one.broken.effect, one.broken.effect_low, one.broken.effect_high)),
        ("p, adjusted", p_value(one.broken.p_adjusted)),
        ("Whole per mm²", gone(one.vanished_corrected or one.vanished)),
        ("Eggs", one.eggs.word if one.eggs is not None else ""),
        ("Adults infected", infected(one)),
    ]


def _short(one: ArmResult) -> dict[str, str]:
    return {
        "broken": span(one.broken.share, one.broken.low, one.broken.high),
        "gone": gone(one.vanished_corrected or one.vanished),
        "eggs": hatched(one),
        "infected": infected(one),
    }


def hatched(one: ArmResult) -> str:
    """Return hatched of dipped eggs and what follows; empty where none were dipped."""
    if one.eggs is None:
        return ""
    text = f"{one.eggs.hatched} of {one.eggs.dipped} hatched"
    return f"{text}: {one.eggs.word}" if one.eggs.word else text


def infected(one: ArmResult) -> str:
    """Return infected of adults looked at; empty where none were."""
    if one.feeding is None:
        return ""
    return f"{one.feeding.infected} of {one.feeding.adults}"


def cautions(result: TrialResult) -> list[tuple[str, str, list[str]]]:
    """Return agent, its arms, and its cautions, each agent once."""
    found: dict[str, tuple[list[str], list[str]]] = {}
    for one in result.arms:
        lines = [line for line in one.cautions if line not in ALWAYS]
        if lines:
            found.setdefault(one.agent, ([], lines))[0].append(one.arm)
    return [
        (AGENT_WORDS.get(agent, agent), ", ".join(arms), lines)
        for agent, (arms, lines) in found.items()
    ]


def design(trial: Trial, one: ArmResult) -> dict[str, str]:
    """Return what was done to one arm, with what was not written down."""
    arm = next((arm for arm in trial.arms if arm.name == one.arm), None)
    counted = f"{len(one.slides)} of {trial.slides_per_arm}" if trial.slides_per_arm else ""
    row = {"name": one.arm, "slides": counted or str(len(one.slides))}
    if arm is None:
        return {**row, "agent": AGENT_WORDS.get(one.agent, one.agent)} | dict.fromkeys(
            ("product", "strength", "dose", "time", "rest"), ""
        )
    gaps = arm.gaps()
    return {
        **row,
        "agent": AGENT_WORDS.get(arm.agent, arm.agent),
        "product": arm.product or (f"product: {GAP}" if "product" in gaps else ""),
        "strength": _strength(arm),
        "dose": _dose(arm),
        "time": _time(arm.seconds) or (GAP if "seconds" in gaps else ""),
        "rest": "; ".join(filter(None, (f"rinse: {arm.rinse}" if arm.rinse else "", arm.note))),
    }


def _strength(arm: Arm) -> str:
    bath, gaps = arm.bath(), arm.gaps()
    label = "" if arm.label_strength_pct is None else f"{arm.label_strength_pct:g} % on the label"
    if bath is not None:
        return f"{label}; {bath.in_words()}; {round_to(bath.active_percent)} % active"
    wanted = "" if arm.wanted_pct is None else f"{arm.wanted_pct:g} % active"
    missing = [
        f"{what}: {GAP}"
        for key, what in (("label_strength_pct", "label"), ("dilution", "dilution"))
        if key in gaps
    ]
    return "; ".join(filter(None, (label, arm.dilution, wanted, *missing)))


def _dose(arm: Arm) -> str:
    values = (
        (arm.watts, "W", "watts", "power"),
        (arm.distance_cm, "cm away", "distance_cm", "distance"),
        (arm.dose_mj_cm2, "mJ/cm²", "", ""),
    )
    gaps = arm.gaps()
    parts = [
        f"{value:g} {unit}" if value is not None else f"{what}: {GAP}" if key in gaps else ""
        for value, unit, key, what in values
    ]
    return ", ".join(part for part in parts if part)


def _time(seconds: float | None) -> str:
    """Return a time in seconds, and in minutes where these are easier to read."""
    if seconds is None:
        return ""
    return f"{seconds:g} s" + (f" ({round_to(seconds / 60, 2)} min)" if seconds >= 120 else "")


def numbers(one: ArmResult) -> dict[str, Any]:
    """Return the counts and comparisons of one arm."""
    found = one.vanished
    return {
        "name": one.arm,
        "slides": len(one.slides),
        "counts": [
            words.whole(sum(getattr(slide, state) for slide in one.slides))
            for state in ("intact", "damaged", "fragment")
        ],
        "seen": span(one.seen.share, one.seen.low, one.seen.high),
        "broken": span(one.broken.share, one.broken.low, one.broken.high),
        "compared": not math.isnan(one.broken.effect),
        "effect": points(one.broken.effect, one.broken.effect_low, one.broken.effect_high),
        "p": p_value(one.broken.p_value),
        "p_adjusted": p_value(one.broken.p_adjusted),
        "naive_p": p_value(one.broken.naive_p),
        "abbott": span(one.broken.abbott, one.broken.abbott_low, one.broken.abbott_high),
        "icc": words.measure(one.broken.icc),
        "gone": gone(found),
        "log10": _log10(found),
    }


def slides(one: ArmResult) -> list[dict[str, str]]:
    """Return a row for each slide, as it was counted."""
    return [
        {
            "name": slide.slide,
            "intact": words.whole(slide.intact),
            "damaged": words.whole(slide.damaged),
            "fragment": words.whole(slide.fragment),
            "equivalents": words.measure(slide.equivalents),
            "broken": words.share(slide.broken),
            "per_mm2": words.measure(slide.intact_per_mm2),
        }
        for slide in one.slides
    ]


def share_line(one: ArmResult) -> Line:
    """Return the line of an arm in the picture of broken shares."""
    whole = one.broken
    label = span(whole.share, whole.low, whole.high)
    points_ = [slide.broken for slide in one.slides]
    return Line(one.arm, label, points_, whole.share, whole.low, whole.high)


def density_line(one: ArmResult) -> Line:
    """Return the line of an arm in the picture of whole spores per mm2.

    The limits are those of its ratio to the control, at the control's mean.
    """
    known = [slide for slide in one.slides if slide.area_mm2 > 0]
    area = sum(slide.area_mm2 for slide in known)
    mean = sum(slide.intact for slide in known) / area if known else math.nan
    low = high = math.nan
    found = one.vanished
    if found is not None and not math.isnan(found.low):
        low, high = (found.control_per_mm2 * (1 - end) for end in (found.high, found.low))
    label = f"{words.measure(mean)} per mm²" if known else words.UNKNOWN
    return Line(one.arm, label, [slide.intact_per_mm2 for slide in one.slides], mean, low, high)


def egg_lines(result: TrialResult) -> list[Line]:
    """Return the lines of hatched shares, of arms with eggs."""
    return [
        Line(one.arm, f"{e.hatched} of {e.dipped}, {span(e.share, e.low, e.high)}", (),
             e.share, e.low, e.high)
        for one in result.arms if (e := one.eggs) is not None
    ]  # fmt: skip


def feeding_lines(result: TrialResult) -> list[Line]:
    """Return the lines of infected shares, of arms with adults."""
    return [
        Line(one.arm, f"{f.infected} of {f.adults}, {span(f.share, f.low, f.high)}", (),
             f.share, f.low, f.high)
        for one in result.arms if (f := one.feeding) is not None
    ]  # fmt: skip


def limits(trial: Trial, result: TrialResult) -> list[str]:
    """Return what the slides of this trial cannot show."""
    lines = list(LIMITS)
    if not trial.key:
        lines.insert(3, NOT_BLIND)
    few = [one.arm for one in result.arms if 0 < len(one.slides) < 3]
    if few:
        lines.insert(
            2,
            f"How much slides differ, in {', '.join(few)}: with one or two slides hardly anything "
            "tells.",
        )
    return lines


def span(value: float, low: float, high: float) -> str:
    """Return a share with its limits.

    Examples
    --------
    >>> span(0.65, 0.56, 0.82), span(0.65, math.nan, math.nan), span(math.nan, 0, 1)
    ('65 % (56 to 82 %)', '65 %', 'not known')
    """
    if math.isnan(value):
        return words.UNKNOWN
    if math.isnan(low) or math.isnan(high):
        return percent(value)
    return f"{percent(value)} ({percent(low).removesuffix(' %')} to {percent(high)})"


def points(value: float, low: float, high: float) -> str:
    """Return a difference of shares in percentage points, with its limits.

    Examples
    --------
    >>> points(0.61, 0.5, 0.77), points(-0.02, math.nan, math.nan), points(math.nan, 0, 1)
    ('+61 points (+50 to +77)', '-2 points', '')
    """
    if math.isnan(value):
        return ""
    text = f"{100 * value:+.0f} points"
    return text if math.isnan(low) else f"{text} ({100 * low:+.0f} to {100 * high:+.0f})"


def gone(found: Reduction | None) -> str:
    """Return how many fewer whole spores there are per mm2 than in the control, or how many more.

    Where the limits reach over both, neither is claimed.
    """
    if found is None:
        return ""
    if found.is_bound and found.low > 0:
        return f"at least {percent(found.low)} fewer"
    if math.isnan(found.reduction) or math.isnan(found.low):
        return words.UNKNOWN
    low, middle, high = 100 * found.low, 100 * found.reduction, 100 * found.high
    if low <= 0 <= high:
        return f"no sure change ({-high:+.0f} to {-low:+.0f} %)"
    if middle < 0:
        return f"{-middle:.0f} % more ({-high:.0f} to {-low:.0f} %)"
    return f"{percent(found.reduction)} fewer ({low:.0f} to {percent(found.high)})"


def _log10(found: Reduction | None) -> str:
    if found is None:
        return ""
    if math.isnan(found.log10):
        low = found.log10_low
        return words.UNKNOWN if math.isnan(low) else f"at least {low:.1f}"
    if math.isnan(found.log10_low):
        return f"{found.log10:.2f}"
    return f"{found.log10:.2f} ({found.log10_low:.2f} to {found.log10_high:.2f})"


def p_value(value: float) -> str:
    """Return a p; empty where there is none.

    Examples
    --------
    >>> p_value(0.0004), p_value(0.0312), p_value(math.nan)
    ('below 0.001', '0.031', '')
    """
    if math.isnan(value):
        return ""
    return "below 0.001" if value < 0.001 else f"{value:.3f}"


def first_notes(notes: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return what to read before anything else, and what only says how arms are compared."""
    calm = [note for note in notes if note.startswith("Arms are compared with")]
    return [note for note in notes if note not in calm], calm
