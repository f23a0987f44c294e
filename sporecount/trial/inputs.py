"""Tables of a trial as they are judged: checked, and put in order."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from sporecount.trial.arm import Arm
from sporecount.trial.errors import TrialError, TrialFileError
from sporecount.trial.plan import Trial
from sporecount.trial.tables import EGG_COLUMNS, FEEDING_COLUMNS, SLIDE_REQUIRED

#: Columns of counts of states; one that is none of these is a mistake if it looks like one.
_COUNTS = SLIDE_REQUIRED[2:]
_LIKE_STATES = ("broken_spores", "fragments", "pieces", "whole", "spores_intact", "spores_damaged")
_NUMBERS = ("area_mm2", "fragment_area_um2", "spore_area_um2", "before_per_mm2")

#: What arms are where there is no plan, by words in their names; the first that fits.
_BY_NAME = (
    ("water", "water", ("water", "tap", "rinse")),
    ("untreated", "none", ("untreated", "control", "none", "blank")),
    ("treated", "hypochlorite", ("hypochlorite", "bleach", "chlorine")),
    ("treated", "uv-c", ("uv", "ultraviolet", "lamp")),
    ("treated", "spray", ("spray",)),
)


def supposed_trial(names: list[str]) -> Trial:
    """Return a plan for arms of which only the names are known.

    Examples
    --------
    >>> trial = supposed_trial(["water", "UV 15 W", "bleach 5 %"])
    >>> trial.control, [arm.agent for arm in trial.arms]
    ('water', ['water', 'uv-c', 'hypochlorite'])
    """
    arms: list[Arm] = []
    for name in names:
        role, agent = _meant(name)
        if role != "treated" and any(arm.role == role for arm in arms):
            role, agent = "treated", "other"
        arms.append(Arm(name, role, agent))
    return Trial("trial", tuple(arms))


def _meant(name: str) -> tuple[str, str]:
    for role, agent, words in _BY_NAME:
        if re.search(rf"\b({'|'.join(words)})", name.casefold()):
            return role, agent
    return "treated", "other"


def checked_slides(slides: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """Return the table of slides with names as text, numbers as numbers and the trial's arms.

    Raises
    ------
    TrialError
        If a column is missing or not known, a count is none, a slide is there twice, or an arm
        is not in the trial.
    """
    _check_columns(slides, SLIDE_REQUIRED, "table of slides")
    if not len(slides):
        raise TrialError("table of slides", "it has no row", "count at least one slide")
    for name in slides:
        if str(name) in _LIKE_STATES:
            raise TrialError(
                f"column {name!r} of the table of slides",
                "spores have the states intact, damaged and fragment",
                "rename it, or leave it out",
            )
    table = _with_arms(slides, trial, "table of slides")
    table["slide"] = table["slide"].astype(str).str.strip()
    where = [f"slide {s!r} of arm {a!r}" for a, s in zip(table["arm"], table["slide"])]
    for name in _COUNTS:
        table[name] = _counts(table[name], name, where)
    for name in _NUMBERS:
        if name in table:
            table[name] = _numbers(table[name], name, where)
    again = table.duplicated(["arm", "slide"])
    if again.any():
        raise TrialError(
            where[int(np.flatnonzero(again)[0])],
            "it is there twice",
            "add its counts up into one row, since the slide is the unit",
        )
    return table


def checked_eggs(eggs: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """Return the table of eggs, checked.

    Raises
    ------
    TrialError
        If it makes no sense.
    """
    _check_columns(eggs, EGG_COLUMNS, "table of eggs")
    table = _with_arms(eggs, trial, "table of eggs")
    return _parts(table, ("dipped", "hatched"), "eggs")


def checked_feeding(feeding: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """Return the table of the feeding test, checked; ``batch`` may be left out.

    Raises
    ------
    TrialError
        If it makes no sense.
    """
    needed = tuple(name for name in FEEDING_COLUMNS if name != "batch")
    _check_columns(feeding, needed, "feeding table")
    table = _with_arms(feeding, trial, "feeding table")
    return _parts(table, ("fed", "adults", "infected"), "feeding")


def counted_by_detector(slides: pd.DataFrame) -> pd.Series:
    """Return for each slide whether a detector counted it and no person looked it over.

    That is so where ``reviewed`` says no; without that column, where the table comes from
    photos (it has ``photos_used``). Tables of counts alone are people's.
    """
    if "reviewed" in slides:
        return ~slides["reviewed"].fillna(False).astype(bool)
    return pd.Series("photos_used" in slides, slides.index)


def _parts(table: pd.DataFrame, names: tuple[str, ...], what: str) -> pd.DataFrame:
    where = [f"{what}, arm {arm!r}" for arm in table["arm"]]
    for name in names:
        table[name] = _counts(table[name], name, where)
    for whole, part in zip(names, names[1:]):
        more = table[part] > table[whole]
        if more.any():
            at = int(np.flatnonzero(more)[0])
            row = table.iloc[at]
            raise TrialError(
                where[at], f"{part} {row[part]} is more than {whole} {row[whole]}", "correct it"
            )
    return table


def _check_columns(table: pd.DataFrame, needed: tuple[str, ...], what: str) -> None:
    missing = [name for name in needed if name not in table]
    if missing:
        raise TrialError(
            f"{what} with the columns {', '.join(map(str, table))}",
            f"there is no {' and no '.join(missing)}",
            f"needed are: {', '.join(needed)}",
        )


def _with_arms(table: pd.DataFrame, trial: Trial, what: str) -> pd.DataFrame:
    """Return a copy whose arms are spelt as the trial spells them."""
    names = {}
    for name in table["arm"].unique():
        try:
            names[name] = trial.arm(str(name)).name
        except TrialFileError as error:
            raise TrialError(f"{what}, {error.given}", error.wrong, error.remedy) from error
    return table.assign(arm=table["arm"].map(names).astype(str)).reset_index(drop=True)


def _counts(column: pd.Series, name: str, where: list[str]) -> pd.Series:
    values = _numbers(column, name, where)
    wrong = values.isna() | (values != values.round())
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        raise TrialError(
            f"{where[at]}, {name} {column.iloc[at]!r}",
            "it is a whole number, 0 or more",
            "write the count, 0 for none; leave out slides that were not counted",
        )
    return values.astype("int64")


def _numbers(column: pd.Series, name: str, where: list[str]) -> pd.Series:
    values = pd.to_numeric(column, errors="coerce").astype("float64")
    wrong = (values.isna() & column.notna()) | (values < 0) | np.isinf(values)
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        raise TrialError(
            f"{where[at]}, {name} {column.iloc[at]}", "it is a number, 0 or more", "correct it"
        )
    return values
