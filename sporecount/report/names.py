"""Names of marked copies: as the photos are named, in the same folders, each once."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from pathlib import PurePosixPath

#: Folder of the marked copies, within a folder of results.
MARKED_FOLDER = "marked"

#: Bytes a file name may have on the usual file systems, with room for a suffix.
_LONGEST_BYTES = 240


def marked_names(photos: Iterable[str]) -> dict[str, str]:
    """Return the path of each photo's marked copy, relative to the folder of copies.

    Parameters
    ----------
    photos : iterable of str
        Names of photos: relative paths with forward slashes.

    Returns
    -------
    dict of str to str
        Photo name to relative path. No two are alike, not even where a file
        system takes upper and lower case as the same.

    Examples
    --------
    >>> marked_names(["a/1.tif", "b/1.tif", "b/1.png"])
    {'a/1.tif': 'a/1.jpg', 'b/1.tif': 'b/1.tif.jpg', 'b/1.png': 'b/1.png.jpg'}
    """
    photos = list(photos)
    short = {photo: _clean(photo).with_suffix("") for photo in photos}
    uses = Counter(str(path).casefold() for path in short.values())
    names: dict[str, str] = {}
    taken: set[str] = set()
    for photo in photos:
        alone = uses[str(short[photo]).casefold()] == 1
        name = _with_jpg(short[photo] if alone else _clean(photo))
        if name.casefold() in taken:
            name = _with_jpg(_clean(f"{photo}-{_tag(photo)}"))
        taken.add(name.casefold())
        names[photo] = name
    return names


def marked_paths(photos: Iterable[str], *, wanted: bool = True) -> dict[str, str]:
    """Return where each photo's marked copy goes, relative to the folder of results."""
    copies = marked_names(photos) if wanted else {}
    return {name: f"{MARKED_FOLDER}/{copy}" for name, copy in copies.items()}


def _clean(photo: str) -> PurePosixPath:
    """Return a relative path that stays below the folder it is put in."""
    parts = [part for part in PurePosixPath(photo).parts if part not in ("/", "..", ".")]
    return PurePosixPath(*parts) if parts else PurePosixPath("photo")


def _with_jpg(path: PurePosixPath) -> str:
    name = path.name
    if len(_bytes(name)) > _LONGEST_BYTES:
        kept = _bytes(name)[: _LONGEST_BYTES - 9].decode(errors="ignore")
        name = f"{kept}-{_tag(str(path))}"
    return str(path.parent / f"{name}.jpg")


def _tag(text: str) -> str:
    return hashlib.sha256(_bytes(text)).hexdigest()[:8]


def _bytes(text: str) -> bytes:
    """Encode a file name, which need not be proper text."""
    return text.encode("utf-8", errors="surrogatepass")
