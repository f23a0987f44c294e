"""One arm of a trial: what is done to its slides."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sporecount.bath.dilution import Dilution, dilute, round_to
from sporecount.bath.errors import BathError
from sporecount.bath.strength import PPM_PER_PERCENT, Strength, parse_strength
from sporecount.trial.errors import TrialFileError
from sporecount.trial.near import did_you_mean

UNTREATED, WATER, TREATED = "untreated", "water", "treated"

#: What an arm can be for: two kinds of control, and what is tried.
ROLES = (UNTREATED, WATER, TREATED)

#: What an arm can be treated with.
AGENTS = ("none", "water", "hypochlorite", "uv-c", "spray", "other")

#: The agent that each control has.
CONTROL_AGENTS = {UNTREATED: "none", WATER: "water"}

_BATH_ML = 100.0


@dataclass(frozen=True)
class Arm:
    """What is done to the slides of one arm.

    Attributes
    ----------
    name : str
        What it is called in tables; unique in a trial.
    role : str
        One of :data:`ROLES`.
    agent : str
        One of :data:`AGENTS`.
    product : str
        What is used, in your words.
    label_strength_pct : float or None
        Sodium hypochlorite (or other active) in the product, percent, as its label says.
    dilution : str
        Parts of product and of water such as ``"1 + 19"`` or ``"1 in 20"``; empty: neat.
    wanted_pct : float or None
        Active in the bath, percent, in place of a dilution.
    watts, distance_cm, dose_mj_cm2 : float or None
        A lamp's power, its distance from the slide, and the dose where it is measured.
    seconds : float or None
        How long it works.
    rinse, note : str
        How it is ended, and whatever else is worth knowing.

    Raises
    ------
    TrialFileError
        If a value makes no sense, or two contradict each other.

    Examples
    --------
    >>> Arm("bleach", "treated", "hypochlorite", label_strength_pct=6, dilution="1 + 19",
    ...     seconds=300).in_words()
    'hypochlorite; 1 part of product + 19 parts of water, that is 1 in 20; 0.3 % active; 300 s'
    """

    name: str
    role: str = TREATED
    agent: str = "other"
    product: str = ""
    label_strength_pct: float | None = None
    dilution: str = ""
    wanted_pct: float | None = None
    watts: float | None = None
    distance_cm: float | None = None
    dose_mj_cm2: float | None = None
    seconds: float | None = None
    rinse: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.name.isprintable():
            raise TrialFileError(
                f"name {self.name!r}", "an arm has a name, on one line", "write what you call it"
            )
        _one_of("role", self.role, ROLES)
        _one_of("agent", self.agent, AGENTS)
        self._check_role()
        for key in ("watts", "distance_cm", "dose_mj_cm2", "seconds"):
            _positive(key, getattr(self, key))
        for key in ("label_strength_pct", "wanted_pct"):
            _percent(key, getattr(self, key))
        self._check_strength()

    def _check_role(self) -> None:
        needed = CONTROL_AGENTS.get(self.role)
        if needed is not None and self.agent != needed:
            raise TrialFileError(
                f"agent {self.agent!r} of an arm whose role is {self.role!r}",
                f"the {self.role} control has the agent {needed!r}",
                f'write agent = "{needed}", or role = "{TREATED}"',
            )
        if self.role == TREATED and self.agent in CONTROL_AGENTS.values():
            control = next(role for role, agent in CONTROL_AGENTS.items() if agent == self.agent)
            raise TrialFileError(
                f"role {TREATED!r} of an arm whose agent is {self.agent!r}",
                "that is a control",
                f'write role = "{control}"',
            )

    def _check_strength(self) -> None:
        if self.dilution and self.wanted_pct is not None:
            raise TrialFileError(
                f"dilution {self.dilution!r} and wanted_pct {self.wanted_pct:g}",
                "both say how strong the bath is",
                "keep one of them; the other is worked out",
            )
        try:
            if self.dilution and parse_strength(self.dilution).share is None:
                raise TrialFileError(
                    f"dilution {self.dilution!r}",
                    "it is a strength and no dilution",
                    'write parts such as "1 + 19", or the percent as wanted_pct',
                )
            self.bath()
        except BathError as error:
            key = "dilution" if self.dilution else "wanted_pct"
            raise TrialFileError(f"{key}, {error.given}", error.wrong, error.remedy) from error

    def bath(self) -> Dilution | None:
        """Return 100 mL of the bath; None where label or strength is not given."""
        if self.label_strength_pct is None or not (self.dilution or self.wanted_pct is not None):
            return None
        want = (
            parse_strength(self.dilution)
            if self.dilution
            else Strength(ppm=(self.wanted_pct or 0.0) * PPM_PER_PERCENT)
        )
        return dilute(self.label_strength_pct, want, _BATH_ML)

    def in_words(self) -> str:
        """Return what is done, on one line."""
        bath = self.bath()
        parts = [self.agent if self.agent != "none" else "nothing is done", self.product]
        if bath is not None:
            parts += [bath.in_words(), f"{round_to(bath.active_percent)} % active"]
        else:
            parts += [
                self.dilution,
                _with_unit(self.wanted_pct, "% active"),
                _with_unit(self.label_strength_pct, "% by its label"),
            ]
        parts += [
            _with_unit(self.watts, "W"),
            _with_unit(self.distance_cm, "cm away"),
            _with_unit(self.dose_mj_cm2, "mJ/cm2"),
            _with_unit(self.seconds, "s"),
            f"rinse: {self.rinse}" if self.rinse else "",
            self.note,
        ]
        return "; ".join(part for part in parts if part)

    def gaps(self) -> dict[str, str]:
        """Return the keys that a reader would need to repeat this arm, and what they are.

        Examples
        --------
        >>> Arm("lamp", "treated", "uv-c", watts=15).gaps()
        {'seconds': 'how long', 'distance_cm': 'how far away'}
        """
        if self.role != TREATED:
            return {}
        wanted = {"seconds": "how long"}
        if self.agent == "hypochlorite":
            wanted["label_strength_pct"] = "the strength on the label"
            if self.wanted_pct is None:
                wanted["dilution"] = 'such as "1 + 19"'
        if self.agent == "uv-c" and self.dose_mj_cm2 is None:
            wanted.update(watts="the lamp's power", distance_cm="how far away")
        if self.agent in ("spray", "other"):
            wanted["product"] = "what it is"
        return {key: words for key, words in wanted.items() if getattr(self, key) in (None, "")}


def _with_unit(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:g} {unit}"


def _one_of(key: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        raise TrialFileError(f"{key} {value!r}", f"there is no such {key}", _known(value, known))


def _known(value: str, known: tuple[str, ...]) -> str:
    remedy = did_you_mean(value, known)
    return remedy if remedy.startswith("known") else f"{remedy}; known are: {', '.join(known)}"


def _positive(key: str, value: float | None) -> None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise TrialFileError(f"{key} {value:g}", "it is above 0", "correct it, or leave it out")


def _percent(key: str, value: float | None) -> None:
    if value is not None and not 0 < value <= 100:
        raise TrialFileError(
            f"{key} {value:g}", "it is a percentage above 0, at most 100", "read the label again"
        )
