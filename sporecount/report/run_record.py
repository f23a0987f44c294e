"""The record of a run (``run.json``): what it takes to make the results again."""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from sporecount import __version__
from sporecount.counts.rates import load_rates
from sporecount.report.weights import weights_sha256
from sporecount.settings import Settings

#: File name of the record; a folder that holds it holds results, not photos.
RUN_FILE = "run.json"

#: Libraries whose version can change a result.
_LIBRARIES = (
    "imagecodecs",
    "numpy",
    "onnxruntime",
    "opencv-python-headless",
    "pandas",
    "pillow",
    "pillow-heif",
    "scikit-image",
    "scipy",
    "tifffile",
)


@dataclass(frozen=True)
class RunStart:
    """What is known when a run starts.

    Attributes
    ----------
    options : mapping
        Options of the command, as given.
    settings : Settings
        All settings.
    photos : int
        Number of photos given.
    started : datetime
        When it began, with time zone.
    """

    options: Mapping[str, Any]
    settings: Settings
    photos: int
    started: datetime


def now() -> datetime:
    """Return the present time with its zone, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def run_record(
    start: RunStart,
    rows: Iterable[Mapping[str, Any]] = (),
    ended: datetime | None = None,
) -> str:
    """Return the text of ``run.json``.

    Parameters
    ----------
    start : RunStart
        What was known at the start.
    rows : iterable of mappings
        Rows of ``photos.csv``, for the scales and hashes.
    ended : datetime, optional
        When the run ended; None while it goes on, and in a run that was stopped.
    """
    record = {
        "program": "sporecount",
        "version": __version__,
        "started": start.started.isoformat(),
        "ended": ended.isoformat() if ended else None,
        "options": dict(start.options),
        "settings": start.settings.as_dict(),
        "detector_weights": weights_sha256(),
        "detector_rates": asdict(load_rates()),
        "python": sys.version.split()[0],
        "platform": platform.platform(),
        "libraries": {name: _version_of(name) for name in _LIBRARIES},
        "photos_given": start.photos,
        "photos": [
            {
                name: row.get(name)
                for name in ("photo", "status", "sha256", "um_per_px", "scale_source")
            }
            for row in rows
        ],
    }
    return json.dumps(record, indent=2, ensure_ascii=False, default=str) + "\n"


def _version_of(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None
