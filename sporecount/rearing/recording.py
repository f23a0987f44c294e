"""Recording the result for a sample: always a new row, and none twice."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sporecount import __version__
from sporecount.rearing import rows
from sporecount.rearing.columns import TABLES
from sporecount.rearing.errors import LogError
from sporecount.rearing.values import Value, checked

#: Columns of a result that the log fills itself.
_OWN = ("id", "sample_id", "made_at", "photos", "settings", "version", "further", "content_sha256")

_FROM_RESULT = tuple(name for name in TABLES["results"].columns if name not in _OWN)

#: Keys of a result that are no columns of results and not "further" either.
_OTHER_KEYS = ("sample", "photos", "settings", "version", "adult", "taken_on")

_SHA256 = re.compile(r"[0-9a-f]{64}")


class RecordedSample(NamedTuple):
    """What became of a result.

    Attributes
    ----------
    sample_id, result_id : str
        The rows that hold it.
    is_new : bool
        False where the newest result of the sample says the same already.
    """

    sample_id: str
    result_id: str
    is_new: bool


def record(
    connection: sqlite3.Connection,
    result: Mapping[str, Any],
    *,
    photos: Sequence[Mapping[str, Any]] | None,
    settings: Any,
    version: str | None,
    adult: str | None,
    taken_on: Any,
    made_at: str,
) -> RecordedSample:
    """Add a result within the transaction that is open.

    Parameters
    ----------
    connection : Connection
        A log, writing.
    result : mapping
        A row of ``samples.csv``: ``sample`` and whatever else is known. Columns
        that the log does not know are kept together as ``further``.
    photos : sequence of mappings, optional
        ``photo``, ``sha256`` and, if known, ``um_per_px`` and ``scale_source`` of
        each photo; by default what ``result["photos"]`` lists.
    settings : Settings or mapping, optional
        All settings, by default ``result["settings"]``.
    version : str, optional
        Version that made the result; this one by default.
    adult : str, optional
        Name or id of the adult. By default the one adult that is called as the
        sample is, if there is one.
    taken_on : date or str, optional
        Day on which the sample was taken.
    made_at : str
        Moment of the result.

    Returns
    -------
    RecordedSample

    Raises
    ------
    LogError
        If the result has no sample's name, or a value does not fit.
    """
    photos = _photos(result) if photos is None else photos
    settings = result.get("settings") if settings is None else settings
    adult = result.get("adult") if adult is None else adult
    taken_on = result.get("taken_on") if taken_on is None else taken_on
    name = checked(result.get("sample"), "line", "sample")
    if name is None:
        raise LogError("result", "it names no sample", "give it under the key 'sample'")
    photo_rows = [_photo_row(photo, number) for number, photo in enumerate(photos, 1)]
    row = _result_row(result, photo_rows, settings, version or result.get("version"))
    sample = _sample(
        connection,
        str(name),
        adult,
        checked(taken_on, "date", "taken_on"),
        [str(photo["sha256"]) for photo in photo_rows],
        made_at,
    )
    newest = connection.execute(
        "SELECT id, content_sha256 FROM results WHERE sample_id = ? "
        "ORDER BY made_at DESC, rowid DESC",
        (sample,),
    ).fetchone()
    if newest and newest["content_sha256"] == row["content_sha256"]:
        return RecordedSample(sample, newest["id"], False)
    result_id = rows.new_id()
    rows.insert(
        connection, "results", {"id": result_id, "sample_id": sample, "made_at": made_at, **row}
    )
    for photo in photo_rows:
        rows.insert(connection, "photos", {"id": rows.new_id(), "result_id": result_id, **photo})
    return RecordedSample(sample, result_id, True)


def _photos(result: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    listed = result.get("photos")
    return listed if isinstance(listed, (list, tuple)) else ()


def _photo_row(photo: Mapping[str, Any], number: int) -> dict[str, Value]:
    known = {name: photo.get(name) for name in ("photo", "sha256", "um_per_px", "scale_source")}
    row = rows.checked_row("photos", known, f"photo {number}, ")
    if row["photo"] is None:
        raise LogError(f"photo {number}", "it has no name", "give it under the key 'photo'")
    sha256 = str(row["sha256"] or "").lower()
    if not _SHA256.fullmatch(sha256):
        raise LogError(
            f"photo {row['photo']!r}, sha256 {photo.get('sha256')!r}",
            "it is no SHA-256 hash",
            "give the hash of the file's bytes as 64 hexadecimal digits",
        )
    return {**row, "sha256": sha256}


def _result_row(
    result: Mapping[str, Any],
    photos: Sequence[Mapping[str, Value]],
    settings: Any,
    version: Any,
) -> dict[str, Value]:
    """Return the row without what tells one recording from another."""
    row = rows.checked_row("results", {name: result.get(name) for name in _FROM_RESULT})
    given = result.get("photos")
    counted = len(photos) if photos or isinstance(given, (list, tuple)) else given
    row["photos"] = checked(counted, "count", "photos") or 0
    row["version"] = checked(version, "line", "version") or __version__
    row["settings"] = _json(settings.as_dict() if hasattr(settings, "as_dict") else settings)
    further = {
        str(name): value
        for name, value in result.items()
        if name not in _FROM_RESULT and name not in _OTHER_KEYS
    }
    row["further"] = _json(further or None)
    everything = json.dumps([row, [dict(photo) for photo in photos]], sort_keys=True)
    row["content_sha256"] = hashlib.sha256(everything.encode()).hexdigest()
    return row


def _json(value: Any) -> str | None:
    """Return a value as JSON; text is taken for JSON already."""
    if value is None or isinstance(value, str):
        return value or None
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, default=_plain)
    return str(checked(text, "text", "settings"))


def _plain(value: Any) -> Any:
    return value.tolist() if hasattr(value, "tolist") else str(value)


def _sample(
    connection: sqlite3.Connection,
    name: str,
    adult: str | None,
    taken_on: Value,
    hashes: Sequence[str],
    added_at: str,
) -> str:
    """Return the id of the sample that is meant, which is added where it is new.

    A sample of the same name is the same one if it shares a photo with the new
    result, or if either has no photos; and if not both are of adults that differ.
    """
    adult_id = _adult(connection, name, adult)
    for row in reversed(rows.named(connection, "samples", name)):
        other_adult = adult_id and row["adult_id"] and adult_id != row["adult_id"]
        if not other_adult and _shares_photo(connection, str(row["id"]), hashes):
            _fill_in(connection, row, {"adult_id": adult_id, "taken_on": taken_on}, added_at)
            return str(row["id"])
    sample = {
        "id": rows.new_id(),
        "name": name,
        "adult_id": adult_id,
        "taken_on": taken_on,
        "added_at": added_at,
    }
    rows.insert(connection, "samples", sample)
    return str(sample["id"])


def _adult(connection: sqlite3.Connection, name: str, adult: str | None) -> Value:
    if adult:
        return rows.find(connection, "adults", adult)["id"]
    alike = rows.named(connection, "adults", name)
    return alike[0]["id"] if len(alike) == 1 else None


def _shares_photo(connection: sqlite3.Connection, sample: str, hashes: Sequence[str]) -> bool:
    query = "SELECT sha256 FROM photos JOIN results ON result_id = results.id WHERE sample_id = ?"
    known = {row["sha256"] for row in connection.execute(query, (sample,))}
    return not known or not hashes or not known.isdisjoint(hashes)


def _fill_in(
    connection: sqlite3.Connection,
    row: Mapping[str, Value],
    news: Mapping[str, Value],
    edited_at: str,
) -> None:
    """Write into a sample what was not known of it before."""
    changes = {name: value for name, value in news.items() if value and row[name] is None}
    rows.edit(connection, "samples", str(row["id"]), changes, edited_at=edited_at, who="record")
