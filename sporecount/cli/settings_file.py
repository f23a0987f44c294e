"""Settings from a TOML file, laid over the defaults."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path
from typing import Any

from sporecount.errors import SettingsError
from sporecount.settings import Settings


def read_settings(path: Path) -> Settings:
    """Read a settings file.

    Parameters
    ----------
    path : Path
        TOML with a table for each group, such as ``[count]`` with ``level = 0.9``.

    Returns
    -------
    Settings
        Defaults, with what the file says in their place.

    Raises
    ------
    SettingsError
        If the file is no TOML, or has a setting that is unknown or of the wrong kind.
    """
    try:
        content = tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(str(path), f"it is no TOML file ({error})", "correct it") from error
    return settings_from(content, str(path))


def settings_from(content: dict[str, Any], given: str = "settings") -> Settings:
    """Lay nested values over the default settings.

    Examples
    --------
    >>> settings_from({"count": {"level": 0.9}}).count.level
    0.9
    >>> settings_from({"count": {"levle": 0.9}})
    Traceback (most recent call last):
    sporecount.errors.SettingsError: settings, count.levle: there is no such setting. \
Known in [count]: level, class_lower_bounds.
    """
    defaults = Settings()
    groups = {part.name: getattr(defaults, part.name) for part in dataclasses.fields(defaults)}
    for name, values in content.items():
        if name not in groups:
            _unknown(f"{given}, {name}", "group", f"known groups: {', '.join(groups)}")
        if not isinstance(values, dict):
            raise SettingsError(f"{given}, {name}", "it is a group", f"write it as [{name}]")
        groups[name] = _with_values(groups[name], name, values, given)
    return Settings(**groups)


def _with_values(group: Any, name: str, values: dict[str, Any], given: str) -> Any:
    known = {part.name: getattr(group, part.name) for part in dataclasses.fields(group)}
    for key, value in values.items():
        where = f"{given}, {name}.{key}"
        if key not in known:
            _unknown(where, "setting", f"known in [{name}]: {', '.join(known)}")
        known[key] = _like(known[key], value, where)
    try:
        return type(group)(**known)
    except ValueError as error:
        raise SettingsError(f"{given}, {name}", str(error), "correct it") from error


def _like(default: Any, value: Any, where: str) -> Any:
    """Return a value in the type of its default, or say what is expected."""
    if isinstance(default, bool) or isinstance(value, bool):
        fits = isinstance(default, bool) and isinstance(value, bool)
    elif isinstance(default, float):
        fits, value = isinstance(value, (int, float)), value
        value = float(value) if fits else value
    elif isinstance(default, tuple):
        fits = isinstance(value, list)
        value = tuple(_like(default[0], item, where) for item in value) if fits else value
    else:
        fits = isinstance(value, type(default))
    if not fits:
        shown = list(default) if isinstance(default, tuple) else default
        raise SettingsError(f"{where} = {value!r}", "it is of the wrong kind", f"such as {shown}")
    return value


def _unknown(where: str, what: str, known: str) -> None:
    raise SettingsError(where, f"there is no such {what}", known)
