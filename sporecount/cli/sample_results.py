"""What a run leaves of its samples: tables, words, and rows of the rearing log."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from sporecount.cli.count_run import PHOTOS_FILE, with_sheet
from sporecount.cli.edge import one_line
from sporecount.cli.sample_parts import SampleResult
from sporecount.counts.sample_summary import SAMPLE_COLUMNS
from sporecount.errors import SporecountError
from sporecount.report.files import utf8, write_whole
from sporecount.report.samples_table import sample_detections_csv, samples_csv
from sporecount.report.tables import photos_csv
from sporecount.report.weights import weights_sha256
from sporecount.scoring import outcome_text
from sporecount.settings import Settings

SAMPLES_FILE, DETECTIONS_FILE = "samples.csv", "sample_detections.csv"
DECISIONS_FILE = "decisions.txt"

#: Tables that are never written over in a folder of something else.
TABLES = (SAMPLES_FILE, DETECTIONS_FILE, PHOTOS_FILE, DECISIONS_FILE)

#: Columns of a sheet that belong to a photo, or are in samples.csv by other ways.
_OF_PHOTOS = ("row", "photo", "um_per_px", "calibration", "sample", "tape_mm2")


def write_results(
    out: Path,
    results: Sequence[SampleResult],
    sheet_rows: Mapping[str, Mapping[str, Any]] | None = None,
) -> None:
    """Write all tables and the decisions, each file whole."""
    sheet_rows = sheet_rows or {}
    photos = [
        {**with_sheet(photo, sheet_rows), "sample": result.summary["sample"]}
        for result in results
        for photo in result.photos
    ]
    rows = [{**result.summary, **sheet_says(result, sheet_rows)} for result in results]
    headings = sample_detections_csv([])
    detections = headings + "".join(result.detections.removeprefix(headings) for result in results)
    write_whole(out / DETECTIONS_FILE, utf8(detections))
    write_whole(out / PHOTOS_FILE, utf8(photos_csv(photos)))
    write_whole(out / DECISIONS_FILE, utf8("\n\n".join(map(words, results)) + "\n"))
    # Last, so that a table of samples is never newer than what it rests on.
    write_whole(out / SAMPLES_FILE, utf8(samples_csv(rows)))


def sheet_says(result: SampleResult, sheet_rows: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return what the sheet says alike of all photos of a sample."""
    rows = [sheet_rows.get(photo["photo"], {}) for photo in result.photos]
    said: dict[str, Any] = {}
    for name in rows[0] if rows else ():
        values = {str(row.get(name, "")) for row in rows}
        if name not in _OF_PHOTOS and len(values) == 1:
            said[f"sheet_{name}" if name in SAMPLE_COLUMNS else name] = values.pop()
    return said


def words(result: SampleResult) -> str:
    """Return the outcome of a sample in plain words; its names cannot break lines."""
    text = outcome_text(result.summary, result.decision)
    return "\n".join(one_line(line) for line in text.splitlines())


def record_results(
    log_file: Path,
    results: Sequence[SampleResult],
    settings: Settings,
    sheet_rows: Mapping[str, Mapping[str, Any]] | None = None,
    say: Callable[[str], None] = lambda text: click.echo(text, err=True),
) -> bool:
    """Record results in a rearing log; recording twice adds nothing.

    Returns
    -------
    bool
        False where one could not be recorded: said on stderr, and the others go on.
    """
    from sporecount.rearing.log import RearingLog

    all_kept = True
    with RearingLog.open(log_file) as log:
        for result in results:
            said = sheet_says(result, sheet_rows or {})
            try:
                log.record_sample(
                    {**_recorded(result.summary), "detector_weights": weights_sha256()},
                    photos=[photo for photo in result.photos if photo["sha256"]],
                    settings=settings,
                    adult=said.get("adult") or None,
                    taken_on=said.get("taken_on") or None,
                )
            except SporecountError as error:
                all_kept = False
                sample = result.summary["sample"]
                say(one_line(f"Not in the log: sample {sample}: {error}"))
    return all_kept


def _recorded(summary: Mapping[str, Any]) -> dict[str, Any]:
    """Return what goes into the log: no paths of one folder of results."""
    return {name: value for name, value in summary.items() if name != "layout"}
