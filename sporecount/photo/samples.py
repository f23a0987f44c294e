"""Which photos belong to one sample: those of one folder, or what the sheet says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sporecount.errors import SheetError
from sporecount.photo.folder import PhotoFile


@dataclass(frozen=True)
class SampleFiles:
    """The photos of one sample.

    Attributes
    ----------
    name : str
        What the sample is called; unique within one run.
    files : tuple of PhotoFile
        Its photos, in the order in which they were given.
    """

    name: str
    files: tuple[PhotoFile, ...]


def by_folder(files: Iterable[PhotoFile], given: Iterable[Path]) -> list[SampleFiles]:
    """Take the photos of each folder for one sample, called as the folder is.

    A folder within one that was given is called by its path below that; where two would
    have the same name, the folders they lie in come before it.

    Parameters
    ----------
    files : iterable of PhotoFile
        The photos.
    given : iterable of Path
        The folders and files that were given.

    Examples
    --------
    >>> files = [PhotoFile(Path(f"/in/{name}"), name) for name in ("A1/a.jpg", "A2/a.jpg")]
    >>> [sample.name for sample in by_folder(files, [Path("/in")])]
    ['A1', 'A2']
    """
    folders: dict[Path, list[PhotoFile]] = {}
    for file in files:
        folders.setdefault(file.path.resolve().parent, []).append(file)
    roots = sorted((path.resolve() for path in given), key=lambda path: -len(path.parts))
    parts = {folder: max(1, _below(folder, roots)) for folder in folders}
    while True:
        names = {folder: "/".join(folder.parts[-parts[folder] :]) for folder in folders}
        uses = Counter(names.values())
        alike = [f for f in folders if uses[names[f]] > 1 and parts[f] < len(f.parts)]
        if not alike:
            return [SampleFiles(names[folder], tuple(own)) for folder, own in folders.items()]
        for folder in alike:
            parts[folder] += 1


def by_sheet(
    files: Iterable[PhotoFile], rows: Mapping[str, Mapping[str, Any]]
) -> tuple[list[SampleFiles], list[str]]:
    """Take the photos that the sheet gives the same ``sample`` for one.

    Parameters
    ----------
    files : iterable of PhotoFile
        The photos.
    rows : mapping of str to mapping
        Photo name to its row of the sheet.

    Returns
    -------
    samples : list of SampleFiles
        In the order of their first photos.
    left_out : list of str
        Photos for which the sheet names no sample.

    Raises
    ------
    SheetError
        If it names no sample for any photo.
    """
    samples: dict[str, list[PhotoFile]] = {}
    left_out = []
    for file in files:
        name = str(rows.get(file.name, {}).get("sample") or "")
        if name:
            samples.setdefault(name, []).append(file)
        else:
            left_out.append(file.name)
    if not samples:
        raise SheetError(
            "sheet",
            "it names no sample for any of the photos",
            'write which photos belong together in a column "sample"',
        )
    return [SampleFiles(name, tuple(own)) for name, own in samples.items()], left_out


def _below(folder: Path, roots: Sequence[Path]) -> int:
    """Return how many folders down from the nearest given one a folder lies."""
    for root in roots:
        if folder.is_relative_to(root):
            return len(folder.parts) - len(root.parts)
    return 0
