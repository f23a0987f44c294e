"""The trial file (TOML): read with the line of what is wrong, written with what each key means."""

from __future__ import annotations

import dataclasses
import datetime
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sporecount.report.files import write_whole
from sporecount.trial.arm import Arm
from sporecount.trial.errors import TrialFileError
from sporecount.trial.near import did_you_mean
from sporecount.trial.plan import Trial

#: What is written above each key of the trial.
_TRIAL_COMMENTS = {
    "date": "When it is done: year-month-day.",
    "question": "What you want to know, in a sentence.",
    "smallest_effect": "The smallest difference that matters to you: 0.2 means that 20 of 100 "
    "spores more\nare broken than in the control. Settle it before you look at any slide.",
    "equivalence_margin": "A difference smaller than this counts as no visible breakage.",
    "egg_margin": "So much less hatching than in the control you would still put up with: 0.1 is "
    "10 of 100 eggs.",
    "level": "Confidence level of the intervals, and chance of a false alarm.",
    "control": 'The arms are compared with the one of this role: "water" or "untreated".',
    "slides_per_arm": "What is planned for each arm and slide; `sporecount trial design` works it "
    "out.",
    "taken_apart": "true: the photos of a slide lie apart, as the sheet says. false: nobody knows; "
    "photos\nthat may overlap, with too little on them to tell, are then left out.",
    "photos": "Folder of the photos, and the tables, seen from this file. Leave empty what there "
    "is not.\nsheet: a row for each photo. key: what the slide codes stand for.",
    "eggs": "Eggs: arm, batch, dipped, hatched. Feeding test: arm, batch, fed, adults, infected.\n"
    "Followed: arm, slide, before, after (photos of the same place).",
}

_HEAD = """A trial of sanitizers. Lines that start with # are remarks for you.
Once the trial is done, have it judged with: sporecount trial report {file} --out results"""

_ARMS_HEAD = """The arms: what is done to the slides of each. Write what somebody else would need to
do the same: product, label_strength_pct, dilution ("1 + 19": parts of product + parts of water),
or wanted_pct (percent active in the bath); watts, distance_cm, dose_mj_cm2; seconds; rinse; note.
role: untreated, water or treated. agent: none, water, hypochlorite, uv-c, spray or other."""


def read_trial(path: str | Path) -> Trial:
    """Read a trial file.

    Parameters
    ----------
    path : str or Path
        TOML with the fields of `Trial`, and a table ``[[arms]]`` for each `Arm`.

    Raises
    ------
    TrialFileError
        If the file cannot be read, is no TOML, or has a key that is unknown or whose value
        makes no sense; the line is named.
    """
    path = Path(path)
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TrialFileError(str(path), "it is no text in UTF-8", "save it as UTF-8") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise TrialFileError(
            str(path),
            f"it cannot be read ({reason})",
            "check the name, or make one with `sporecount trial new`",
        ) from error
    return parse_trial(text, path.name)


