"""Judge a trial: from tables of counts to each arm's verdict, with the slide as the unit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from sporecount.trial.arm import TREATED, UNTREATED, WATER, Arm
from sporecount.trial.cautions import cautions_for
from sporecount.trial.compare.arms import compare_arms
from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.detector import Detector
from sporecount.trial.followed.fates import judge_fates
from sporecount.trial.followed.result import Fates
from sporecount.trial.followed.table import checked_fields
from sporecount.trial.inputs import (
    checked_eggs,
    checked_feeding,
    checked_slides,
    supposed_trial,
)
from sporecount.trial.method import SOURCES, method_words
from sporecount.trial.misread import MisreadRates
from sporecount.trial.more_slides import more_slides
from sporecount.trial.outcomes.broken import knows_areas, with_broken
from sporecount.trial.outcomes.carry import Called, Carried, carry
from sporecount.trial.outcomes.eggs import judge_eggs
from sporecount.trial.outcomes.feeding import judge_feeding
from sporecount.trial.outcomes.vanished import Reduction, counted, reduce_against, rescaled
from sporecount.trial.plan import Trial
from sporecount.trial.result import ArmResult, SlidePoint, TrialResult
from sporecount.trial.result_tables import arms_table
from sporecount.trial.verdict import Evidence, verdict_on

SEED = 20_260_501


def judge(
    slides: pd.DataFrame,
    trial: Trial | None = None,
    *,
    eggs: pd.DataFrame | None = None,
    feeding: pd.DataFrame | None = None,
    followed: pd.DataFrame | None = None,
    rates: MisreadRates | pd.DataFrame | None = None,
    seed: int = SEED,
) -> TrialResult:
    """Judge a sanitizer trial from its tables. Nothing is read, written or changed in place.

    Parameters
    ----------
    slides : DataFrame
        A row for each slide: ``arm``, ``slide``, ``intact``, ``damaged``, ``fragment``; where
        known ``area_mm2``, ``fragment_area_um2``, ``spore_area_um2``, ``before_per_mm2``,
        ``reviewed``. Counts that a detector made are corrected for what it misreads; those
        of people, and reviewed ones, are not (see
        :func:`sporecount.trial.inputs.counted_by_detector`).
    trial : Trial, optional
        The plan; without it roles and agents are taken from the arms' names.
    eggs, feeding : DataFrame, optional
        Columns :data:`.EGG_COLUMNS`, :data:`.FEEDING_COLUMNS`.
    followed : DataFrame, optional
        A row for each field or slide of which the same spores were followed: ``arm``,
        ``slide`` and how many of those intact before are ``intact``, ``damaged``,
        ``fragment`` (in pieces) and ``gone``; others as in ``followed.csv``
        (:data:`sporecount.trial.followed.table.FIELD_COLUMNS`).
    rates : MisreadRates or DataFrame, optional
        What the detector misreads, or reviewed detections
        (:func:`sporecount.trial.misread.rates_from_reviewed`); else those that ship.
    seed : int
        Of the draws that carry doubt through.

    Returns
    -------
    TrialResult

    Raises
    ------
    TrialError
        If a table makes no sense.

    Examples
    --------
    >>> slides = pd.DataFrame({
    ...     "arm": ["water"] * 4 + ["bleach"] * 4, "slide": list("abcdefgh"),
    ...     "intact": [48, 51, 60, 47, 12, 9, 20, 14], "damaged": [2, 1, 3, 2, 40, 38, 44, 41],
    ...     "fragment": [0, 0, 1, 0, 9, 12, 6, 10]})
    >>> result = judge(slides)
    >>> result.control, result.arm("bleach").verdict.code
    ('water', 'breaks')
    """
    plan = trial or supposed_trial(list(dict.fromkeys(slides["arm"].astype(str))))
    given = checked_slides(slides, plan)
    table = with_broken(given)
    control, notes = _control(table, plan)
    if trial is None:
        notes = (_SUPPOSED, *notes)
    detector = Detector.of(table, rates, seed)
    seen = compare_arms(
        {arm.name: _shares(table, arm.name) for arm in plan.arms},
        control,
        tested=[arm.name for arm in plan.treated],
        level=plan.level,
        margin=plan.equivalence_margin,
    )
    carried = carry(
        seen,
        {arm.name: _called(table, arm.name) for arm in plan.arms},
        detector.draws,
        control,
        level=plan.level,
        margin=plan.equivalence_margin,
        seed=seed,
    )
    others = _Others(
        checked_eggs(eggs, plan) if eggs is not None else None,
        checked_feeding(feeding, plan) if feeding is not None else None,
        _fates(followed, plan, control, detector, rates, seed),
    )
    judged = _Judged(plan, table, control, seen, carried, detector, others)
    arms = tuple(judged.arm(arm) for arm in plan.arms)
    return TrialResult(
        arms, control or "", (*notes, *detector.notes, *_piece_notes(given)), arms_table(arms),
        table, method_words(plan, detector.rates, followed=bool(others.followed)), SOURCES,
    )  # fmt: skip


_SUPPOSED = "No plan was given: what the arms are is taken from their names."


@dataclass(frozen=True)
class _Others:
    eggs: pd.DataFrame | None
    feeding: pd.DataFrame | None
    followed: Mapping[str, Fates]


@dataclass(frozen=True)
class _Judged:
    """What is known of all arms, from which each arm's result is put together."""

    plan: Trial
    table: pd.DataFrame
    control: str | None
    seen: Mapping[str, Comparison]
    carried: Mapping[str, Carried]
    detector: Detector
    others: _Others

    def arm(self, arm: Arm) -> ArmResult:
        name, plan = arm.name, self.plan
        own = self.table[self.table["arm"] == name]
        carried = self.carried[name]
        vanished = self._vanished(name)
        corrected = None
        if vanished is not None and carried.log_intact_sd > 0:
            corrected = rescaled(vanished, carried.log_intact, carried.log_intact_sd, plan.level)
        eggs = feeding = None
        if self.others.eggs is not None:
            eggs = judge_eggs(
                self.others.eggs, name, self.control, margin=plan.egg_margin, level=plan.level
            )
        if self.others.feeding is not None:
            feeding = judge_feeding(
                self.others.feeding, name, self.control, level=plan.level, alpha=plan.alpha
            )
        fates = self.others.followed.get(name)
        evidence = Evidence(
            arm.role,
            arm.agent,
            carried.comparison,
            self.control or "",
            self.carried[self.control].comparison.share if self.control else math.nan,
            plan.smallest_effect,
            plan.equivalence_margin,
            plan.alpha,
            self._more(name) if arm.role == TREATED else None,
            self.detector.can_read(name),
            corrected or vanished,
            self._vanished(name, "total"),
            fates.sentences if fates is not None else (),
            eggs,
            feeding,
            _shows(fates, plan.alpha),
        )
        return ArmResult(
            name, arm.role, arm.agent, _points(own), carried.comparison, self.seen[name],
            vanished, corrected, fates, eggs, feeding, verdict_on(evidence),
            cautions_for(arm.agent), self._notes(name, own, vanished),
        )  # fmt: skip

    def _vanished(self, name: str, what: str = "intact") -> Reduction | None:
        if self.control is None or name == self.control or "area_mm2" not in self.table:
            return None
        pair = [self.table[self.table["arm"] == one] for one in (name, self.control)]
        if any(part["area_mm2"].notna().sum() == 0 for part in pair):
            return None
        column = "before_per_mm2"
        before = column in self.table and all(bool(part[column].gt(0).all()) for part in pair)
        slides = [
            counted(part[what], part["area_mm2"], part[column] if before else None) for part in pair
        ]
        return reduce_against(slides[0], slides[1], self.plan.level, before=before)

    def _more(self, name: str) -> int | None:
        """Return the slides more that would show the smallest effect, as it would be seen."""
        if self.control is None:
            return None
        own = self.table[self.table["arm"].isin([name, self.control])]
        numbers = own.groupby("arm").size()
        return more_slides(
            self.seen[self.control].share,
            self.plan.smallest_effect * self.detector.telling(name),
            self.seen[name].icc,
            float(own["total"].mean()),
            int(numbers.min()) if len(numbers) == 2 else 0,
            self.plan.alpha / max(1, len(self.plan.treated)),
        )

    def _notes(self, name: str, own: pd.DataFrame, vanished: Reduction | None) -> tuple[str, ...]:
        notes = [*self.seen[name].notes]
        if not len(own):
            notes = [f"{name}: no slides."]
        if self.carried[name].is_cut:
            notes.append(
                f"{name}: more spores are called broken than the detector's rates allow; the share "
                "is cut to 100 %, and its limits reach down to what was seen."
            )
        return (*notes, *(vanished.notes if vanished is not None else ()))


