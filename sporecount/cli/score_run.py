"""What `sporecount score` does: count the photos, put each sample together, write."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from sporecount.cli.batch import Batch, Counting
from sporecount.cli.count_run import (
    check_out,
    plain_console,
    read_sheet_rows,
    say_own,
    scale_request,
)
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, NOT_ALL_COUNTED, STOPPED
from sporecount.cli.out_folder import begin_run, end_run, held
from sporecount.cli.progress import progress
from sporecount.cli.run_options import RunOptions
from sporecount.cli.sample_parts import SampleResult
from sporecount.cli.sample_results import (
    DECISIONS_FILE,
    TABLES,
    record_results,
    words,
    write_results,
)
from sporecount.cli.sample_work import REPORT_FOLDER, SampleWork, layout_names
from sporecount.cli.scales import ScaleRequest
from sporecount.cli.tape_areas import tape_areas
from sporecount.counts.summary import COUNTED
from sporecount.errors import SporecountError
from sporecount.literature import TAPE_MM2
from sporecount.photo.folder import PhotoFile, find_photos, folders_without_photos
from sporecount.photo.samples import SampleFiles, by_folder, by_sheet
from sporecount.photo.sheet import read_sheet
from sporecount.rearing.log import RearingLog
from sporecount.report.names import marked_paths
from sporecount.review.record import FOLDER as REVIEWS
from sporecount.settings import Settings

#: With more samples than this, the terminal shows the table and the cautions only.
_MOST_TOLD = 6


@dataclass(frozen=True, kw_only=True)
class ScoreOptions(RunOptions):
    """Options of `sporecount score`, and most of those of `sporecount watch`, as given."""

    tape_mm2: float = TAPE_MM2
    risk_release: float | None = None
    risk_call: float | None = None
    releasable_up_to: int | None = None
    heavy_from: int | None = None
    least_fields: int | None = None
    taken_apart: bool = False
    log_file: Path | None = None

    def settings(self) -> Settings:
        """Return all settings: those of the file, with what was given as options."""
        settings = super().settings()
        given = {
            part.name: getattr(self, part.name)
            for part in dataclasses.fields(settings.decision)
            if getattr(self, part.name) is not None
        }
        tape = settings.tape
        if self.taken_apart:
            tape = dataclasses.replace(tape, taken_apart=True)
        return dataclasses.replace(
            settings, tape=tape, decision=dataclasses.replace(settings.decision, **given)
        )

    def check(self) -> None:
        """Refuse what cannot be meant."""
        self.review_folders()
        if not (math.isfinite(self.tape_mm2) and self.tape_mm2 > 0):
            raise click.BadParameter(
                "the area of a tape is a positive number of mm2, such as 100.",
                param_hint="--tape-mm2",
            )
        if self.log_file is not None:
            RearingLog.open(self.log_file).close()


def run_score(options: ScoreOptions) -> int:
    """Score samples and write all results; return the exit code."""
    options.check()
    settings = options.settings()
    files = find_photos(_paths(options))
    check_out(options.out, options.paths, files, TABLES)
    sheet_rows = read_sheet_rows(options.sheet, files)
    samples = _samples(options, files, sheet_rows)
    tape_areas(samples, sheet_rows, options.tape_mm2)  # what cannot be meant is said now
    scales = scale_request(options, sheet_rows)
    scales.check([file for sample in samples for file in sample.files])

    with held(options.out):
        return _score(options, settings, samples, sheet_rows, scales)


def _score(
    options: ScoreOptions,
    settings: Settings,
    samples: Sequence[SampleFiles],
    sheet_rows: Mapping[str, Mapping[str, Any]],
    scales: ScaleRequest,
) -> int:
    files = [file for sample in samples for file in sample.files]
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
    areas = tape_areas(samples, sheet_rows, options.tape_mm2)
    work = SampleWork(batch, areas, layout_names([sample.name for sample in samples]))
    try:
        results = _score_all(work, samples, files)
    except KeyboardInterrupt:
        click.echo(
            "Stopped. The photos and samples that are done are kept: the same command goes on "
            "from there.",
            err=True,
        )
        return STOPPED
    write_results(options.out, results, sheet_rows)
    photos = [photo for result in results for photo in result.photos]
    end_run(options.out, start, photos)
    kept = options.log_file is None or _recorded(options.log_file, results, settings, sheet_rows)
    print_results(results, options.out)
    say_own(batch, photos)
    whole = all(photo["status"] == COUNTED for photo in photos)
    whole = whole and all(result.summary["status"] == COUNTED for result in results)
    return DONE if whole and kept else NOT_ALL_COUNTED


def _recorded(
    log_file: Path,
    results: Sequence[SampleResult],
    settings: Settings,
    sheet_rows: Mapping[str, Mapping[str, Any]],
) -> bool:
    """Record what was found; a log that cannot be had must not keep it from being said."""
    try:
        return record_results(log_file, results, settings, sheet_rows)
    except SporecountError as error:
        click.echo(one_line(f"Not in the log; give the same command again: {error}"), err=True)
        return False


def _paths(options: ScoreOptions) -> list[Path]:
    """Return what was given, or else the photos that the sheet lists, beside the sheet."""
    if options.paths:
        return list(options.paths)
    if options.sheet is None:
        raise click.UsageError("give a folder of photos, or a sheet with --sheet.")
    return [options.sheet.parent / photo for photo in read_sheet(options.sheet)["photo"]]


def _samples(
    options: ScoreOptions,
    files: Sequence[PhotoFile],
    sheet_rows: Mapping[str, Mapping[str, Any]],
) -> list[SampleFiles]:
    named = any(row.get("sample") for row in sheet_rows.values())
    if not named and options.paths:
        _say_empty(folders_without_photos(options.paths, files, [REVIEWS]))
        return by_folder(files, options.paths)
    samples, left_out = by_sheet(files, sheet_rows)
    if left_out:
        note = f"Note: the sheet names no sample, so not scored: {_some(left_out)}"
        click.echo(one_line(note), err=True)
    return samples


def _say_empty(folders: Sequence[Path]) -> None:
    """Note folders that yield no sample, so that no adult is forgotten in silence."""
    if folders:
        note = f"Note: no photo of a known format in {_some([str(f) for f in folders])}: not scored"
        click.echo(one_line(note), err=True)


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if names[3:] else "")


def _score_all(
    work: SampleWork, samples: Sequence[SampleFiles], files: Sequence[PhotoFile]
) -> list[SampleResult]:
    results = []
    with (
        progress(len(files)) as step,
        Counting(work.batch, step, views=True) as counting,
    ):
        # One sample is counted ahead of the one that is scored: jobs do not wait, and no
        # more than two samples' photos are in memory, reduced.
        begun = [counting.begin(sample.files) for sample in samples[:1]]
        for number, sample in enumerate(samples, 1):
            if number < len(samples):
                begun.append(counting.begin(samples[number].files))
            counted = counting.results(begun.pop(0))
            photos = {result.summary["photo"]: result for result in counted}
            results.append(work.score(sample, photos))
            row = results[-1].summary
            said = row["decision"] or row["status"]
            line = f"sample {number}/{len(samples)} {sample.name}: {said}"
            click.echo(one_line(line), err=True)
    return results


def print_results(results: Sequence[SampleResult], out: Path) -> None:
    """Print the overview, and each decision in words unless there are many."""
    from sporecount.decision.texts import CAUTIONS
    from sporecount.report.samples_overview import print_samples

    print_samples(plain_console(), [result.summary for result in results])
    if len(results) <= _MOST_TOLD:
        for result in results:
            click.echo(f"\n{words(result)}")
    else:
        click.echo("\n" + "\n".join(("Cautions:", *(f"- {caution}" for caution in CAUTIONS))))
    click.echo(one_line(f"In words: {out / DECISIONS_FILE}"))
    click.echo(one_line(f"Reports to read and print: {out / REPORT_FOLDER}"))
    click.echo(one_line(f"Results: {out}"))
