"""The file that keeps what was measured on the user's own microscopes."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.detect.table import STATES
from sporecount.microscope import Adjustment, Microscope
from sporecount.report.files import write_whole
from sporecount.review.errors import ReviewError
from sporecount.scale.saved import calibrations_path
from sporecount.trial.misread import MisreadRates, misread_from

FILE_NAME = "microscopes.json"
VERSION = 1


def microscopes_path() -> Path:
    """Return the file; it need not exist. It lies beside that of saved scales."""
    return calibrations_path().with_name(FILE_NAME)


def load_microscopes() -> tuple[Microscope, ...]:
    """Return all microscopes that something is known of, sorted by name.

    Raises
    ------
    ReviewError
        If the file is damaged: going on without it would give other results unasked.
    """
    path = microscopes_path()
    try:
        kept = json.loads(path.read_text("utf-8"))
        found = [_from_json(name, entry) for name, entry in kept["microscopes"].items()]
    except FileNotFoundError:
        return ()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ReviewError) as error:
        raise ReviewError(
            str(path),
            "the file of your microscopes cannot be read",
            "mend it or move it away, or count with --as-shipped",
        ) from error
    return tuple(sorted(found, key=lambda one: one.name))


def microscope_named(name: str) -> Microscope:
    """Return a microscope by its name.

    Raises
    ------
    ReviewError
        If nothing is known of one of that name.
    """
    known = load_microscopes()
    for one in known:
        if one.name == name:
            return one
    names = ", ".join(one.name for one in known)
    raise ReviewError(
        f"microscope {name!r}",
        "nothing was measured on it yet",
        f"give one of {names}" if names else "measure one with `sporecount microscope measure`",
    )


def keep_microscope(one: Microscope) -> None:
    """Keep what is known of a microscope, in place of what was.

    Raises
    ------
    ReviewError
        If the file cannot be read or written.
    """
    others = [other for other in load_microscopes() if other.name != one.name]
    _write([*others, one])


def forget_microscope(name: str) -> None:
    """Forget all that was measured on a microscope: the tool works there as it comes.

    Raises
    ------
    ReviewError
        If there is none of that name, or the file cannot be written.
    """
    microscope_named(name)
    _write([one for one in load_microscopes() if one.name != name])


def go_back(name: str) -> Microscope:
    """Take a microscope's adjustment away, and return what is known of it without.

    Raises
    ------
    ReviewError
        If there is none of that name, or no adjustment.
    """
    now = microscope_named(name)
    if now.adjustment is None:
        raise ReviewError(
            f"microscope {name!r}", "it has no adjustment", "there is nothing to go back from"
        )
    plain = now.before or replace(now, adjustment=None, rates=None, misread=None)
    keep_microscope(plain)
    return plain


def today() -> str:
    """Return the day, as microscopes are dated."""
    return datetime.date.today().isoformat()


def _write(microscopes: Sequence[Microscope]) -> None:
    entries = {one.name: _as_json(one) for one in sorted(microscopes, key=lambda one: one.name)}
    text = json.dumps(
        {"version": VERSION, "microscopes": entries}, indent=2, ensure_ascii=False, allow_nan=False
    )
    path = microscopes_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, (text + "\n").encode())
    except OSError as error:
        raise ReviewError(
            str(path), f"it cannot be written ({error.strerror or error})", "check your rights"
        ) from error


def _as_json(one: Microscope) -> dict[str, Any]:
    misread = None
    if one.misread is not None:
        misread = {
            "called": dict(zip(STATES, map(list, one.misread.called))),
            "false": list(one.misread.false),
            "measured_on": one.misread.measured_on,
        }
    return {
        "um_per_px": list(one.um_per_px),
        "date": one.date,
        "rates": None if one.rates is None else _rates_json(one.rates),
        "misread": misread,
        "adjustment": None if one.adjustment is None else asdict(one.adjustment),
        "before": None if one.before is None else _as_json(one.before),
    }


def _from_json(name: str, entry: dict[str, Any]) -> Microscope:
    low, high = map(float, entry["um_per_px"])
    rates, misread, adjustment = entry["rates"], entry["misread"], entry["adjustment"]
    return replace(
        Microscope(name, (low, high), str(entry["date"])),
        # What confidences are worth belongs to the detector, not to the microscope.
        rates=None
        if rates is None
        else DetectorRates(**rates, confidence_law=load_rates().confidence_law),
        misread=None if misread is None else _misread(misread),
        adjustment=None if adjustment is None else Adjustment(**adjustment),
        before=None if entry.get("before") is None else _from_json(name, entry["before"]),
    )


def _rates_json(rates: DetectorRates) -> dict[str, Any]:
    kept = asdict(rates)
    del kept["confidence_law"], kept["photo_law"]
    return kept


def _misread(entry: dict[str, Any]) -> MisreadRates:
    from sporecount.trial.errors import TrialError

    try:
        return misread_from(entry)
    except TrialError as error:
        raise ValueError(str(error)) from error
