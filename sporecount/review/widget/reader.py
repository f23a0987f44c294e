"""Photos of tapes as layers of napari, read as sporecount reads them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from sporecount.errors import SporecountError
from sporecount.photo.folder import find_photos

#: Key of a layer's metadata that says which file it is of.
PATH_KEY = "sporecount_photo"

#: What napari makes layers from: data, how to show them, kind.
LayerData = tuple[Any, dict[str, Any], str]


def get_reader(path: str | Sequence[str]) -> Callable[[Any], list[LayerData]] | None:
    """Return what reads photos; None where there are none."""
    try:
        find_photos(path if isinstance(path, str) else list(path))
    except SporecountError:
        return None
    return read_layers


def read_layers(path: str | Sequence[str]) -> list[LayerData]:
    """Return a layer for each photo, in micrometres where the file says its scale."""
    from sporecount.photo.read import read_photo

    layers: list[LayerData] = []
    for file in find_photos(path if isinstance(path, str) else list(path)):
        photo = read_photo(file.path, file.name)
        known: dict[str, Any] = {
            "name": file.name,
            "rgb": True,
            "metadata": {PATH_KEY: str(Path(file.path).resolve())},
        }
        if photo.tag_scale is not None:
            known["scale"] = (photo.tag_scale.um_per_px,) * 2
            known["units"] = ("um", "um")
        layers.append((photo.pixels, known, "image"))
    return layers
