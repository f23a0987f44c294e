"""Which trained weights a result rests on, by the hash of each file."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from importlib import resources


def weights_sha256() -> dict[str, str]:
    """Return the name and SHA-256 hash of each file of the detector's weights, by name.

    Examples
    --------
    >>> {len(digest) for digest in weights_sha256().values()}
    {64}
    """
    return dict(_hashed())


@lru_cache(maxsize=1)
def _hashed() -> tuple[tuple[str, str], ...]:
    folder = resources.files("sporecount.detect") / "weights"
    files = sorted(folder.iterdir(), key=lambda file: file.name) if folder.is_dir() else []
    return tuple(
        (file.name, hashlib.sha256(file.read_bytes()).hexdigest())
        for file in files
        if file.is_file() and not file.name.startswith(".")
    )
