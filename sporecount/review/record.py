"""Files that keep reviews: one for each photo and person, written line by line and never over.

The first line says which photo it is. A line ``counted`` holds what the tool had found, with
all that it takes to find it again; the actions after it are about those detections. Each line
is on the disk before the action counts as done, so a crash loses no more than the last.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from filelock import FileLock, Timeout

from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.review.actions import Action
from sporecount.review.carry import carried_over, plain
from sporecount.review.errors import ReviewError

#: Folder of the reviews, beside the photos.
FOLDER = "sporecount-reviews"

#: Raised when a file could no longer be understood by older versions.
FORMAT = 1


@dataclass(frozen=True, eq=False)
class Counted:
    """What the tool found on a photo, and how.

    Attributes
    ----------
    detections : DataFrame
        Columns ``sporecount.detect.table.COLUMNS``.
    um_per_px : float
        The scale used.
    facts : dict
        Version, settings, source of the scale, weights, summary: whatever makes the count
        again. Only what JSON can hold.
    """

    detections: pd.DataFrame
    um_per_px: float
    facts: Mapping[str, Any]


@dataclass(frozen=True, eq=False)
class Review:
    """A review as it is kept.

    Attributes
    ----------
    photo, sha256 : str
        Name of the photo's file when it was reviewed, and the hash that knows it under any name.
    who : str
        The person.
    counted : Counted
        What the tool said, the last time.
    actions : tuple of Action
        What the person did about that, undone ones and all.
    earlier : tuple of (Counted, tuple of Action)
        Former counts and what was done about them.
    notes : tuple of str
        What was wrong with the file.
    """

    photo: str
    sha256: str
    who: str
    counted: Counted
    actions: tuple[Action, ...]
    earlier: tuple[tuple[Counted, tuple[Action, ...]], ...] = ()
    notes: tuple[str, ...] = ()


def review_path(folder: Path, photo: str, sha256: str, who: str) -> Path:
    """Return where the review of a photo by a person is kept.

    Examples
    --------
    >>> review_path(Path("r"), "Tüte 3/a b.jpg", "0123456789abcdef", "Ann Lee").name
    'a-b-0123456789ab-Ann-Lee.jsonl'
    """
    stem = _safe(Path(photo.replace("\\", "/")).stem)
    return folder / f"{stem}-{sha256[:12]}-{_safe(who) or 'somebody'}.jsonl"


def find_reviews(folder: Path, sha256: str) -> list[Path]:
    """Return the files of all reviews of a photo, whatever it was called; in order of name."""
    if not folder.is_dir():
        return []
    return sorted(folder.glob(f"*-{sha256[:12]}-*.jsonl"))


def read_review(path: Path) -> Review:
    """Read a review.

    A last line that a crash tore is left out, and said in the notes: its action was never
    done.

    Raises
    ------
    ReviewError
        If it cannot be opened, is no review, or is damaged elsewhere than at its end.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ReviewError(
            str(path), f"it cannot be opened ({error.strerror or error})", "check the name"
        ) from error
    return _parse(data, path)[0]


