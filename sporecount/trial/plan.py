"""The plan of a trial: its arms, what it is to show, and where its tables lie."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from sporecount.trial.arm import CONTROL_AGENTS, TREATED, UNTREATED, WATER, Arm
from sporecount.trial.errors import TrialFileError
from sporecount.trial.near import did_you_mean

__all__ = ["Arm", "Trial"]


@dataclass(frozen=True)
class Trial:
    """A sanitizer trial as it was planned.

    Attributes
    ----------
    name : str
        What it is called.
    arms : tuple of Arm
        At least one; names are unique, and there is at most one arm for each control.
    date : str
        When it was done, as 2026-05-01; empty where not known.
    question : str
        What it is to answer.
    smallest_effect : float
        Smallest difference of the broken share, arm minus control, that matters.
    equivalence_margin, egg_margin : float
        Differences of the broken share, and of the hatched share, too small to matter.
    level, alpha : float
        Confidence level of intervals; chance of a false alarm that is accepted.
    control : str
        Role of the arm that the others are compared with: ``"water"`` or ``"untreated"``.
        Where it is not given, water if there is such an arm, else untreated; empty
        where there is neither.
    slides_per_arm, photos_per_slide, spores_per_slide : int
        What is planned.
    taken_apart : bool
        Whoever took the photos moved on by more than a photo each time: those that match
        nowhere are then taken to lie apart. Photos that do match are always united.
    photos, sheet, key, eggs, feeding, followed : str
        Folder of photos and tables, relative to the trial file; empty where there is none.
        ``key`` decodes the slide codes of a sheet that is blind.

    Raises
    ------
    TrialFileError
        If a value makes no sense.

    Examples
    --------
    >>> trial = Trial("May", (Arm("tap", "water", "water"), Arm("lamp", "treated", "uv-c")))
    >>> trial.control, trial.control_arm.name
    ('water', 'tap')
    """

    name: str
    arms: tuple[Arm, ...]
    date: str = ""
    question: str = ""
    smallest_effect: float = 0.2
    equivalence_margin: float = 0.1
    egg_margin: float = 0.1
    level: float = 0.95
    alpha: float = 0.05
    control: str = ""
    slides_per_arm: int = 4
    photos_per_slide: int = 6
    spores_per_slide: int = 50
    taken_apart: bool = False
    photos: str = ""
    sheet: str = ""
    key: str = ""
    eggs: str = ""
    feeding: str = ""
    followed: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.name.isprintable():
            raise TrialFileError(
                f"name {self.name!r}", "a trial has a name, on one line", "write what you call it"
            )
        _check_date(self.date)
        for key, most in (
            ("smallest_effect", 1.0),
            ("equivalence_margin", 1.0),
            ("egg_margin", 1.0),
            ("level", 1.0),
            ("alpha", 0.5),
        ):
            value = getattr(self, key)
            if not 0 < value < most:
                raise TrialFileError(
                    f"{key} {value:g}",
                    f"it lies between 0 and {most:g}",
                    f"write a number such as {_EXAMPLES[key]:g}",
                )
        for key in ("slides_per_arm", "photos_per_slide", "spores_per_slide"):
            if getattr(self, key) < 1:
                raise TrialFileError(f"{key} {getattr(self, key)}", "it is 1 or more", "correct it")
        _check_arms(self.arms)
        object.__setattr__(self, "control", _control(self.control, self.arms))

    @property
    def control_arm(self) -> Arm | None:
        """The arm that the others are compared with; None where there is no control."""
        return next((arm for arm in self.arms if arm.role == self.control), None)

    @property
    def treated(self) -> tuple[Arm, ...]:
        """The arms that are tried."""
        return tuple(arm for arm in self.arms if arm.role == TREATED)

    def arm(self, name: str) -> Arm:
        """Return an arm by its name, without regard to case.

        Raises
        ------
        TrialFileError
            If there is none.
        """
        for arm in self.arms:
            if " ".join(arm.name.split()).casefold() == " ".join(name.split()).casefold():
                return arm
        known = [arm.name for arm in self.arms]
        raise TrialFileError(
            f"arm {name!r}", "the trial has no such arm", did_you_mean(name, known)
        )

    def remarks(self) -> tuple[str, ...]:
        """Return what is missing for a trial that others can repeat and believe."""
        found = []
        if self.control_arm is None:
            found.append(
                "There is no control: nothing can be compared. Add an untreated arm and one "
                "with water only."
            )
        elif self.control == UNTREATED:
            found.append(
                "There is no arm with water only, so the arms are compared with the untreated "
                "one: what wetting and rinsing alone break cannot be told apart."
            )
        if not self.treated:
            found.append("There is no treated arm: nothing is tried.")
        found += [
            f"Arm {arm.name}: fill in "
            + ", ".join(f"{key} ({words})" for key, words in arm.gaps().items())
            + "."
            for arm in self.arms
            if arm.gaps()
        ]
        return tuple(found)


_EXAMPLES = {
    "smallest_effect": 0.2,
    "equivalence_margin": 0.1,
    "egg_margin": 0.1,
    "level": 0.95,
    "alpha": 0.05,
}


def _check_date(date: str) -> None:
    if not date:
        return
    try:
        datetime.date.fromisoformat(date)
    except ValueError as error:
        raise TrialFileError(
            f"date {date!r}", "it is no date", "write year, month and day as 2026-05-01"
        ) from error


def _check_arms(arms: tuple[Arm, ...]) -> None:
    if not arms:
        raise TrialFileError("arms", "there is none", "write each arm as a table [[arms]]")
    seen: dict[str, str] = {}
    for arm in arms:
        folded = " ".join(arm.name.split()).casefold()
        if folded in seen:
            raise TrialFileError(
                f"arms {seen[folded]!r} and {arm.name!r}",
                "two arms have the same name",
                "give each a name of its own",
            )
        seen[folded] = arm.name
    for role in CONTROL_AGENTS:
        own = [arm.name for arm in arms if arm.role == role]
        if len(own) > 1:
            raise TrialFileError(
                f"arms {' and '.join(map(repr, own))}",
                f"both have the role {role!r}",
                "put the slides of both into one arm",
            )


def _control(given: str, arms: tuple[Arm, ...]) -> str:
    there = [role for role in (WATER, UNTREATED) if any(arm.role == role for arm in arms)]
    if not given:
        return there[0] if there else ""
    if given not in (WATER, UNTREATED):
        raise TrialFileError(
            f"control {given!r}",
            'it is "water" or "untreated": the role of the arm that others are compared with',
            f'write control = "{there[0]}"' if there else "leave it out",
        )
    if given not in there:
        raise TrialFileError(
            f"control {given!r}",
            "no arm has that role",
            f'write control = "{there[0]}"' if there else f'give an arm the role "{given}"',
        )
    return given