def parse_trial(text: str, given: str = "trial") -> Trial:
    r"""Read a trial from the text of its file; see :func:`read_trial`.

    Examples
    --------
    >>> parse_trial('name = "May"\ndat = 1\n')
    Traceback (most recent call last):
    sporecount.trial.errors.TrialFileError: trial, line 2, dat: there is no such key. Write "date".
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TrialFileError(
            given, f"it is no TOML ({error})", "text goes in quotes, numbers have decimal points"
        ) from error
    lines = _Lines(text, given)
    tables = content.pop("arms", [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise TrialFileError(
            lines.at("arms"), "the arms are tables", "write [[arms]] above each of them"
        )
    if not tables and "arm" in content:
        raise TrialFileError(lines.at("arm"), "there is no such key", "write [[arms]]")
    values = _values(Trial, content, lines, None)
    arms = tuple(
        _made(Arm, _values(Arm, table, lines, number), lines, number)
        for number, table in enumerate(tables)
    )
    return _made(Trial, {**values, "arms": arms}, lines, None)


def write_trial(path: str | Path, trial: Trial) -> None:
    """Write a trial file with a remark above each key; a file of that name is replaced."""
    path = Path(path)
    write_whole(path, trial_text(trial, path.name).encode("utf-8"))


def trial_text(trial: Trial, file: str = "TRIAL.toml") -> str:
    """Return the text of a trial file.

    Examples
    --------
    >>> trial = Trial("May", (Arm("tap", "water", "water"),))
    >>> parse_trial(trial_text(trial)) == trial
    True
    """
    import tomlkit

    document = tomlkit.document()
    for line in _HEAD.format(file=file).splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    for key, value in _plain(trial).items():
        if key in _TRIAL_COMMENTS:
            document.add(tomlkit.nl())
            for line in _TRIAL_COMMENTS[key].splitlines():
                document.add(tomlkit.comment(line))
        document.add(key, tomlkit.item(value))
    document.add(tomlkit.nl())
    for line in _ARMS_HEAD.splitlines():
        document.add(tomlkit.comment(line))
    tables = tomlkit.aot()
    for arm in trial.arms:
        table = tomlkit.table()
        for key, value in _plain(arm).items():
            if value not in (None, ""):
                table.add(key, value)
        for key, words in arm.gaps().items():
            table.add(tomlkit.comment(f"{key} =   ({words})"))
        tables.append(table)
    document.add("arms", tables)
    return tomlkit.dumps(document)


def _plain(one: Trial | Arm) -> dict[str, Any]:
    """Return the fields in the order in which they are written, name first."""
    names = [part.name for part in dataclasses.fields(one) if part.name != "arms"]
    return {name: getattr(one, name) for name in names}


class _Lines:
    """Where the keys of a trial file are."""

    def __init__(self, text: str, given: str) -> None:
        self._lines = text.splitlines()
        self._given = given

    def at(self, key: str, arm: int | None = None) -> str:
        """Return file, line and key, for messages; ``arm`` is the arm's number from 0."""
        headings = [n for n, line in enumerate(self._lines) if re.match(r"\s*\[\[", line)]
        first, last = 0, headings[0] if headings else len(self._lines)
        if arm is not None and arm < len(headings):
            first = headings[arm]
            last = headings[arm + 1] if arm + 1 < len(headings) else len(self._lines)
        pattern = re.compile(rf"""\s*\[?["']?{re.escape(key)}["']?\s*[=\]]""")
        for number in range(first, last):
            if pattern.match(self._lines[number]):
                return f"{self._given}, line {number + 1}, {key}"
        return f"{self.arm(arm)}, {key}"

    def arm(self, arm: int | None) -> str:
        """Return the file and the line where an arm begins."""
        if arm is None:
            return self._given
        headings = [n for n, line in enumerate(self._lines) if re.match(r"\s*\[\[", line)]
        line = f", line {headings[arm] + 1}" if arm < len(headings) else ""
        return f"{self._given}{line}, arm {arm + 1}"


def _values(
    kind: type[Trial] | type[Arm], table: Mapping[str, Any], lines: _Lines, arm: int | None
) -> dict[str, Any]:
    """Check the keys of a table and the types of their values."""
    types = {part.name: str(part.type) for part in dataclasses.fields(kind) if part.name != "arms"}
    values = {}
    for key, value in table.items():
        if key not in types:
            remedy = did_you_mean(key, types)
            if remedy.startswith("known") and key in {f.name for f in dataclasses.fields(Arm)}:
                remedy = "it belongs below [[arms]]"
            raise TrialFileError(lines.at(key, arm), "there is no such key", remedy)
        values[key] = _typed(value, types[key], lines.at(key, arm))
    return values


def _typed(value: Any, kind: str, where: str) -> Any:
    if kind == "str":
        if isinstance(value, datetime.date):
            return value.isoformat()[:10]
        if isinstance(value, str):
            return value.strip()
        raise TrialFileError(f"{where} = {value!r}", "it is text", "put it in quotes")
    if kind == "bool":
        if isinstance(value, bool):
            return value
        raise TrialFileError(f"{where} = {value!r}", "it is true or false", "write it so")
    whole = kind == "int"
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        what = "a whole number" if whole else "a number"
        raise TrialFileError(f"{where} = {value!r}", f"it is {what}", "write it without quotes")
    return value if whole else float(value)


def _made(kind: type[Any], values: dict[str, Any], lines: _Lines, arm: int | None) -> Any:
    """Make a trial or an arm; an error names the line."""
    if "name" not in values:
        raise TrialFileError(lines.arm(arm), 'the key "name" is missing', 'write name = "..."')
    if arm is not None and "role" not in values and values.get("agent") in ("none", "water"):
        values = {**values, "role": "untreated" if values["agent"] == "none" else "water"}
    try:
        return kind(**values)
    except TrialFileError as error:
        key = error.given.split(" ")[0].rstrip(",")
        where = lines.at(key, arm) if key in values else f"{lines.arm(arm)}, {key}"
        raise TrialFileError(
            f"{where}{error.given.removeprefix(key)}", error.wrong, error.remedy
        ) from error
