"""Writing files whole or not at all."""

from __future__ import annotations

import uuid
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that nobody ever sees half of it.

    The content goes to a file beside it, which then takes the name's place. The
    folder is made where it is missing.

    Parameters
    ----------
    path : Path
        File to write or to replace.
    content : bytes
        All of it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.parent / f".{uuid.uuid4().hex}.part"
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def utf8(text: str) -> bytes:
    r"""Encode a text, with the bytes of file names that are no text spelled out.

    Examples
    --------
    >>> utf8("a\udcff.jpg")
    b'a\\udcff.jpg'
    """
    return text.encode("utf-8", errors="backslashreplace")
