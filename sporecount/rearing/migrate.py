"""Numbered migrations: from an older log to the present one, with a copy kept before."""

from __future__ import annotations

import re
import sqlite3
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from sporecount.rearing.errors import LogError
from sporecount.rearing.store import connect, reading, writing

#: Marks a database file as a rearing log ("Spor" in bytes).
APPLICATION_ID = 0x53706F72

_FILE_NAME = re.compile(r"(\d{4})_\w+\.sql")


@dataclass(frozen=True)
class Migration:
    """One step.

    Attributes
    ----------
    number : int
        Version of the log after it.
    sql : str
        Statements.
    """

    number: int
    sql: str


@lru_cache(maxsize=1)
def migrations() -> tuple[Migration, ...]:
    """Return all migrations, in order."""
    folder = resources.files("sporecount.rearing") / "migrations"
    named = [(_FILE_NAME.fullmatch(file.name), file) for file in folder.iterdir()]
    return tuple(
        sorted(
            (Migration(int(name[1]), file.read_text("utf-8")) for name, file in named if name),
            key=lambda migration: migration.number,
        )
    )


def migrate(
    connection: sqlite3.Connection, path: Path, steps: Sequence[Migration] | None = None
) -> Path | None:
    """Bring a log to the newest version.

    Each step is one transaction with the record of its number, so a crash leaves
    the log before the step or after it. Programs that do it at once wait for each
    other.

    Parameters
    ----------
    connection : Connection
        From :func:`sporecount.rearing.store.connect`.
    path : Path
        The file.
    steps : sequence of Migration, optional
        All by default.

    Returns
    -------
    Path or None
        The copy made before; None where the log was new or up to date.

    Raises
    ------
    LogError
        If the file is another program's, or from a newer version of this one.
    """
    steps = migrations() if steps is None else steps
    newest = steps[-1].number
    backup: Path | None = None
    _check_ours(connection, path, newest)
    while _version(connection) < newest:
        with writing(connection):
            version = _version(connection)
            step = next((one for one in steps if one.number > version), None)
            if step is None:
                break  # another program was quicker
            if version and backup is None:
                backup = _copy(path, step.number)
            for statement in statements(step.sql):
                connection.execute(statement)
            broken = connection.execute("PRAGMA foreign_key_check").fetchone()
            if broken:
                raise LogError(
                    str(path), f"migration {step.number} breaks it", f"the copy is {backup}"
                )
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {step.number}")
    return backup


def statements(sql: str) -> Iterator[str]:
    """Yield the single statements of a script; triggers stay whole.

    Examples
    --------
    >>> list(statements("SELECT 1; SELECT 2;"))
    ['SELECT 1;', 'SELECT 2;']
    """
    begun = ""
    for piece in re.split(r"(?<=;)", sql):
        begun += piece
        if sqlite3.complete_statement(begun):
            yield begun.strip()
            begun = ""


def _check_ours(connection: sqlite3.Connection, path: Path, newest: int) -> None:
    with reading(connection):  # at one moment: another program may be making the log just now
        version = _version(connection)
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if application != APPLICATION_ID and (version or tables):
        raise LogError(str(path), "it is another program's database", "name another file")
    if version > newest:
        raise LogError(
            str(path),
            f"it was written by a newer sporecount (log version {version}, this one knows "
            f"{newest})",
            "update sporecount; the log is left as it is",
        )


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _copy(path: Path, number: int) -> Path:
    """Copy the log beside itself, whole or not at all; return the copy."""
    copy = path.with_name(f"{path.stem}.before-{number:04d}{path.suffix}")
    while copy.exists():
        copy = path.with_name(
            f"{path.stem}.before-{number:04d}-{uuid.uuid4().hex[:6]}{path.suffix}"
        )
    part = copy.with_name(f".{copy.name}.part")
    source, target = connect(path), connect(part)
    try:
        source.backup(target)
        if target.execute("PRAGMA quick_check").fetchone()[0] != "ok":
            raise LogError(str(path), "the file is damaged", "go back to an earlier copy")
    finally:
        source.close()
        target.close()
    part.replace(copy)
    return copy
