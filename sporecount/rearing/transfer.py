"""Bringing exported files into a log: nothing twice, nothing lost, nothing overwritten unsaid.

Each row has an identity that no other row has, in any log, and each edit of a
row has one too. So two versions of a field can be told apart by their edits,
without trusting clocks: if one has all the edits of the other and more, it is the
later one. If each has edits that the other lacks, or if a file was changed by
hand, that is a conflict, which a person settles.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sporecount.rearing import rows as log_rows
from sporecount.rearing.cells import to_cell
from sporecount.rearing.columns import ROW_WORD, TABLES
from sporecount.rearing.csv_files import FileRow
from sporecount.rearing.errors import LogError
from sporecount.rearing.values import Value

Edits = list[dict[str, Value]]
Key = tuple[str, str, str]

#: Whose version counts where both changed.
TAKES = ("log", "file")


@dataclass(frozen=True)
class Conflict:
    """A field that both the log and the file changed.

    Attributes
    ----------
    table, row_id, field : str
        Where.
    name : str
        What the row is called.
    in_log, in_file : str
        Both versions, as cells.
    newer : str
        ``log``, ``file``, or ``unknown`` where the file was changed by hand.
    kept : str
        Which one the log has now: ``log`` or ``file``.
    settled : bool
        A person chose; if not, the next import reports it again.
    """

    table: str
    row_id: str
    field: str
    name: str
    in_log: str
    in_file: str
    newer: str
    kept: str
    settled: bool


@dataclass
class ImportReport:
    """What an import did.

    Attributes
    ----------
    added, same : Counter
        Table to rows that were new, and that the log had already.
    updated, older : Counter
        Table to fields that the file had later than the log, and earlier.
    conflicts : list of Conflict
        Fields that both changed.
    notes : list of str
        What a person should look at.
    """

    added: Counter[str] = field(default_factory=Counter)
    same: Counter[str] = field(default_factory=Counter)
    updated: Counter[str] = field(default_factory=Counter)
    older: Counter[str] = field(default_factory=Counter)
    conflicts: list[Conflict] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def open_conflicts(self) -> list[Conflict]:
        """Conflicts that nobody settled."""
        return [conflict for conflict in self.conflicts if not conflict.settled]


@dataclass(frozen=True)
class _Merge:
    """What all steps of one import share."""

    connection: sqlite3.Connection
    edits: Mapping[Key, Edits]
    take: str | None
    who: str | None
    moment: str
    report: ImportReport


def merge(
    connection: sqlite3.Connection,
    tables: Mapping[str, Sequence[FileRow]],
    *,
    take: str | None,
    who: str | None,
    moment: str,
) -> ImportReport:
    """Bring rows into the log, within the transaction that is open.

    Parameters
    ----------
    connection : Connection
        A log, writing.
    tables : mapping
        From :func:`sporecount.rearing.csv_files.read_tables`.
    take : {"log", "file"}, optional
        Whose version counts in conflicts. By default the log keeps its own and
        the conflict stays open.
    who : str, optional
        Who settles them.
    moment : str
        The present.

    Returns
    -------
    ImportReport

    Raises
    ------
    LogError
        If a row cannot be brought in; then none is.
    """
    if take is not None and take not in TAKES:
        raise LogError(f"take {take!r}", "there is no such choice", f"one of {TAKES}")
    edits: dict[Key, Edits] = {}
    for row in tables.get("edits", ()):
        one = row.values
        _require(connection, "edits", one, row.given)
        key = (str(one["table_name"]), str(one["row_id"]), str(one["field"]))
        edits.setdefault(key, []).append(one)
    work = _Merge(connection, edits, take, who, moment, ImportReport())
    for table in TABLES:
        if table != "edits":
            for row in tables.get(table, ()):
                _merge_row(work, table, row)
    return work.report


def _merge_row(work: _Merge, table: str, row: FileRow) -> None:
    values = {**row.values, **_refer_by_name(work, table, row)}
    own_id = values.get("id")
    ours = (
        log_rows.fetch(work.connection, table, str(own_id))
        if own_id is not None
        else _by_name(work, table, values, row.given)
    )
    if ours is not None:
        if own_id is None:  # made by hand: an empty cell says nothing
            values = {name: value for name, value in values.items() if value is not None}
        _compare(work, table, ours, values)
        return
    values["id"] = own_id or log_rows.new_id()
    if "added_at" in TABLES[table].columns and values.get("added_at") is None:
        values["added_at"] = work.moment
    _require(work.connection, table, values, row.given)
    _check_references(work.connection, table, values, row.given)
    if table == "broods":
        log_rows.check_stages(values)
    log_rows.insert(work.connection, table, values)
    for name in TABLES[table].columns:
        _take_edits(work, (table, str(values["id"]), name))
    work.report.added[table] += 1
    _note_same_name(work, table, values)


def _compare(
    work: _Merge, table: str, ours: Mapping[str, Value], theirs: Mapping[str, Value]
) -> None:
    """Bring one row that the log has already up to date, field by field."""
    same = True
    for name, value in theirs.items():
        key = (table, str(ours["id"]), name)
        if value == ours[name] or name == "id":
            _take_edits(work, key)
            continue
        same = False
        known, in_file = _log_edits(work.connection, key), work.edits.get(key, [])
        verdict = _verdict(key, known, in_file, value)
        if verdict == "update":
            _update(work, key, value)
            work.report.updated[table] += 1
        elif verdict == "older":
            work.report.older[table] += 1
        else:
            _conflict(work, key, ours, value, known)
    if same:
        work.report.same[table] += 1


def _verdict(key: Key, known: Edits, in_file: Edits, value: Value) -> str:
    """Tell whether the file's version of a field is later, earlier, or in conflict.

    The edits must lead to the very value; otherwise somebody changed the file by hand.
    """
    table, _, name = key
    if not TABLES[table].can_change:
        return "conflict"
    ours, theirs = {edit["id"] for edit in known}, {edit["id"] for edit in in_file}
    text = to_cell(value, TABLES[table].columns[name]) or None
    if theirs > ours and _newest(in_file)["new"] == text:
        return "update"
    if ours > theirs and text in {edit[side] for edit in known for side in ("old", "new")}:
        return "older"
    return "conflict"


def _conflict(
    work: _Merge, key: Key, ours: Mapping[str, Value], value: Value, known: Edits
) -> None:
    table, row_id, name = key
    fixed = not TABLES[table].can_change
    kind = TABLES[table].columns[name]
    in_file = work.edits.get(key, [])
    kept = "file" if work.take == "file" and not fixed else "log"
    if work.take is not None and not fixed:
        _settle(work, key, ours[name], value)
    work.report.conflicts.append(
        Conflict(
            table,
            row_id,
            name,
            str(ours.get(TABLES[table].name or "id") or row_id),
            to_cell(ours[name], kind),
            to_cell(value, kind),
            _newer(known, in_file, to_cell(value, kind) or None),
            kept,
            settled=work.take is not None and not fixed,
        )
    )


def _settle(work: _Merge, key: Key, ours: Value, theirs: Value) -> None:
    """Keep one version, with an edit that tells both: the next import knows of the choice."""
    table, row_id, name = key
    kind = TABLES[table].columns[name]
    old, new = (ours, theirs) if work.take == "file" else (theirs, ours)
    if name in TABLES[table].refers:
        _check_references(work.connection, table, {name: new}, f"{table} {row_id}")
    _take_edits(work, key)
    work.connection.execute(f"UPDATE {table} SET {name} = ? WHERE id = ?", (new, row_id))
    log_rows.insert_edit(
        work.connection, key, to_cell(old, kind), to_cell(new, kind), work.moment, work.who
    )


def _newer(known: Edits, in_file: Edits, text: str | None) -> str:
    if not in_file or _newest(in_file)["new"] != text:
        return "unknown"
    if not known:
        return "file"
    later = str(_newest(in_file)["edited_at"]) > str(_newest(known)["edited_at"])
    return "file" if later else "log"


def _newest(edits: Edits) -> dict[str, Value]:
    return max(edits, key=lambda edit: (str(edit["edited_at"]), str(edit["id"])))


def _update(work: _Merge, key: Key, value: Value) -> None:
    """Take the file's version with its edits, which tell what was there before."""
    table, row_id, name = key
    if name in TABLES[table].refers:
        _check_references(work.connection, table, {name: value}, f"{table} {row_id}")
    work.connection.execute(f"UPDATE {table} SET {name} = ? WHERE id = ?", (value, row_id))
    _take_edits(work, key)


