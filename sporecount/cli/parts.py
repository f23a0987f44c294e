"""Finished photos, kept so that a run that was stopped goes on where it was.

One file for each photo, named by its name and everything that can change its
result: the photo's bytes, the scale asked for, the settings, the detector's weights and rates,
what people said in reviews, their own microscopes, and the version of the program.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from sporecount import __version__
from sporecount.counts.rates import load_rates
from sporecount.detect.table import COLUMNS
from sporecount.report.files import write_whole
from sporecount.report.weights import weights_sha256
from sporecount.settings import Settings

if TYPE_CHECKING:
    from sporecount.tape.view import View

#: Folder of finished photos, within the folder of results.
PARTS_FOLDER = ".sporecount-parts"


@dataclass(frozen=True, eq=False)
class PhotoResult:
    """What is kept of one photo.

    Attributes
    ----------
    summary : dict
        Its row of ``photos.csv``.
    detections : DataFrame
        Its detections.
    view : View or None
        The photo, reduced, where it was just counted for a sample; not kept on the disk.
    """

    summary: dict[str, Any]
    detections: pd.DataFrame
    view: View | None = None


def part_key(
    name: str,
    sha256: str,
    scale_asked: Mapping[str, Any],
    settings: Settings,
    reviews: str = "",
    microscopes: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Return a name for a result that changes with anything that can change the result."""
    everything = {
        "name": name,
        "photo": sha256,
        "scale": dict(scale_asked),
        "settings": settings.as_dict(),
        "rates": asdict(load_rates()),
        "detector": weights_sha256(),
        "version": __version__,
        "reviews": reviews,
        "microscopes": list(microscopes),
    }
    return name_of(everything)


def name_of(everything: Any) -> str:
    """Return a file name that changes with anything in it; what JSON does not know goes as text."""
    text = json.dumps(everything, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


class Parts:
    """The finished photos in one folder of results.

    Parameters
    ----------
    out : Path
        Folder of results.
    """

    def __init__(self, out: Path) -> None:
        self._out = out

    def load(self, key: str, marked: str | None) -> PhotoResult | None:
        """Return a finished photo, or None where it must be counted (again).

        Parameters
        ----------
        key : str
            From :func:`part_key`.
        marked : str or None
            Path of the marked copy that is wanted, relative to the folder of
            results: a result whose copy is gone or was changed is not finished.
        """
        try:
            kept = json.loads(self._path(key).read_text("utf-8"))
            if marked is not None and kept["marked"] != file_stamp(self._out, marked):
                return None
            return PhotoResult(kept["summary"], _table(kept["detections"]))
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def save(self, key: str, result: PhotoResult, marked: str | None) -> None:
        """Keep a finished photo."""
        kept = {
            "summary": result.summary,
            "detections": {
                name: [plain_value(value) for value in result.detections[name]] for name in COLUMNS
            },
            "marked": None if marked is None else file_stamp(self._out, marked),
        }
        write_whole(self._path(key), json.dumps(kept, default=plain_value).encode())

    def _path(self, key: str) -> Path:
        return self._out / PARTS_FOLDER / f"{key}.json"


def file_stamp(out: Path, name: str) -> list[Any]:
    """Tell one version of a picture among the results from another without reading it."""
    found = (out / name).stat()
    return [name, found.st_size, found.st_mtime_ns]


def _table(columns: Mapping[str, list[Any]]) -> pd.DataFrame:
    table = pd.DataFrame(
        {
            name: pd.Series(
                [np.array(value, float).reshape(-1, 2) for value in columns[name]]
                if name == "outline_px"
                else columns[name],
                dtype=kind,
            )
            for name, kind in COLUMNS.items()
        }
    )
    return table


def plain_value(value: Any) -> Any:
    """Turn numpy values into what JSON knows."""
    return value.tolist() if isinstance(value, (np.ndarray, np.generic)) else value