def _control(table: pd.DataFrame, plan: Trial) -> tuple[str | None, tuple[str, ...]]:
    """Return the arm that others are compared with, which must have spores, and what to say."""
    planned = plan.control_arm
    there = {
        role: arm.name
        for role in (WATER, UNTREATED)
        for arm in plan.arms
        if arm.role == role and table.loc[table["arm"] == arm.name, "total"].sum() > 0
    }
    if planned is not None and planned.name in there.values():
        words: tuple[str, ...] = (f"Arms are compared with {planned.name!r} ({planned.role}).",)
        if planned.role == UNTREATED:
            words += ("What wetting and rinsing alone break cannot be told apart.",)
        return planned.name, words
    if there:
        name = next(iter(there.values()))
        gone = planned.name if planned is not None else ""
        return name, (f"No spores of {gone!r} were counted: arms are compared with {name!r}.",)
    return None, (
        "There is no control with spores: arms are described, and nothing is compared. Add an "
        "untreated arm and one with water only.",
    )


def _fates(
    followed: pd.DataFrame | None,
    plan: Trial,
    control: str | None,
    detector: Detector,
    rates: MisreadRates | pd.DataFrame | None,
    seed: int,
) -> dict[str, Fates]:
    if followed is None or not len(followed):
        return {}
    fields = checked_fields(followed, {arm.name.casefold(): arm.name for arm in plan.arms})
    return judge_fates(
        fields,
        control,
        [arm.name for arm in plan.treated],
        detector.for_followed(fields, rates, seed),
        level=plan.level,
        margin=plan.equivalence_margin,
    )


