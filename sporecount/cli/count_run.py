"""What `sporecount count` does: check first, then count, then write."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sporecount.cli.batch import Batch, count_batch
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, NOT_ALL_COUNTED, STOPPED
from sporecount.cli.out_folder import begin_run, end_run, held
from sporecount.cli.parts import PhotoResult
from sporecount.cli.progress import progress
from sporecount.cli.run_options import RunOptions, ScaleOptions
from sporecount.cli.scales import ScaleRequest
from sporecount.counts.sample_summary import reviewed_by
from sporecount.counts.summary import COUNTED, SUMMARY_COLUMNS
from sporecount.photo.folder import PhotoFile, find_photos
from sporecount.photo.sheet import Sheet
from sporecount.report.files import utf8, write_whole
from sporecount.report.names import marked_paths
from sporecount.report.overview import print_overview
from sporecount.report.run_record import RUN_FILE
from sporecount.report.tables import detections_csv, photos_csv
from sporecount.scale.eyepiece import Eyepiece
from sporecount.settings import Settings

if TYPE_CHECKING:
    from rich.console import Console

DETECTIONS_FILE, PHOTOS_FILE = "detections.csv", "photos.csv"

#: Columns of a sheet that say nothing about the sample, or are in photos.csv by other ways.
_SHEET_ONLY = ("row", "photo", "um_per_px", "calibration")


def run_count(options: RunOptions) -> int:
    """Count photos and write all results; return the exit code."""
    settings = options.settings()
    options.review_folders()  # what cannot be meant is said now
    files = find_photos(options.paths)
    check_out(options.out, options.paths, files, (DETECTIONS_FILE, PHOTOS_FILE))
    sheet_rows = read_sheet_rows(options.sheet, files)
    scales = scale_request(options, sheet_rows)
    scales.check(files)

    with held(options.out):
        return _count(options, settings, files, sheet_rows, scales)


def _count(
    options: RunOptions,
    settings: Settings,
    files: Sequence[PhotoFile],
    sheet_rows: Mapping[str, Mapping[str, Any]],
    scales: ScaleRequest,
) -> int:
    start = begin_run(options.out, options.as_dict(), settings, len(files))
    batch = Batch(
        out=options.out,
        scales=scales,
        settings=settings,
        marked=marked_paths((file.name for file in files), wanted=not options.no_marked),
        afresh=options.afresh,
        jobs=min(options.jobs, len(files)),
        reviews=options.review_folders(),
        microscopes=options.microscopes(),
    )
    try:
        with progress(len(files)) as step:
            results = count_batch(batch, files, step)
    except KeyboardInterrupt:
        click.echo(
            "Stopped. The photos that are done are kept: the same command goes on from there.",
            err=True,
        )
        return STOPPED
    rows = [with_sheet(result.summary, sheet_rows) for result in results]
    _write_tables(options.out, results, rows)
    end_run(options.out, start, rows)
    _print(rows, options.out)
    say_own(batch, rows)
    return DONE if all(row["status"] == COUNTED for row in rows) else NOT_ALL_COUNTED


def say_own(batch: Batch, rows: Sequence[Mapping[str, Any]]) -> None:
    """Say so where results rest on what was measured on the user's own microscope."""
    used = {batch.microscope_of([row]) for row in rows} - {None}
    notes = sorted(one.note for one in used if one is not None)
    if notes:
        said = f"Note: counted with {', '.join(notes)}; --as-shipped leaves that out"
        click.echo(one_line(said))


def scale_request(
    options: ScaleOptions, sheet_rows: Mapping[str, Mapping[str, Any]]
) -> ScaleRequest:
    """Return what a person said about the scale, or say what does not fit together."""
    if (options.field_number is None) != (options.objective is None):
        raise click.UsageError("--field-number and --objective are given together or not at all.")
    if options.um_per_px is not None and not (
        math.isfinite(options.um_per_px) and options.um_per_px > 0
    ):
        raise click.BadParameter(
            "a scale is a positive number of micrometres per pixel, such as 0.65.",
            param_hint="--um-per-px",
        )
    eyepiece = None
    if options.field_number is not None and options.objective is not None:
        eyepiece = Eyepiece(options.field_number, options.objective)
    return ScaleRequest(options.um_per_px, options.calibration, eyepiece, sheet_rows)


def check_out(
    out: Path, paths: Sequence[Path], files: Sequence[PhotoFile], tables: Sequence[str]
) -> None:
    """Refuse a folder for results in which photos or another's tables would be mixed up."""
    whole = out.resolve()
    if any(file.path.resolve().parent == whole for file in files) or whole in {
        path.resolve() for path in paths
    }:
        raise click.BadParameter(
            f"{out} is a folder of photos; name another, such as {out / 'results'}",
            param_hint="--out",
        )
    if not (out / RUN_FILE).exists():
        for name in tables:
            if (out / name).exists():
                raise click.BadParameter(
                    f"{out / name} is there already and not from an earlier run; "
                    "name another folder",
                    param_hint="--out",
                )


def read_sheet_rows(sheet: Path | None, files: Sequence[PhotoFile]) -> dict[str, dict[str, Any]]:
    """Return photo name -> row of the sheet, and note on stderr what does not match."""
    if sheet is None:
        return {}
    match = Sheet.read(sheet).match(file.name for file in files)
    for names, what in (
        (match.missing, "in the sheet but not among the photos"),
        (match.unlisted, "not in the sheet"),
    ):
        if names:
            shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if names[3:] else "")
            click.echo(one_line(f"Note: {what}: {shown}"), err=True)
    return match.rows


def with_sheet(
    summary: Mapping[str, Any], sheet_rows: Mapping[str, Mapping[str, Any]]
) -> dict[str, Any]:
    """Put what the sheet says of a photo between its results and its measures."""
    row = {name: summary[name] for name in SUMMARY_COLUMNS}
    for name, value in sheet_rows.get(summary["photo"], {}).items():
        if name not in _SHEET_ONLY:
            row[f"sheet_{name}" if name in summary else name] = value
    return {**row, **summary}


def _write_tables(
    out: Path, results: Sequence[PhotoResult], rows: Sequence[Mapping[str, Any]]
) -> None:
    tables = ((result.summary["photo"], result.detections) for result in results)
    write_whole(out / DETECTIONS_FILE, utf8(detections_csv(tables)))
    write_whole(out / PHOTOS_FILE, utf8(photos_csv(rows)))


def _print(rows: Sequence[Mapping[str, Any]], out: Path) -> None:
    print_overview(plain_console(), rows)
    if said := reviewed_by(rows):
        click.echo(one_line(f"Reviewed by hand: {said}; --no-reviews gives the tool's own counts"))
    click.echo(one_line(f"Results: {out}"))


def plain_console() -> Console:
    """Return the terminal, or 80 plain columns where output goes elsewhere."""
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=False)
    return console if console.is_terminal else Console(highlight=False, width=80, color_system=None)
