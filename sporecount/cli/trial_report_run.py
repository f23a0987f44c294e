"""What `sporecount trial report` does: count photos, put slides together, judge, write."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

import click
import pandas as pd

from sporecount.cli.batch import Batch, count_batch
from sporecount.cli.count_run import PHOTOS_FILE, check_out, say_own, scale_request
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, NOT_ALL_COUNTED, STOPPED
from sporecount.cli.out_folder import begin_run, end_run
from sporecount.cli.progress import progress
from sporecount.cli.settings_file import read_settings
from sporecount.cli.trial_followed import FieldResult, follow_fields
from sporecount.cli.trial_results import (
    TABLES,
    Counted,
    Others,
    forget_judged,
    write_counted,
    write_results,
)
from sporecount.cli.trial_slides import SlideResult, count_slide
from sporecount.counts.summary import COUNTED
from sporecount.errors import SheetError
from sporecount.photo.folder import PHOTO_SUFFIXES, PhotoFile, find_photos
from sporecount.photo.sheet import Sheet
from sporecount.report.names import marked_paths
from sporecount.review.own import load_microscopes
from sporecount.settings import Settings
from sporecount.trial.blind import read_key
from sporecount.trial.followed.pairs import (
    BEFORE,
    FieldPhotos,
    pair_fields,
    when_of,
    with_table,
)
from sporecount.trial.followed.table import FOLLOWED
from sporecount.trial.photos import (
    SLIDE_COUNTED,
    SlidePhotos,
    group_photos,
    missing_arms,
    slides_table,
    with_endings,
)
from sporecount.trial.plan import Trial
from sporecount.trial.plan_file import read_trial
from sporecount.trial.table_file import own_arm, read_slides

#: Names that are shown before "and more".
_MOST_NAMED = 3


@dataclass(frozen=True)
class ReportOptions:
    """Options of `sporecount trial report`, as given."""

    file: Path
    out: Path
    counts: Path | None = None
    photos: Path | None = None
    sheet: Path | None = None
    key: Path | None = None
    um_per_px: float | None = None
    calibration: str | None = None
    field_number: float | None = None
    objective: float | None = None
    taken_apart: bool = False
    settings_file: Path | None = None
    no_marked: bool = False
    jobs: int = 1
    afresh: bool = False
    as_shipped: bool = False

    def settings(self, trial: Trial) -> Settings:
        """Return all settings: those of the file, with what options and trial file say."""
        settings = read_settings(self.settings_file) if self.settings_file else Settings()
        if self.taken_apart or trial.taken_apart:
            tape = dataclasses.replace(settings.tape, taken_apart=True)
            settings = dataclasses.replace(settings, tape=tape)
        return settings


def run_report(options: ReportOptions) -> int:
    """Judge a trial from its photos, or from counts, and write all results."""
    trial = read_trial(options.file)
    settings = options.settings(trial)
    _check_inputs_stay(options, trial)
    others = Others.read(trial, options.file.parent)  # before the long work, not after
    if options.counts is not None:
        return _from_counts(options, trial, settings, others, options.counts)
    return _from_photos(options, trial, settings, others)


def _from_counts(
    options: ReportOptions, trial: Trial, settings: Settings, others: Others, counts: Path
) -> int:
    table = _own_arms(read_slides(counts), trial, counts.name)
    check_out(options.out, [], [], TABLES)
    start = begin_run(options.out, _as_given(options), settings, 0)
    _note_missing([str(arm) for arm in table["arm"]], trial)
    if others.followed is not None and "gone" not in others.followed:
        click.echo(
            "Note: followed fields are photos, which --counts leaves alone: not judged",
            err=True,
        )
    write_results(options.out, trial, Counted(table), others)
    end_run(options.out, start, ())
    return DONE


def _from_photos(options: ReportOptions, trial: Trial, settings: Settings, others: Others) -> int:
    sheet_path = _sheet_path(options, trial)
    files, rows = _photos(options, trial, sheet_path, others.followed)
    key_path = options.key or _beside(options.file, trial.key)
    key = read_key(key_path) if key_path else ()
    arms = [arm.name for arm in trial.arms]
    fields = pair_fields(files, rows, arms, key)
    later = [file for file in files if when_of(rows.get(file.name)) != BEFORE]
    slides, left_out = group_photos(later, rows, arms, key)
    files = [file for slide in slides for file in slide.files]
    files += [field.before for field in fields if field.before is not None]
    check_out(options.out, [options.photos] if options.photos else [], files, TABLES)
    _note("the sheet names no slide, so not counted", left_out)
    there = {slide.code for slide in slides}
    _note("codes of the key without any photo", [row.code for row in key if row.code not in there])
    _note_missing([slide.arm for slide in slides], trial)
    scales = scale_request(options, rows)
    scales.check(files)
    start = begin_run(options.out, _as_given(options), settings, len(files))
    batch = Batch(
        out=options.out,
        scales=scales,
        settings=settings,
        marked=marked_paths((file.name for file in files), wanted=not options.no_marked),
        afresh=options.afresh,
        jobs=min(options.jobs, len(files)),
        microscopes=() if options.as_shipped else load_microscopes(),
    )
    try:
        results, followed = _count(batch, slides, fields, files)
    except KeyboardInterrupt:
        click.echo(
            "Stopped. The photos and slides that are done are kept: the same command goes on "
            "from there.",
            err=True,
        )
        return STOPPED
    photos = [photo for result in results for photo in result.photos]
    photos += [one.photo for one in followed]
    own = batch.microscope_of(photos)
    counted = Counted(
        slides_table([result.row for result in results]),
        results,
        {file.name: file.path for file in files},
        rows,
        settings,
        followed,
        None if own is None else own.misread,
    )
    if len(counted.slides):
        write_results(options.out, trial, counted, others)
        say_own(batch, photos)
    else:
        write_counted(options.out, counted, counted.slides)
        forget_judged(options.out)
        _tell_nothing(photos)
    end_run(options.out, start, photos)
    whole = all(photo["status"] == COUNTED for photo in photos)
    return DONE if whole else NOT_ALL_COUNTED


def _count(
    batch: Batch,
    slides: Sequence[SlidePhotos],
    fields: Sequence[FieldPhotos],
    files: Sequence[PhotoFile],
) -> tuple[list[SlideResult], list[FieldResult]]:
    with progress(len(files)) as step:
        counted = {one.summary["photo"]: one for one in count_batch(batch, files, step)}
    results = []
    for number, slide in enumerate(slides, 1):
        results.append(count_slide(batch, slide, counted))
        row = results[-1].row
        said = (
            f"{row['intact']} intact, {row['damaged']} damaged, {row['fragment']} fragments"
            if row["status"] == SLIDE_COUNTED
            else f"refused ({row['notes']})"
        )
        click.echo(
            one_line(f"slide {number}/{len(slides)} {slide.slide} of {slide.arm}: {said}"), err=True
        )
    return results, follow_fields(batch, fields, counted, _tell_field)


def _tell_field(result: FieldResult) -> None:
    row = result.row
    said = (
        f"of {row['intact'] + row['damaged'] + row['fragment'] + row['gone']} intact before "
        f"{row['intact']} still are, {row['damaged']} damaged, {row['fragment']} in pieces, "
        f"{row['gone']} gone, {row['unmatched']} more not matched"
        if row["status"] == FOLLOWED
        else f"left out ({row['notes']})"
    )
    named = " ".join(filter(None, (str(row["slide"]), str(row["field"]))))
    click.echo(one_line(f"followed {named} of {row['arm']}: {said}"), err=True)


def _tell_nothing(photos: Sequence[Mapping[str, Any]]) -> None:
    """Say so where not one slide could be counted: nothing can be judged then."""
    first = next(photo for photo in photos if photo["status"] != COUNTED)
    click.echo(
        one_line(
            f"Error: none of the slides could be counted, so nothing is judged; the first photo: "
            f"{first['photo']}, {first['reason']}. All are in {PHOTOS_FILE}. Take them again."
        ),
        err=True,
    )


def _sheet_path(options: ReportOptions, trial: Trial) -> Path:
    found = options.sheet or _beside(options.file, trial.sheet)
    if found is None:
        raise SheetError(
            str(options.file),
            "it names no sheet of photos",
            'write sheet = "photos.csv" into it, or give --sheet, or counts with --counts',
        )
    return found


def _beside(file: Path, name: str) -> Path | None:
    """Return a path that the trial file names, seen from where the trial file is."""
    return file.parent / name if name else None


def _photos(
    options: ReportOptions, trial: Trial, sheet_path: Path, followed: pd.DataFrame | None
) -> tuple[list[PhotoFile], dict[str, dict[str, Any]]]:
    """Return the photos, and the row of the sheet for each that has one, or a followed one."""
    sheet = Sheet.read(sheet_path)
    folder = options.photos or _beside(options.file, trial.photos)
    if folder is not None:
        files = find_photos(folder)
    else:
        listed = [*sheet.table["photo"]]
        if followed is not None and BEFORE in followed:
            listed += [*followed["before"], *followed["after"]]
        files = _listed_photos(sheet_path.parent, listed)
        if not files:
            raise SheetError(
                str(sheet_path),
                f"none of its photos is in {sheet_path.parent}",
                "give their folder with --photos",
            )
    names = [file.name for file in files]
    match = Sheet(with_endings(sheet.table, names), sheet.given).match(names)
    _note("in the sheet but not among the photos", match.missing)
    rows = with_table(match.rows, followed, names)
    if folder is not None:
        unlisted = [name for name in match.unlisted if name not in rows]
        _note("not in the sheet, so not counted", unlisted)
    return [file for file in files if file.name in rows], rows


def _listed_photos(folder: Path, photos: Sequence[str] | pd.Series) -> list[PhotoFile]:
    """Return the photos in those folders, seen from the sheet, that the sheet names."""
    places = dict.fromkeys(PurePosixPath(photo).parent for photo in photos)
    found = []
    for place in places:
        here = folder / place
        for path in sorted(here.iterdir()) if here.is_dir() else ():
            if path.suffix.casefold() in PHOTO_SUFFIXES and not path.name.startswith("."):
                found.append(PhotoFile(path, (place / path.name).as_posix()))
    return found


def _check_inputs_stay(options: ReportOptions, trial: Trial) -> None:
    """Refuse a folder for results in which a table that is read would be written over."""
    named = (trial.sheet, trial.key, trial.eggs, trial.feeding, trial.followed)
    read = [_beside(options.file, name) for name in named]
    read += [options.counts, options.sheet, options.key]
    results = {(options.out / name).resolve() for name in TABLES}
    for path in read:
        if path is not None and path.resolve() in results:
            raise click.BadParameter(
                f"{path} is read, and would be written over; name another folder, such as "
                f"{options.out / 'results'}",
                param_hint="--out",
            )


def _own_arms(table: pd.DataFrame, trial: Trial, given: str) -> pd.DataFrame:
    known = [arm.name for arm in trial.arms]
    return table.assign(arm=[own_arm(str(arm), known, given) for arm in table["arm"]])


def _note(what: str, names: Sequence[str]) -> None:
    if names:
        more = f" and {len(names) - _MOST_NAMED} more" if names[_MOST_NAMED:] else ""
        shown = ", ".join(names[:_MOST_NAMED])
        click.echo(one_line(f"Note: {what}: {shown}{more}"), err=True)


def _note_missing(arms_there: Sequence[str], trial: Trial) -> None:
    slides = [SlidePhotos(arm, "", "", ()) for arm in arms_there]
    _note("arms without any slide", missing_arms(slides, [arm.name for arm in trial.arms]))


def _as_given(options: ReportOptions) -> dict[str, Any]:
    """Return the options for the record of the run."""
    return {field.name: getattr(options, field.name) for field in dataclasses.fields(options)}
