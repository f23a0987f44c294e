"""Finished samples, kept as finished photos are: a stopped run goes on where it was."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sporecount.cli.parts import PARTS_FOLDER, file_stamp, name_of, plain_value
from sporecount.counts.summary import COUNTED
from sporecount.decision.texts import HOLD
from sporecount.report.files import write_whole
from sporecount.settings import Settings


@dataclass(frozen=True)
class SampleResult:
    """What is kept of one sample.

    Attributes
    ----------
    summary : dict
        Its row of ``samples.csv``.
    photos : list of dict
        Rows of ``photos.csv`` of its photos.
    detections : str
        Its part of ``sample_detections.csv``, headings included.
    decision : str or None
        The decision in words; None where there is none.
    report : str
        Path of its report, relative to the folder of results; empty where none is written.
    """

    summary: dict[str, Any]
    photos: list[dict[str, Any]]
    detections: str
    decision: str | None
    report: str = ""

    @property
    def is_settled(self) -> bool:
        """Whether enough was seen for the risks chosen."""
        return self.summary["status"] == COUNTED and self.summary["decision"] != HOLD


def sample_key(
    sample: str, photo_keys: Sequence[str], tape_mm2: float, settings: Settings, further: Any
) -> str:
    """Return a name for a result that changes with anything that can change the result."""
    everything = [sample, list(photo_keys), tape_mm2, settings.as_dict(), further]
    return name_of(everything)


class SampleParts:
    """The finished samples in one folder of results.

    Parameters
    ----------
    out : Path
        Folder of results.
    """

    def __init__(self, out: Path) -> None:
        self._out = out

    def load(self, key: str) -> SampleResult | None:
        """Return a finished sample, or None where it must be scored (again)."""
        try:
            kept = json.loads(self._path(key).read_text("utf-8"))
            result = SampleResult(**kept["result"])
            if kept["files"] != self._stamps(result):
                return None
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return result

    def save(self, key: str, result: SampleResult) -> None:
        """Keep a finished sample."""
        kept = {"result": asdict(result), "files": self._stamps(result)}
        write_whole(self._path(key), json.dumps(kept, default=plain_value).encode())

    def _stamps(self, result: SampleResult) -> list[list[Any]]:
        """Tell these versions of layout and report from others."""
        names = (result.summary["layout"], result.report)
        return [file_stamp(self._out, name) for name in names if name]

    def _path(self, key: str) -> Path:
        return self._out / PARTS_FOLDER / f"sample-{key}.json"