def whose_review(path: Path) -> tuple[str, str, str]:
    """Return photo, hash and person of a review from its first line alone.

    Raises
    ------
    ReviewError
        If it cannot be opened, or is no review.
    """
    try:
        with path.open("rb") as file:
            head = json.loads(file.readline())
        return str(head["photo"]), str(head["sha256"]), str(head["who"])
    except OSError as error:
        raise ReviewError(
            str(path), f"it cannot be opened ({error.strerror or error})", "check the name"
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise _damaged(path, 1) from error


class ReviewFile:
    """A review that is open for writing, by one program at a time.

    Parameters
    ----------
    folder : Path
        Where reviews are kept; made when missing.
    photo, sha256, who : str
        Whose review of what.
    counted : Counted
        What the tool says now. Where a review is there already and the tool had said
        something else, what was done is carried over to it.

    Attributes
    ----------
    review : Review
        As it stands.

    Raises
    ------
    ReviewError
        If another program has it open, or it cannot be read or written.
    """

    def __init__(self, folder: Path, photo: str, sha256: str, who: str, counted: Counted) -> None:
        self.path = review_path(folder, photo, sha256, who)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = FileLock(self.path.with_suffix(".lock"))
            self._lock.acquire(timeout=0)
        except Timeout as error:
            raise ReviewError(
                str(self.path), "another program has this review open", "close it there first"
            ) from error
        except OSError as error:
            raise self._unwritable(error) from error
        try:
            self._open(photo, sha256, who, counted)
        except BaseException:
            self._lock.release()
            raise

    def _open(self, photo: str, sha256: str, who: str, counted: Counted) -> None:
        existing = self._existing(sha256, who)
        try:
            if existing is None:
                self._file: BinaryIO = self.path.open("ab")
                self.review = Review(photo, sha256, who, counted, ())
                first = {"sporecount_review": FORMAT, "photo": photo, "sha256": sha256, "who": who}
                self._write(first, counted_entry(counted))
                return
            review, whole = existing
            self._file = self.path.open("r+b")
            self._file.truncate(whole)
            self._file.seek(0, os.SEEK_END)
            self.review = review
        except OSError as error:
            raise self._unwritable(error) from error
        if not same_detections(self.review.counted.detections, counted.detections):
            self._count_again(counted)

    def _existing(self, sha256: str, who: str) -> tuple[Review, int] | None:
        """Return the review that is there, and the length of what is whole of its file."""
        if not self.path.exists() or self.path.stat().st_size == 0:
            return None
        review, whole = _parse(self.path.read_bytes(), self.path)
        if (review.sha256, review.who) != (sha256, who):
            raise ReviewError(
                str(self.path),
                f"it is {review.who}'s review of {review.photo}, which is another",
                "rename it, or give your name differently",
            )
        return review, whole

    def _count_again(self, counted: Counted) -> None:
        old = self.review
        carried = carried_over(
            old.counted.detections, old.actions, counted.detections, counted.um_per_px
        )
        self._write(counted_entry(counted), *(json.loads(each.as_json()) for each in carried))
        self.review = Review(
            old.photo,
            old.sha256,
            old.who,
            counted,
            tuple(carried),
            (*old.earlier, (old.counted, old.actions)),
            old.notes,
        )

    def append(self, action: Action) -> None:
        """Keep an action: it is on the disk when this returns.

        Raises
        ------
        ReviewError
            If it cannot be written; then it is not part of the review.
        """
        self._write(json.loads(action.as_json()))
        old = self.review
        self.review = Review(
            old.photo,
            old.sha256,
            old.who,
            old.counted,
            (*old.actions, action),
            old.earlier,
            old.notes,
        )

    def close(self) -> None:
        """Let other programs open it."""
        self._file.close()
        self._lock.release()

    def __enter__(self) -> ReviewFile:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def _write(self, *entries: Mapping[str, Any]) -> None:
        lines = "".join(
            json.dumps(entry, ensure_ascii=False, allow_nan=False) + "\n" for entry in entries
        )
        start = self._file.tell()
        try:
            self._file.write(lines.encode())
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            self._take_back(start)
            raise self._unwritable(error) from error

    def _take_back(self, start: int) -> None:
        """Remove a line that was written in part, so that the next starts on a line of its own."""
        try:
            self._file.seek(start)
            self._file.truncate(start)
        except OSError:  # the disk is gone; the torn line is left out when it is read
            return

    def _unwritable(self, error: OSError) -> ReviewError:
        return ReviewError(
            str(self.path),
            f"it cannot be written ({error.strerror or error})",
            "make room or choose another folder for the reviews; what was done before is kept",
        )


def _parse(data: bytes, path: Path) -> tuple[Review, int]:
    """Return the review, and the length in bytes of what is whole."""
    entries, whole, notes = _entries(data, path)
    head = entries[0] if entries else {}
    if head.get("sporecount_review") != FORMAT or len(entries) < 2 or "counted" not in entries[1]:
        wrong = "it is no review that this version of sporecount can read"
        raise ReviewError(str(path), wrong, "set it aside, and review the photo again")
    blocks: list[tuple[Counted, list[Action]]] = []
    for number, entry in enumerate(entries[1:], start=2):
        try:
            if "counted" in entry:
                blocks.append((counted_of(entry["counted"]), []))
            else:
                blocks[-1][1].append(Action.from_json(entry))
        except (ReviewError, KeyError, TypeError, ValueError) as error:
            raise _damaged(path, number) from error
    counted, actions = blocks[-1]
    earlier = tuple((one, tuple(done)) for one, done in blocks[:-1])
    review = Review(
        head["photo"], head["sha256"], head["who"], counted, tuple(actions), earlier, notes
    )
    return review, whole


def _entries(data: bytes, path: Path) -> tuple[list[dict[str, Any]], int, tuple[str, ...]]:
    """Return the lines, the length of the whole ones, and what is to be said of the rest."""
    whole = data.rfind(b"\n") + 1
    entries = []
    for number, line in enumerate(data[:whole].splitlines(), start=1):
        try:
            entries.append(dict(json.loads(line)))
        except ValueError as error:
            raise _damaged(path, number) from error
    torn = "its last line was torn by a crash and is left out; check the last thing you did"
    return entries, whole, (torn,) if whole < len(data) else ()


def _damaged(path: Path, number: int) -> ReviewError:
    return ReviewError(
        f"{path}, line {number}",
        "it is damaged",
        "mend or remove that line, or set the file aside and review the photo again",
    )


def counted_entry(counted: Counted) -> dict[str, Any]:
    """Return what the tool found as a line keeps it."""
    rows = [plain(row) for row in counted.detections.to_dict("records")]
    return {"counted": {"um_per_px": counted.um_per_px, "facts": counted.facts, "detections": rows}}


def counted_of(entry: Mapping[str, Any]) -> Counted:
    """Return what the tool found from the ``counted`` of a line."""
    rows: Iterable[Mapping[str, Any]] = entry["detections"]
    table = empty_detections()
    columns: dict[str, list[Any]] = {name: [] for name in COLUMNS}
    for row in rows:
        for name, kind in COLUMNS.items():
            value = row.get(name, np.nan if kind == "float64" else None)
            outline = name == "outline_px"
            columns[name].append(np.asarray(value, float).reshape(-1, 2) if outline else value)
    if columns["state"]:
        table = pd.DataFrame({k: pd.Series(v, dtype=object) for k, v in columns.items()})
        table = table.astype(COLUMNS)
    return Counted(table, float(entry["um_per_px"]), entry["facts"])


def same_detections(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Tell whether two counts found the same, as far as it is kept."""
    if len(one) != len(other):
        return False
    rows = ([plain(row) for row in table.to_dict("records")] for table in (one, other))
    first, second = (json.dumps(each, sort_keys=True) for each in rows)
    return first == second


def _safe(name: str) -> str:
    """Return what of a name every file system takes."""
    return re.sub(r"[^\w.]+", "-", name, flags=re.UNICODE).strip("-.")[:60]
