"""What is found of a trial: each slide, each arm, and a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.followed.result import Fates
from sporecount.trial.outcomes.eggs import EggSafety
from sporecount.trial.outcomes.feeding import Feeding
from sporecount.trial.outcomes.vanished import Reduction

BREAKS = "breaks"
BREAKS_SOME = "breaks some"
NONE_SHOWN = "no visible breakage shown"
OPEN = "can't tell yet"
UNSETTLED = "looks don't settle this"
CONTROL = "control"

#: Every verdict. None of them says that an agent failed: looks can't show that.
VERDICTS = (BREAKS, BREAKS_SOME, NONE_SHOWN, OPEN, UNSETTLED, CONTROL)


@dataclass(frozen=True)
class Verdict:
    """What follows for one arm.

    Attributes
    ----------
    code : str
        One of :data:`VERDICTS`.
    sentences : tuple of str
        How surely and how much, what is not known, and what would settle it.
    """

    code: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class SlidePoint:
    """One slide, as counted.

    Attributes
    ----------
    arm, slide : str
        Its arm and name.
    intact, damaged, fragment : float
        What was called so.
    equivalents : float
        Fragments as spores, by area.
    broken : float
        Broken share as seen; nan on a slide without spores.
    area_mm2, intact_per_mm2 : float
        nan where the area is not known.
    """

    arm: str
    slide: str
    intact: float
    damaged: float
    fragment: float
    equivalents: float
    broken: float
    area_mm2: float
    intact_per_mm2: float


@dataclass(frozen=True)
class ArmResult:
    """All that is found of one arm.

    Attributes
    ----------
    arm, role, agent : str
        As in the trial.
    slides : tuple of SlidePoint
        Its slides.
    broken : Comparison
        The broken share, with the detector's error and the size of pieces allowed for.
    seen : Comparison
        The same, as it was seen.
    vanished : Reduction or None
        Whole spores per mm2 against the control, as counted; None for the control and where
        there is none.
    vanished_corrected : Reduction or None
        With what was misread allowed for; None where nothing was misread.
    followed : Fates or None
        Fates of the same spores before and after.
    eggs : EggSafety or None
        Eggs dipped and hatched.
    feeding : Feeding or None
        The feeding test.
    verdict : Verdict
        What follows.
    cautions : tuple of str
        What to beware of with the agent.
    notes : tuple of str
        What can't be known, and what was left out.
    """

    arm: str
    role: str
    agent: str
    slides: tuple[SlidePoint, ...]
    broken: Comparison
    seen: Comparison
    vanished: Reduction | None
    vanished_corrected: Reduction | None
    followed: Fates | None
    eggs: EggSafety | None
    feeding: Feeding | None
    verdict: Verdict
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class TrialResult:
    """A judged trial.

    Attributes
    ----------
    arms : tuple of ArmResult
        In the order of the trial.
    control : str
        Name of the arm that others are compared with; empty where there is none.
    notes : tuple of str
        Of the trial as a whole.
    arms_table : DataFrame
        A row for each arm: :data:`sporecount.trial.tables.ARM_COLUMNS`, then others.
    slides_table : DataFrame
        A row for each slide: what was given, then what was worked out.
    method : tuple of str
        How it was judged, in sentences.
    sources : tuple of str
        Keys of ``docs/bibliography.md``.
    """

    arms: tuple[ArmResult, ...]
    control: str
    notes: tuple[str, ...]
    arms_table: pd.DataFrame
    slides_table: pd.DataFrame
    method: tuple[str, ...]
    sources: tuple[str, ...]

    def arm(self, name: str) -> ArmResult:
        """Return an arm by its name.

        Raises
        ------
        KeyError
            If there is none.
        """
        for one in self.arms:
            if one.arm == name:
                return one
        raise KeyError(name)