def _take_edits(work: _Merge, key: Key) -> None:
    for edit in work.edits.get(key, []):
        if log_rows.fetch(work.connection, "edits", str(edit["id"])) is None:
            log_rows.insert(work.connection, "edits", edit)
            work.report.added["edits"] += 1


def _log_edits(connection: sqlite3.Connection, key: Key) -> Edits:
    found = connection.execute(
        "SELECT * FROM edits WHERE table_name = ? AND row_id = ? AND field = ?", key
    )
    return [dict(row) for row in found]


def _by_name(
    work: _Merge, table: str, values: Mapping[str, Value], given: str
) -> dict[str, Value] | None:
    """Return the row that one without an id means, or None where it is new."""
    column = TABLES[table].name
    if column is None:
        raise LogError(given, "the row has no id", "take the row out, or export it again")
    if values.get(column) is None:
        raise LogError(given, f"the row has neither id nor {column}", f"write its {column}")
    alike = log_rows.named(work.connection, table, str(values[column]))
    if len(alike) > 1:
        raise LogError(
            f"{given}, {values[column]!r}", f"{len(alike)} are called so", "write the id of one"
        )
    return alike[0] if alike else None


def _refer_by_name(work: _Merge, table: str, row: FileRow) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for column, name in row.names.items():
        if row.values.get(column) is None:
            try:
                found[column] = log_rows.find(work.connection, TABLES[table].refers[column], name)[
                    "id"
                ]
            except LogError as error:
                raise LogError(f"{row.given}, {error.given}", error.wrong, error.remedy) from error
    return found


def _require(
    connection: sqlite3.Connection, table: str, values: Mapping[str, Value], given: str
) -> None:
    for column in connection.execute(f"PRAGMA table_info({table})"):
        if column["notnull"] and values.get(column["name"]) is None:
            raise LogError(given, f"{column['name']} is empty", "fill it in, or export it again")


def _check_references(
    connection: sqlite3.Connection, table: str, values: Mapping[str, Value], given: str
) -> None:
    for column, other in TABLES[table].refers.items():
        value = values.get(column)
        if value is not None and log_rows.fetch(connection, other, str(value)) is None:
            raise LogError(
                f"{given}, {column} {value!r}",
                f"neither the files nor the log have such a row in {other}",
                f"bring in {other}.csv of the same export too",
            )


def _note_same_name(work: _Merge, table: str, values: Mapping[str, Value]) -> None:
    column = TABLES[table].name
    if column is None or table == "samples":
        return
    alike = log_rows.named(work.connection, table, str(values[column]))
    if len(alike) > 1:
        work.report.notes.append(
            f"{len(alike)} {ROW_WORD[table]}s are called {values[column]!r}; they are kept apart. "
            "Rename one if they differ."
        )
