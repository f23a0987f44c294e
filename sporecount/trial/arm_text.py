"""An arm as people write it on one line: a name, and what is done."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from sporecount.bath.errors import BathError
from sporecount.bath.strength import PPM_PER_PERCENT, parse_label, parse_strength
from sporecount.trial.arm import AGENTS, CONTROL_AGENTS, TREATED, Arm
from sporecount.trial.errors import TrialFileError
from sporecount.trial.near import did_you_mean

#: What people call an agent, beside its own name.
_ALSO = {"bleach": "hypochlorite", "untreated": "none", "uv": "uv-c", "uvc": "uv-c", "lamp": "uv-c"}

_NUMBER = r"(\d+(?:\.\d*)?|\.\d+)"

#: Pattern -> field and what its number is multiplied by.
_MEASURES: tuple[tuple[str, str, float], ...] = (
    (rf"{_NUMBER}\s*(?:s|sec|seconds?)", "seconds", 1.0),
    (rf"{_NUMBER}\s*(?:min|minutes?)", "seconds", 60.0),
    (rf"{_NUMBER}\s*(?:h|hours?)", "seconds", 3600.0),
    (rf"{_NUMBER}\s*(?:w|watts?)", "watts", 1.0),
    (rf"{_NUMBER}\s*cm", "distance_cm", 1.0),
    (rf"{_NUMBER}\s*mm", "distance_cm", 0.1),
    (rf"{_NUMBER}\s*mj/cm2", "dose_mj_cm2", 1.0),
)

_HOW = (
    'write it like "bleach: hypochlorite, label 6, 1+19, 5 min" or "lamp: uv-c, 15 W, 10 cm, 60 s"'
)

#: Arms of a trial for which none are given.
DEFAULT_ARMS = ("untreated", "water", "hypochlorite", "uv-c", "spray")


def parse_arm(text: str) -> Arm:
    """Read an arm.

    Parameters
    ----------
    text : str
        A name, a colon, and what is done, with commas between: an agent; a strength such as
        ``1+19``, ``1in20`` or ``0.3%active``; ``label 6`` (percent on the label); ``5 min``,
        ``60 s``; ``15 W``; ``10 cm``; ``40 mJ/cm2``; ``product ...``, ``rinse ...``,
        ``note ...``. An agent alone is its own name.

    Raises
    ------
    TrialFileError
        If a part means nothing, or two mean the same.

    Examples
    --------
    >>> arm = parse_arm("soak: bleach, label 6%, 1+19, 5 min, rinse water")
    >>> arm.name, arm.agent, arm.dilution, arm.seconds, arm.rinse
    ('soak', 'hypochlorite', '1+19', 300.0, 'water')
    >>> parse_arm("water").role
    'water'
    """
    name, colon, rest = text.partition(":")
    values: dict[str, Any] = {}
    for part in filter(None, map(str.strip, (rest if colon else name).split(","))):
        for key, value in _meaning(part, text).items():
            if key in values:
                raise TrialFileError(
                    f"arm {text!r}", f"{part!r} says again what is said already", "keep one of them"
                )
            values[key] = value
    agent = values.setdefault("agent", "other")
    roles = {agent: role for role, agent in CONTROL_AGENTS.items()}
    try:
        return Arm(name=name.strip(), role=roles.get(agent, TREATED), **values)
    except TrialFileError as error:
        raise TrialFileError(f"arm {text!r}, {error.given}", error.wrong, error.remedy) from error


def default_arms() -> tuple[Arm, ...]:
    """Return two controls and what people try most.

    Examples
    --------
    >>> [arm.role for arm in default_arms()]
    ['untreated', 'water', 'treated', 'treated', 'treated']
    """
    return tuple(map(parse_arm, DEFAULT_ARMS))


def _meaning(part: str, text: str) -> dict[str, Any]:
    """Return the field that a part sets, and its value."""
    plain = part.casefold()
    if plain in AGENTS or plain in _ALSO:
        return {"agent": _ALSO.get(plain, plain)}
    for pattern, key, factor in _MEASURES:
        if found := re.fullmatch(pattern, plain):
            return {key: float(found[1]) * factor}
    readers: dict[str, tuple[str, Callable[[str], Any]]] = {
        "label": ("label_strength_pct", parse_label),
        "product": ("product", str),
        "rinse": ("rinse", str),
        "note": ("note", str),
    }
    first, _, rest = part.partition(" ")
    try:
        if first.casefold() in readers and rest.strip():
            key, read = readers[first.casefold()]
            return {key: read(rest.strip())}
        if re.match(r"[\d.]", part):
            strength = parse_strength(part)
            if strength.share is not None:
                return {"dilution": part}
            return {"wanted_pct": (strength.ppm or 0.0) / PPM_PER_PERCENT}
    except BathError as error:
        remedy = _HOW if error.wrong == "it is no strength" else error.remedy
        raise TrialFileError(f"arm {text!r}, {part!r}", error.wrong, remedy) from error
    where = f"arm {text!r}" + (f", {part!r}" if part != text.strip() else "")
    near = did_you_mean(plain, [*AGENTS, *_ALSO])
    remedy = near if near.startswith("write") else _HOW
    raise TrialFileError(where, "that means nothing here", remedy)
