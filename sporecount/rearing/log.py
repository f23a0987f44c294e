"""The rearing log from Python."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from sporecount.rearing import rows
from sporecount.rearing.columns import TABLES
from sporecount.rearing.errors import LogError
from sporecount.rearing.migrate import migrate
from sporecount.rearing.recording import RecordedSample, record
from sporecount.rearing.store import BUSY_S, connect, plain_errors, reading, writing
from sporecount.rearing.values import Value, moment_text, utc_now

if TYPE_CHECKING:
    import pandas as pd

    from sporecount.rearing.transfer import ImportReport


class RearingLog:
    """One log: a file, opened; use it in a ``with`` block, or close it.

    A method that writes does all of its work or none, and what it did is on the
    disk when it returns. Nothing is deleted. Results, decisions and baths are only
    ever added; an edit of a brood, adult or sample keeps what was there before.

    Parameters
    ----------
    connection : Connection
        An open, migrated database; use :meth:`open`.
    path : Path
        Its file.
    now : callable
        Returns the present moment.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with RearingLog.open(Path(folder) / "log.sqlite3") as log:
    ...         brood = log.add_brood("B1", source="egg", eggs=12)
    ...         adult = log.add_adult("A1", brood="B1", emerged_on="2026-07-04")
    ...         one = log.record_sample({"sample": "A1", "spores": 0, "load_class": 0})
    ...         decision = log.decide("A1", "released", "R. Keeper")
    ...         [len(log.tables()[name]) for name in ("broods", "adults", "results", "decisions")]
    [1, 1, 1, 1]
    """

    def __init__(
        self, connection: sqlite3.Connection, path: Path, now: Callable[[], datetime] = utc_now
    ) -> None:
        self._connection = connection
        self.path = path
        self._now = now

    @classmethod
    def open(
        cls,
        path: str | Path,
        *,
        create: bool = True,
        now: Callable[[], datetime] = utc_now,
        busy_s: float = BUSY_S,
    ) -> Self:
        """Open a log and bring it to the newest version.

        Parameters
        ----------
        path : str or Path
            The file.
        create : bool
            Make the file where it is missing.
        now : callable
            Returns the present moment, with its zone.
        busy_s : float
            How long to wait for another program that is writing, s.

        Raises
        ------
        LogError
            If the file is missing, no log, or from a newer version.
        """
        path = Path(path)
        if create:
            path.parent.mkdir(parents=True, exist_ok=True)
        elif not path.exists():
            raise LogError(
                str(path),
                "there is no rearing log",
                "name it with --log, or begin one with `sporecount log brood add NAME`",
            )
        connection = connect(path, busy_s=busy_s)
        try:
            with plain_errors(path):
                migrate(connection, path)
        except BaseException:
            connection.close()
            raise
        return cls(connection, path, now)

    def close(self) -> None:
        """Close the file; closing twice is no error."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def add_brood(self, name: str, *, source: str = "egg", **fields: Any) -> str:
        """Add a brood: animals that were collected and kept together.

        Parameters
        ----------
        name : str
            What it is called; no other brood of the log is.
        source : str
            ``egg``, ``caterpillar`` (found outside) or ``mixed``.
        **fields
            ``kept_apart`` (yes or no: apart from broods of another source),
            ``place`` (where it is kept), ``collected_on``, ``bathed`` (yes or no),
            ``plant`` (species of the food plant), ``plant_place`` (where it grew),
            ``plant_washed`` (yes or no), ``eggs``, ``hatched``, ``pupated``,
            ``emerged`` (numbers of animals), ``notes``.

        Returns
        -------
        str
            Its id.

        Raises
        ------
        LogError
            If the name is taken or a value does not fit.
        """
        return self._add_named("broods", {"name": name, "source": source, **fields})

    def add_adult(self, identity: str, *, brood: str | None = None, **fields: Any) -> str:
        """Add an adult.

        Parameters
        ----------
        identity : str
            What it is called; no other adult of the log is.
        brood : str, optional
            Name or id of its brood.
        **fields
            ``sex`` (``female``, ``male``), ``emerged_on``, ``wings`` (their
            condition, in words), ``notes``.

        Returns
        -------
        str
            Its id.

        Raises
        ------
        LogError
            If the identity is taken, there is no such brood, or a value does not fit.
        """
        return self._add_named("adults", {"identity": identity, **fields}, {"brood_id": brood})

    def change_brood(self, brood: str, *, who: str | None = None, **fields: Any) -> int:
        """Change what is known of a brood; return how many fields changed."""
        return self._change("broods", brood, fields, who)

    def change_adult(
        self, adult: str, *, brood: str | None = None, who: str | None = None, **fields: Any
    ) -> int:
        """Change what is known of an adult; return how many fields changed."""
        return self._change("adults", adult, fields, who, {"brood_id": brood})

    def change_sample(
        self, sample: str, *, adult: str | None = None, who: str | None = None, **fields: Any
    ) -> int:
        """Change what is known of a sample, such as its adult; return how many fields changed."""
        return self._change("samples", sample, fields, who, {"adult_id": adult})

    def record_sample(
        self,
        result: Mapping[str, Any],
        *,
        photos: Sequence[Mapping[str, Any]] | None = None,
        settings: Any = None,
        version: str | None = None,
        adult: str | None = None,
        taken_on: Any = None,
    ) -> RecordedSample:
        """Add the result for one sample; see :func:`sporecount.rearing.recording.record`."""
        with self._writing():
            return record(
                self._connection,
                result,
                photos=photos,
                settings=settings,
                version=version,
                adult=adult,
                taken_on=taken_on,
                made_at=self._moment(),
            )

    def decide(self, sample: str, words: str, who: str) -> str:
        """Keep what a person decided, beside what the tool said and what was decided before.

        Parameters
        ----------
        sample : str
            Name or id.
        words : str
            The decision, in the person's words.
        who : str
            Who decided.

        Returns
        -------
        str
            Its id.
        """
        values = rows.checked_row("decisions", {"words": words, "who": who})
        for name, given in (("words", words), ("who", who)):
            if values[name] is None:
                raise LogError(f"{name} {given!r}", "it is empty", "write it in a few words")
        with self._writing():
            found = rows.find(self._connection, "samples", sample)
            newest = self._connection.execute(
                "SELECT id FROM results WHERE sample_id = ? ORDER BY made_at DESC, rowid DESC",
                (found["id"],),
            ).fetchone()
            decision = {
                "id": rows.new_id(),
                "sample_id": found["id"],
                "result_id": newest["id"] if newest else None,
                **values,
                "decided_at": self._moment(),
            }
            rows.insert(self._connection, "decisions", decision)
        return str(decision["id"])

    def add_bath(self, brood: str | None = None, **fields: Any) -> str:
        """Add an egg bath; the brood, where it is given, then counts as bathed.

        Parameters
        ----------
        brood : str, optional
            Name or id of the brood.
        **fields
            ``bathed_at``, ``label_percent``, ``percent_by_volume``, ``product_ml``,
            ``water_ml``, ``planned_s``, ``real_s``, ``rinsed`` (yes or no), ``notes``.

        Returns
        -------
        str
            Id of the bath.
        """
        row = {"id": rows.new_id(), **rows.checked_row("baths", fields)}
        with self._writing():
            now = self._moment()
            row["brood_id"] = None
            if brood is not None:
                row["brood_id"] = rows.find(self._connection, "broods", brood)["id"]
            rows.insert(self._connection, "baths", {**row, "added_at": now})
            if row["brood_id"] is not None:
                rows.edit(
                    self._connection,
                    "broods",
                    str(row["brood_id"]),
                    {"bathed": 1},
                    edited_at=now,
                    who="bath",
                )
        return str(row["id"])

    def find(self, table: str, called: str) -> dict[str, Value]:
        """Return the one brood, adult or sample that is meant by a name or an id.

        Raises
        ------
        LogError
            If there is none, or if there are several.
        """
        with plain_errors(self.path):
            return rows.find(self._connection, table, called)

    def rows(self) -> dict[str, list[dict[str, Value]]]:
        """Return all rows of all tables, as they are at one moment, in the order they came."""
        with plain_errors(self.path), reading(self._connection):
            return {
                table: [
                    dict(row)
                    for row in self._connection.execute(f"SELECT * FROM {table} ORDER BY rowid")
                ]
                for table in TABLES
            }

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return all tables, with the columns of :data:`sporecount.rearing.columns.TABLES`."""
        from sporecount.rearing.frames import as_frames

        return as_frames(self.rows())

    def export_csv(self, folder: str | Path, *, replace: bool = False) -> list[Path]:
        """Write one CSV file for each table; see :mod:`sporecount.rearing.csv_files`."""
        from sporecount.rearing.csv_files import write_tables

        return write_tables(Path(folder), self.rows(), replace=replace)

    def import_csv(
        self, folder: str | Path, *, take: str | None = None, who: str | None = None
    ) -> ImportReport:
        """Bring in exported files; see :func:`sporecount.rearing.transfer.merge`."""
        from sporecount.rearing.csv_files import read_tables
        from sporecount.rearing.transfer import merge

        tables = read_tables(Path(folder))
        with self._writing():
            return merge(self._connection, tables, take=take, who=who, moment=self._moment())

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with plain_errors(self.path), writing(self._connection):
            yield

    def _moment(self) -> str:
        return moment_text(self._now())

    def _refer(self, table: str, others: Mapping[str, str | None]) -> dict[str, Value]:
        """Turn names of other rows into their ids; None means that nothing was said."""
        return {
            column: rows.find(self._connection, TABLES[table].refers[column], called)["id"]
            for column, called in others.items()
            if called is not None
        }

    def _add_named(
        self,
        table: str,
        fields: Mapping[str, Any],
        others: Mapping[str, str | None] | None = None,
    ) -> str:
        row = rows.checked_row(table, fields)
        name_column = str(TABLES[table].name)
        name = row[name_column]
        word = rows.ROW_WORD[table]
        if name is None:
            raise LogError(f"{word} {fields[name_column]!r}", "it has no name", "give it one")
        rows.check_stages(row)
        row_id = rows.new_id()
        with self._writing():
            if rows.named(self._connection, table, str(name)):
                raise LogError(
                    f"{word} {name!r}",
                    "the log has one of that name",
                    "give another name, such as one with the year, or change that one",
                )
            row.update(self._refer(table, others or {}))
            rows.insert(self._connection, table, {"id": row_id, **row, "added_at": self._moment()})
        return row_id

    def _change(
        self,
        table: str,
        called: str,
        fields: Mapping[str, Any],
        who: str | None,
        others: Mapping[str, str | None] | None = None,
    ) -> int:
        changes = rows.checked_row(table, fields)
        with self._writing():
            row = rows.find(self._connection, table, called)
            changes.update(self._refer(table, others or {}))
            self._check_new_name(table, row, changes)
            rows.check_stages({**row, **changes})
            return rows.edit(
                self._connection,
                table,
                str(row["id"]),
                changes,
                edited_at=self._moment(),
                who=who,
            )

    def _check_new_name(
        self, table: str, row: Mapping[str, Value], changes: Mapping[str, Value]
    ) -> None:
        column = str(TABLES[table].name)
        if column not in changes or changes[column] == row[column]:
            return
        if changes[column] is None:
            raise LogError(f"{column} ''", "it is empty", "give a name")
        if rows.named(self._connection, table, str(changes[column])):
            raise LogError(
                f"{column} {changes[column]!r}", "the log has one of that name", "give another"
            )