def _shows(fates: Fates | None, alpha: float) -> bool | None:
    """Return whether followed spores show harm; None where nothing can be said of it."""
    if fates is None or math.isnan(fates.harmed.p_value):
        return None
    return fates.shows_harm(alpha)


def _shares(table: pd.DataFrame, arm: str) -> tuple[Any, Any]:
    own = table[table["arm"] == arm]
    return own["broken"].to_numpy(float), own["total"].to_numpy(float)


def _called(table: pd.DataFrame, arm: str) -> Called:
    own = table[table["arm"] == arm]
    pieces = [f"fragment_equivalents{end}" for end in ("", "_low", "_high")]
    names = ("intact", "damaged", "fragment", *pieces)
    return Called(*(float(own[name].sum()) for name in names))


def _points(own: pd.DataFrame) -> tuple[SlidePoint, ...]:
    areas = own["area_mm2"] if "area_mm2" in own else pd.Series(math.nan, own.index)
    return tuple(
        SlidePoint(
            str(row["arm"]),
            str(row["slide"]),
            float(row["intact"]),
            float(row["damaged"]),
            float(row["fragment"]),
            float(row["fragment_equivalents"]),
            float(row["broken_share"]),
            float(area),
            float(row["intact"]) / float(area) if area > 0 else math.nan,
        )
        for (_, row), area in zip(own.iterrows(), areas)
    )


def _piece_notes(table: pd.DataFrame) -> tuple[str, ...]:
    if knows_areas(table):
        return ()
    return (
        "Areas of pieces are not known everywhere: there a piece is taken for a third of a spore "
        "(from a fifth up to a spore of its own).",
    )
