"""Single rows: adding, finding by what people call them, and editing with a trace."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Mapping
from typing import Any

from sporecount.rearing.cells import to_cell
from sporecount.rearing.columns import ROW_WORD, SEXES, SOURCES, TABLES
from sporecount.rearing.errors import LogError
from sporecount.rearing.values import Value, checked

#: Fewest characters of an id that name a row.
_SHORTEST_ID = 8

_CHOICES: dict[tuple[str, str], tuple[str, ...]] = {
    ("broods", "source"): SOURCES,
    ("adults", "sex"): SEXES,
}

#: Stages of a brood, each at most as many as the one before.
STAGES = ("eggs", "hatched", "pupated", "emerged")


def new_id() -> str:
    """Return an identity that no other row has, in this log or another."""
    return str(uuid.uuid4())


def checked_row(table: str, values: Mapping[str, Any], given: str = "") -> dict[str, Value]:
    """Return values as the log keeps them.

    Parameters
    ----------
    table : str
        Name of the table.
    values : mapping
        Column to value; columns that are left out are left out.
    given : str
        Goes before the column in messages.

    Raises
    ------
    LogError
        If a value is of the wrong kind, or no such choice.
    """
    kinds = TABLES[table].columns
    row = {}
    for column, value in values.items():
        if column not in kinds:
            raise LogError(
                f"{given}{column}", f"{table} have no such column", f"known: {', '.join(kinds)}"
            )
        row[column] = checked(value, kinds[column], f"{given}{column}")
        choices = _CHOICES.get((table, column), ())
        if choices and row[column] is not None and row[column] not in choices:
            raise LogError(
                f"{given}{column} {value!r}", "there is no such choice", f"one of {choices}"
            )
    return row


def check_stages(row: Mapping[str, Any]) -> None:
    """Raise LogError if more animals reached a stage than the one before it."""
    known = [(stage, row[stage]) for stage in STAGES if row.get(stage) is not None]
    for (before, more), (after, fewer) in zip(known, known[1:]):
        if fewer > more:
            raise LogError(
                f"{after} {fewer}", f"only {more} {before} are in the log", "correct one of them"
            )


def insert(connection: sqlite3.Connection, table: str, row: Mapping[str, Value]) -> None:
    """Add one checked row."""
    columns = ", ".join(row)
    marks = ", ".join("?" * len(row))
    connection.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values()))


def fetch(connection: sqlite3.Connection, table: str, row_id: str) -> dict[str, Value] | None:
    """Return the row of an id, or None."""
    found = connection.execute(f"SELECT * FROM {table} WHERE id = ?", (row_id,)).fetchone()
    return dict(found) if found else None


def named(connection: sqlite3.Connection, table: str, name: str) -> list[dict[str, Value]]:
    """Return all rows that are called so, oldest first."""
    column = TABLES[table].name
    rows = connection.execute(
        f"SELECT * FROM {table} WHERE {column} = ? ORDER BY added_at, id", (name,)
    )
    return [dict(row) for row in rows]


def find(connection: sqlite3.Connection, table: str, called: str) -> dict[str, Value]:
    """Return the one row that a person means by a name, an id or the beginning of an id.

    Raises
    ------
    LogError
        If there is none, or if there are several.
    """
    word = ROW_WORD[table]
    called = str(checked(called, "line", word) or "")
    rows = named(connection, table, called)
    if not rows and len(called) >= _SHORTEST_ID:
        begins = connection.execute(
            f"SELECT * FROM {table} WHERE substr(id, 1, ?) = ?", (len(called), called.lower())
        )
        rows = [dict(row) for row in begins]
    if len(rows) == 1:
        return rows[0]
    if rows:
        ids = ", ".join(str(row["id"])[:_SHORTEST_ID] for row in rows)
        raise LogError(
            f"{word} {called!r}",
            f"{len(rows)} are called so",
            f"give the beginning of the id of the one you mean: {ids}",
        )
    raise LogError(f"{word} {called!r}", "the log has none of that name", _near(connection, table))


def edit(
    connection: sqlite3.Connection,
    table: str,
    row_id: str,
    changes: Mapping[str, Value],
    *,
    edited_at: str,
    who: str | None,
) -> int:
    """Change fields of a row and keep what they were; return how many changed.

    Raises
    ------
    LogError
        If the table's rows are only ever added.
    """
    if not TABLES[table].can_change:
        raise LogError(table, "its rows are never overwritten", "add a new one")
    old = fetch(connection, table, row_id)
    if old is None:
        raise LogError(f"{table} {row_id}", "the log has no such row", "check the id")
    different = {name: value for name, value in changes.items() if old[name] != value}
    for name, value in different.items():
        kind = TABLES[table].columns[name]
        connection.execute(f"UPDATE {table} SET {name} = ? WHERE id = ?", (value, row_id))
        key = (table, row_id, name)
        insert_edit(connection, key, to_cell(old[name], kind), to_cell(value, kind), edited_at, who)
    return len(different)


def insert_edit(
    connection: sqlite3.Connection,
    key: tuple[str, str, str],
    old: str,
    new: str,
    edited_at: str,
    who: str | None,
) -> None:
    """Keep what a field (table, row's id, column) was and is, both as cells."""
    table, row_id, name = key
    row: dict[str, Value] = {
        "id": new_id(),
        "table_name": table,
        "row_id": row_id,
        "field": name,
        "old": old or None,
        "new": new or None,
        "edited_at": edited_at,
        "who": who,
    }
    insert(connection, "edits", row)


def _near(connection: sqlite3.Connection, table: str) -> str:
    column = TABLES[table].name
    rows = connection.execute(f"SELECT {column} FROM {table} ORDER BY added_at DESC LIMIT 5")
    names = [repr(row[0]) for row in rows]
    return f"the newest are {', '.join(names)}" if names else "add it first"
