"""The tables of samples: ``samples.csv`` and ``sample_detections.csv``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from sporecount.counts.sample_summary import SAMPLE_COLUMNS
from sporecount.report.tables import csv_text, outline_text
from sporecount.tape.union import UNITED_COLUMNS

#: Columns of ``sample_detections.csv`` that are neither a photo's detection's nor the sample's.
_PLACE_COLUMNS = ("photo", "group", "x_um", "y_um", "tape_angle_deg", "seen_in")

#: Columns of ``sample_detections.csv``, in order.
SAMPLE_DETECTION_COLUMNS: tuple[str, ...] = (
    "sample",
    "part",
    "x_um",
    "y_um",
    "tape_angle_deg",
    "counted",
    "seen_in",
    "photo",
    *(name for name in UNITED_COLUMNS if name not in (*_PLACE_COLUMNS, "outline_px")),
    "outline",
)


def samples_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the text of ``samples.csv``: one row for each sample.

    Parameters
    ----------
    rows : sequence of mappings
        Rows with the columns of :data:`SAMPLE_COLUMNS`; further columns follow in the
        order in which they first occur.
    """
    further = dict.fromkeys(name for row in rows for name in row if name not in SAMPLE_COLUMNS)
    columns = (*SAMPLE_COLUMNS, *further)
    return csv_text(columns, ([row.get(name) for name in columns] for row in rows))


def sample_detections_csv(samples: Iterable[tuple[str, pd.DataFrame]]) -> str:
    """Return the text of ``sample_detections.csv``: each object of each tape once.

    Parameters
    ----------
    samples : iterable of (str, DataFrame)
        Each sample's name and its detections, as `sporecount.tape.tape.assemble` unites
        them. Parts of the layout are numbered from 1.
    """
    return csv_text(
        SAMPLE_DETECTION_COLUMNS, (row for name, table in samples for row in _rows(name, table))
    )


def _rows(sample: str, table: pd.DataFrame) -> Iterable[list[Any]]:
    own = [name for name in SAMPLE_DETECTION_COLUMNS if name in table]
    for values, group, outline in zip(
        table[own].itertuples(index=False), table["group"], table["outline_px"], strict=True
    ):
        known = dict(zip(own, values, strict=True))
        known.update(sample=sample, part=int(group) + 1, outline=outline_text(outline))
        yield [known[name] for name in SAMPLE_DETECTION_COLUMNS]
