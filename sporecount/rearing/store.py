"""The file: opening it, one transaction at a time, and errors that people can act on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sporecount.rearing.errors import LogError

#: How long to wait for another program that is writing, s.
BUSY_S = 30.0

#: Oldest library that knows tables with strict types.
_OLDEST_SQLITE = (3, 37, 0)


def connect(path: Path, *, busy_s: float = BUSY_S) -> sqlite3.Connection:
    """Open the database file, which is made where it is missing.

    The rollback journal is used, and not the write-ahead log: the log is then
    one file whenever nobody is writing, which can be copied, and which survives
    shared and synchronised folders better. Every commit is on the disk before
    it is reported.

    Parameters
    ----------
    path : Path
        The file.
    busy_s : float
        How long to wait for another program that is writing, s.

    Raises
    ------
    LogError
        If it cannot be opened or is no database.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise LogError(
            f"SQLite {sqlite3.sqlite_version}",
            "the rearing log needs 3.37 or newer",
            "install a newer Python, which brings it along",
        )
    with plain_errors(path):
        connection = sqlite3.connect(path, timeout=busy_s, isolation_level=None)
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = EXTRA")
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all that follows, or nothing of it.

    The lock is taken at once: two programs that both read and then write would
    otherwise stop each other.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def reading(connection: sqlite3.Connection) -> Iterator[None]:
    """Read all that follows as it is at one moment."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        if connection.in_transaction:
            connection.execute("COMMIT")


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what the database says into what a person can do.

    Raises
    ------
    LogError
        In place of any error of the database.
    """
    try:
        yield
    except sqlite3.Error as error:
        wrong, remedy = _in_plain_words(error)
        raise LogError(str(path), wrong, remedy) from error


def _in_plain_words(error: sqlite3.Error) -> tuple[str, str]:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return "another program is writing to it and does not end", "close it and try again"
    if name.startswith("SQLITE_NOTADB"):
        return "it is no rearing log", "name another file"
    if name.startswith("SQLITE_CORRUPT"):
        return "the file is damaged", "go back to a copy, or import your last export into a new log"
    if name.startswith("SQLITE_READONLY"):
        return "it may not be written", "check the rights of file and folder"
    if name.startswith("SQLITE_CANTOPEN"):
        return "it cannot be opened", "check the name and the rights of the folder"
    if name.startswith("SQLITE_FULL"):
        return "the disk is full", "make room; what was saved before is safe"
    if name.startswith("SQLITE_CONSTRAINT"):
        return f"a value does not fit ({error})", "correct it; nothing was saved"
    return f"the database says: {error}", "nothing was saved; try again"
