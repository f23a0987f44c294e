"""Photos that come into a folder: which are whole, which repeat others, which to wait for."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sporecount.errors import SporecountError
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PHOTO_SUFFIXES, PhotoFile

#: Tells one state of a file from another: size, time of change, number on the disk.
Signature = tuple[int, int, int]


class FolderUnreachableError(SporecountError):
    """A folder that cannot be listed just now: nothing is known of what is in it."""


@dataclass(frozen=True)
class Arrived:
    """A photo that is no longer being written.

    Attributes
    ----------
    file : PhotoFile
        The file, under its name in the folder.
    signature : tuple of int
        The state it was seen in.
    sha256 : str
        Hash of its bytes.
    """

    file: PhotoFile
    signature: Signature
    sha256: str


@dataclass(frozen=True)
class Look:
    """What a folder holds at one moment.

    Attributes
    ----------
    whole : tuple of Arrived
        Photos that are no longer being written, each content once, sorted by name.
    repeats : dict of str to str
        Name of a file with the same bytes as another -> name of that one.
    unsettled : tuple of str
        Files that may still be being written.
    """

    whole: tuple[Arrived, ...]
    repeats: dict[str, str]
    unsettled: tuple[str, ...]


@dataclass
class _Known:
    signature: Signature
    since: float
    sha256: str = ""


class Arrivals:
    """Watches one folder, without its subfolders.

    A file is taken for whole once its size and time of change have not moved for a while.
    One that is renamed need not wait again. What is said of a folder depends on what is
    in it now, not on what happened before, so that a restart comes to the same.

    Parameters
    ----------
    folder : Path
        The folder.
    settle_s : float
        How long a file must have stayed the same, s.
    clock, wall : callable
        Return seconds: of a clock that only goes forward, and since the epoch.
    """

    def __init__(
        self,
        folder: Path,
        settle_s: float,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._folder, self._settle_s = folder, settle_s
        self._clock, self._wall = clock, wall
        self._known: dict[str, _Known] = {}
        self._whole: set[Signature] = set()
        self._first = True

    def look(self) -> Look:
        """Look into the folder.

        Raises
        ------
        FolderUnreachableError
            If it cannot be listed, as when a drive is unplugged.
        """
        found = self._signatures()
        now = self._clock()
        self._known = {
            name: self._update(name, signature, now) for name, signature in found.items()
        }
        self._first = False
        whole, unsettled = [], []
        for name, known in self._known.items():
            if now - known.since < self._settle_s:
                unsettled.append(name)
                continue
            if not known.sha256:
                known.sha256 = file_sha256(self._folder / name)
            self._whole.add(known.signature)
            whole.append(name)
        return self._each_once(whole, tuple(sorted(unsettled)))

    def _signatures(self) -> dict[str, Signature]:
        found = {}
        try:
            paths = list(self._folder.iterdir())
        except OSError as error:
            raise FolderUnreachableError(
                str(self._folder),
                f"the folder cannot be listed ({error.strerror or error})",
                "bring it back; what was counted stays",
            ) from error
        for path in paths:
            name = path.name
            if name.startswith(".") or path.suffix.casefold() not in PHOTO_SUFFIXES:
                continue
            try:
                seen = path.stat()
                if path.is_file() and seen.st_size:
                    found[name] = (seen.st_size, seen.st_mtime_ns, seen.st_ino)
            except OSError:
                continue  # gone between listing and looking
        return found

    def _update(self, name: str, signature: Signature, now: float) -> _Known:
        known = self._known.get(name)
        if known is not None and known.signature == signature:
            return known
        renamed = known is None and signature in self._whole
        # What lay there long before the start need not be waited for.
        old = self._first and self._wall() - signature[1] / 1e9 >= self._settle_s
        return _Known(signature, -math.inf if renamed or old else now)

    def _each_once(self, names: list[str], unsettled: tuple[str, ...]) -> Look:
        """Let the oldest of files with the same bytes stand for all of them."""
        first: dict[str, str] = {}
        repeats = {}
        for name in sorted(names, key=lambda n: (self._known[n].signature[1], n.casefold(), n)):
            its_bytes = self._known[name].sha256
            if its_bytes and its_bytes in first:
                repeats[name] = first[its_bytes]
            else:
                first[its_bytes or name] = name
        whole = tuple(
            Arrived(
                PhotoFile(self._folder / name, name),
                self._known[name].signature,
                self._known[name].sha256,
            )
            for name in sorted(first.values(), key=lambda n: (n.casefold(), n))
        )
        return Look(whole, repeats, unsettled)
