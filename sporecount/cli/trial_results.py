"""What a judged trial leaves: tables and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount import __version__
from sporecount.cli.count_run import PHOTOS_FILE, with_sheet
from sporecount.cli.edge import one_line
from sporecount.cli.trial_followed import FieldResult
from sporecount.cli.trial_slides import SlideResult
from sporecount.counts.summary import COUNTED
from sporecount.errors import PhotoUnreadableError
from sporecount.photo.read import read_photo
from sporecount.report.files import utf8, write_whole
from sporecount.report.html.trial import TrialData, write_trial_report
from sporecount.report.samples_table import SAMPLE_DETECTION_COLUMNS
from sporecount.report.tables import csv_text, outline_text, photos_csv
from sporecount.settings import Settings
from sporecount.trial.followed.match import SPORE_COLUMNS
from sporecount.trial.followed.table import FIELD_COLUMNS, FOLLOWED, by_slide, checked_fields
from sporecount.trial.misread import MisreadRates
from sporecount.trial.photos import SLIDE_COLUMNS, SLIDE_COUNTED
from sporecount.trial.plan import Trial
from sporecount.trial.table_file import read_eggs, read_feeding, read_followed
from sporecount.trial.tables import ARM_COLUMNS, SLIDE_REQUIRED

if TYPE_CHECKING:
    from sporecount.trial.result import TrialResult

ARMS_FILE, SLIDES_FILE = "arms.csv", "slides.csv"
FIELDS_FILE, FATES_FILE = "followed.csv", "followed_spores.csv"
FOUND_FILE, WORDS_FILE = "trial_detections.csv", "verdicts.txt"
PAGE_FILE = "trial.html"

#: Tables that are never written over in a folder of something else.
TABLES = (
    ARMS_FILE, SLIDES_FILE, FIELDS_FILE, FATES_FILE, FOUND_FILE, PHOTOS_FILE, WORDS_FILE, PAGE_FILE,
)  # fmt: skip

#: Most photos that the page names one by one.
_TOLD = 5

_FOUND_COLUMNS = ("arm", "slide", *SAMPLE_DETECTION_COLUMNS[1:])


@dataclass(frozen=True, eq=False)
class Counted:
    """What is known of the slides.

    Attributes
    ----------
    slides : DataFrame
        As `sporecount.trial.judge.judge` takes it.
    results : sequence of SlideResult
        Each slide as it was counted on photos; empty where people counted.
    paths : mapping of str to Path
        Photo name to its file.
    sheet_rows : mapping of str to mapping
        Photo name to its row of the sheet.
    settings : Settings
        Those it was counted with.
    fields : sequence of FieldResult
        Each followed field.
    misread : MisreadRates or None
        What is misread on the user's own microscope; None for that of the package.
    """

    slides: pd.DataFrame
    results: Sequence[SlideResult] = ()
    paths: Mapping[str, Path] = field(default_factory=dict)
    sheet_rows: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    settings: Settings = field(default_factory=Settings)
    fields: Sequence[FieldResult] = ()
    misread: MisreadRates | None = None

    def followed(self, others: Others) -> pd.DataFrame | None:
        """Return a row for each followed field; None where none was followed."""
        if self.fields:
            return pd.DataFrame([one.row for one in self.fields], columns=list(FIELD_COLUMNS))
        by_hand = others.followed
        return by_hand if by_hand is not None and "gone" in by_hand else None


@dataclass(frozen=True, eq=False)
class Others:
    """The other tables of a trial.

    Attributes
    ----------
    eggs, feeding, followed : DataFrame or None
        None where the trial file names none.
    """

    eggs: pd.DataFrame | None = None
    feeding: pd.DataFrame | None = None
    followed: pd.DataFrame | None = None

    @classmethod
    def read(cls, trial: Trial, folder: Path) -> Others:
        """Read the tables that a trial file names, seen from its folder."""
        return cls(
            eggs=read_eggs(folder / trial.eggs) if trial.eggs else None,
            feeding=read_feeding(folder / trial.feeding) if trial.feeding else None,
            followed=read_followed(folder / trial.followed) if trial.followed else None,
        )


def write_results(out: Path, trial: Trial, counted: Counted, others: Others) -> None:
    """Judge a trial and write all tables and the verdicts, each file whole."""
    result = judged(trial, counted, others)
    write_counted(out, counted, result.slides_table)
    write_whole(out / WORDS_FILE, utf8(words(result) + "\n"))
    write_trial_report(out / PAGE_FILE, _page(trial, counted, others, result))
    # Last, so that it is never newer than what it rests on.
    write_whole(out / ARMS_FILE, utf8(arms_csv(result.arms_table)))
    click.echo(words(result))
    click.echo(one_line(f"Report to read and print: {out / PAGE_FILE}"))
    click.echo(one_line(f"Results: {out}"))


def _page(trial: Trial, counted: Counted, others: Others, result: TrialResult) -> TrialData:
    """Gather what the page shows."""
    found = [
        one.found.assign(arm=one.row["arm"], slide=one.row["slide"]) for one in counted.results
    ]
    return TrialData(
        trial=trial,
        result=result,
        found=pd.concat(found, ignore_index=True) if found else pd.DataFrame(),
        um_per_px={
            str(photo["photo"]): float(photo["um_per_px"])
            for photo in (
                *(photo for one in counted.results for photo in one.photos),
                *(one.photo for one in counted.fields),
            )
            if photo["status"] == COUNTED
        },
        pixels_of=lambda name: _pixels(counted.paths.get(name)),
        followed=_followed(trial, counted, others),
        followed_spores=followed_spores(counted.fields),
        notes=[*_refused(counted.results), *_left_out(counted.fields)],
        made_at=datetime.now().astimezone().isoformat(" ", "minutes"),
        version=__version__,
    )


def _refused(results: Sequence[SlideResult]) -> list[str]:
    """Say which slides and photos could not be counted: neither is a zero."""
    lines = [
        f"Slide {one.row['slide']} of {one.row['arm']} could not be counted, which is no zero"
        for one in results
        if one.row["status"] != SLIDE_COUNTED
    ]
    photos = [photo for one in results for photo in one.photos]
    refused = [photo for photo in photos if photo["status"] != COUNTED]
    if refused:
        told = [f"{one['photo']} ({one.get('reason') or one['status']})" for one in refused]
        more = ", and others (see photos.csv)" if len(told) > _TOLD else ""
        lines.append(
            f"{len(refused)} of {len(photos)} photos could not be counted: "
            f"{'; '.join(told[:_TOLD])}{more}"
        )
    return lines


def _followed(trial: Trial, counted: Counted, others: Others) -> pd.DataFrame:
    """Return the counts of followed spores by slide, arms spelt as in the trial."""
    table = counted.followed(others)
    if table is None:
        return pd.DataFrame()
    return by_slide(checked_fields(table, {arm.name.casefold(): arm.name for arm in trial.arms}))


def _left_out(fields: Sequence[FieldResult]) -> list[str]:
    """Say which fields could not be followed: they are the likeliest to have changed most."""
    left = [one.row for one in fields if one.row["status"] != FOLLOWED]
    if not left:
        return []
    told = [f"{row['before']} ({row['notes']})" for row in left]
    more = ", and others (see followed.csv)" if len(told) > _TOLD else ""
    return [
        f"{len(left)} of {len(fields)} fields photographed before and after are left out: "
        f"{'; '.join(told[:_TOLD])}{more}"
    ]


def _pixels(path: Path | None) -> NDArray[np.uint8] | None:
    """Read a photo again; None where it has gone meanwhile."""
    try:
        return None if path is None else read_photo(path).pixels
    except PhotoUnreadableError:
        return None


def write_counted(out: Path, counted: Counted, slides: pd.DataFrame) -> None:
    """Write what was counted: the slides with what is known of them, photos and finds."""
    if counted.results:
        photos = [
            {
                **with_sheet(photo, counted.sheet_rows),
                **{name: one.row[name] for name in ("arm", "slide", "code")},
            }
            for one in counted.results
            for photo in one.photos
        ]
        photos += [
            {
                **with_sheet(one.photo, counted.sheet_rows),
                **{name: one.row[name] for name in ("arm", "slide", "code")},
            }
            for one in counted.fields
        ]
        write_whole(out / PHOTOS_FILE, utf8(photos_csv(photos)))
        write_whole(out / FOUND_FILE, utf8(found_csv(counted.results)))
    write_whole(out / SLIDES_FILE, utf8(slides_csv(slides, counted)))
    if counted.fields:
        write_whole(out / FIELDS_FILE, utf8(_csv(pd.DataFrame([o.row for o in counted.fields]))))
        write_whole(out / FATES_FILE, utf8(_csv(followed_spores(counted.fields))))


def forget_judged(out: Path) -> None:
    """Take away what an earlier run judged, where nothing can be judged any more."""
    for name in (ARMS_FILE, WORDS_FILE, PAGE_FILE):
        (out / name).unlink(missing_ok=True)


def judged(trial: Trial, counted: Counted, others: Others) -> TrialResult:
    """Judge the slides, together with the other tables."""
    from sporecount.trial.judge import judge

    return judge(
        counted.slides,
        trial,
        eggs=others.eggs,
        feeding=others.feeding,
        followed=counted.followed(others),
        rates=counted.misread,
    )


def arms_csv(table: pd.DataFrame) -> str:
    """Return the text of ``arms.csv``: the promised columns first, then whatever else."""
    columns = (*ARM_COLUMNS, *(name for name in table if name not in ARM_COLUMNS))
    return _csv(table.reindex(columns=list(columns)))


def slides_csv(judged_slides: pd.DataFrame, counted: Counted) -> str:
    """Return the text of ``slides.csv``: a row for each slide, those refused too."""
    known = [name for name in SLIDE_COLUMNS if name in counted.slides or counted.results]
    others = [str(name) for name in judged_slides if name not in known]
    refused = [one.row for one in counted.results if one.row["status"] != SLIDE_COUNTED]
    table = judged_slides.copy()
    if counted.results:
        table["status"] = SLIDE_COUNTED
    rows: list[Mapping[Any, Any]] = [*table.to_dict("records"), *refused]
    columns = [*SLIDE_REQUIRED, *(n for n in (*known, *others) if n not in SLIDE_REQUIRED)]
    return csv_text(columns, ([row.get(name) for name in columns] for row in rows))


def found_csv(results: Sequence[SlideResult]) -> str:
    """Return the text of ``trial_detections.csv``: each object of each slide once."""
    return csv_text(_FOUND_COLUMNS, (row for result in results for row in _found_rows(result)))


def followed_spores(fields: Sequence[FieldResult]) -> pd.DataFrame:
    """Return each spore of each followed field, and what became of it."""
    known = ("arm", "slide", "field", "before", "after")
    tables = [
        one.spores.assign(**{name: one.row[name] for name in known})
        for one in fields
        if len(one.spores)
    ]
    columns = [*known, *SPORE_COLUMNS]
    return pd.concat(tables, ignore_index=True)[columns] if tables else pd.DataFrame()


def _found_rows(result: SlideResult) -> list[list[Any]]:
    rows = []
    for record in result.found.to_dict("records"):
        known = {
            **record,
            "arm": result.row["arm"],
            "slide": result.row["slide"],
            "part": int(record["group"]) + 1,
            "outline": outline_text(record["outline_px"]),
        }
        rows.append([known[name] for name in _FOUND_COLUMNS])
    return rows


def _csv(table: pd.DataFrame) -> str:
    return csv_text([str(name) for name in table], table.itertuples(index=False))


def words(result: TrialResult) -> str:
    """Return the verdict of each arm in plain words, what was noted, and the cautions."""
    parts = []
    for arm in result.arms:
        said = [*arm.verdict.sentences, *(f"Note: {note}" for note in arm.notes)]
        parts.append("\n".join(map(one_line, (f"{arm.arm}: {arm.verdict.code}", *said))))
    if result.notes:
        parts.append("\n".join(one_line(f"- {note}") for note in result.notes))
    cautions = dict.fromkeys(caution for arm in result.arms for caution in arm.cautions)
    if cautions:
        parts.append("\n".join(["Cautions:", *(one_line(f"- {one}") for one in cautions)]))
    return "\n\n".join(parts)
