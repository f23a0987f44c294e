"""Which files are photos, in which order, and by what names they go."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from sporecount.errors import PhotoUnreadableError

#: File name endings that are taken for photos inside folders.
PHOTO_SUFFIXES = frozenset(
    [".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff"]
    + [".bmp", ".dib", ".webp", ".gif", ".heic", ".heif", ".hif"]
)

#: A folder with this file in it, naming the program, holds results and no photos.
RUN_FILE = "run.json"


@dataclass(frozen=True)
class PhotoFile:
    """A file to be read as a photo.

    Attributes
    ----------
    path : Path
        Where the file is.
    name : str
        Its name in results: relative to the folder that was given, with forward
        slashes; unique within one run.
    """

    path: Path
    name: str


@dataclass(frozen=True)
class _Found:
    """A photo, and the folder its name is relative to."""

    path: Path
    root: Path
    relative: str


def find_photos(paths: str | Path | Iterable[str | Path]) -> list[PhotoFile]:
    """List the photos among files and folders.

    Folders are searched with their subfolders. Hidden files, droppings of other
    systems (``._x.jpg``, ``__MACOSX``), files of other kinds and this program's
    own results are passed over; a file named outright is always kept. Files that
    are reached twice are listed once. Where photos of two folders would have the
    same name, the folders' names come before theirs.

    Parameters
    ----------
    paths : path or iterable of paths
        Files and folders.

    Returns
    -------
    list of PhotoFile
        Sorted by name, without regard to case first, so that the order is the
        same on every system.

    Raises
    ------
    PhotoUnreadableError
        If a path does not exist, a folder given holds results, or there is no photo.
    """
    given = [Path(paths)] if isinstance(paths, (str, Path)) else [Path(p) for p in paths]
    found: dict[Path, _Found] = {}
    for path in given:
        for photo in _photos_at(path):
            found.setdefault(photo.path.resolve(), photo)
    if not found:
        raise PhotoUnreadableError(
            ", ".join(str(p) for p in given) or "no path",
            "there is no photo in it",
            f"give a folder with files ending in {', '.join(sorted(PHOTO_SUFFIXES))}",
        )
    photos = list(found.values())
    named = [PhotoFile(p.path, name) for p, name in zip(photos, _unique_names(photos))]
    return sorted(named, key=lambda p: (p.name.casefold(), p.name))


def folders_without_photos(
    paths: Iterable[str | Path], photos: Iterable[PhotoFile], passed_over: Iterable[str] = ()
) -> list[Path]:
    """List folders in which somebody may expect photos, but there are none.

    Parameters
    ----------
    paths : iterable of paths
        What was given.
    photos : iterable of PhotoFile
        What was found there.
    passed_over : iterable of str
        Names of folders that hold something else.

    Returns
    -------
    list of Path
        Sorted. Of folders within each other the outermost; those that
        :func:`find_photos` passes over are left out.
    """
    filled = {folder for file in photos for folder in file.path.resolve().parents}
    named, empty = set(passed_over), list[Path]()
    for path in (Path(p) for p in paths):
        for where, folders, _ in os.walk(path):
            here = Path(where)
            folders[:] = [f for f in folders if _looked_into(here, f) and f not in named]
            if here.resolve() not in filled:
                empty.append(here)
                folders.clear()
    return sorted(set(empty))


def _looked_into(where: Path, name: str) -> bool:
    """Say whether a subfolder is searched for photos."""
    return not (name.startswith(".") or name == "__MACOSX" or _holds_results(where / name))


def _photos_at(path: Path) -> list[_Found]:
    """List the photos at one path that was given."""
    if path.is_dir():
        if _holds_results(path):
            raise PhotoUnreadableError(
                str(path),
                f"it holds results of this program ({RUN_FILE})",
                "give the folder of the photos themselves, and keep results in another one",
            )
        root = path.resolve()
        return [_Found(p, root, p.relative_to(path).as_posix()) for p in _walk(path)]
    if not path.exists():
        raise PhotoUnreadableError(str(path), "there is no such file or folder", "check the name")
    return [_Found(path, path.resolve().parent, path.name)]


def _walk(folder: Path) -> list[Path]:
    """List photos in a folder and its subfolders, without results and hidden files."""
    photos: list[Path] = []
    for where, folders, files in os.walk(folder, onerror=_cannot_list):
        here = Path(where)
        folders[:] = [f for f in folders if _looked_into(here, f)]
        photos += [
            here / f
            for f in files
            if not f.startswith(".") and Path(f).suffix.casefold() in PHOTO_SUFFIXES
        ]
    return photos


def _cannot_list(error: OSError) -> None:
    """Refuse to pass over a folder in silence."""
    raise PhotoUnreadableError(
        str(error.filename),
        f"the folder cannot be listed ({error.strerror})",
        "check your rights to read it",
    ) from error


def _holds_results(folder: Path) -> bool:
    """Say whether a folder was written by this program."""
    try:
        with (folder / RUN_FILE).open("rb") as file:
            return b"sporecount" in file.read(65_536)
    except OSError:
        return False


def _unique_names(photos: list[_Found]) -> list[str]:
    """Prefix names by as many folders as keep them apart; none where that will do."""
    depth: dict[Path, int] = dict.fromkeys((p.root for p in photos), 0)
    while True:
        names = [_prefixed(p, depth[p.root]) for p in photos]
        count = Counter(names)
        clashing = {p.root for p, name in zip(photos, names) if count[name] > 1}
        growing = {root for root in clashing if depth[root] < len(root.parts)}
        if not growing:
            return names
        for root in growing:
            depth[root] += 1


def _prefixed(photo: _Found, depth: int) -> str:
    """Return a name with the last folders of its root before it."""
    prefix = [part.strip("/\\:") for part in photo.root.parts[len(photo.root.parts) - depth :]]
    return "/".join([part for part in prefix if part] + [photo.relative])
