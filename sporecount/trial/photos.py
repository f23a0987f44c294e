"""From photos and their sheet to the table of slides: several photos of one slide are one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import pandas as pd

from sporecount.counts.summary import COUNTED
from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT
from sporecount.errors import SheetError
from sporecount.photo.folder import PHOTO_SUFFIXES, PhotoFile
from sporecount.tape.tape import Tape
from sporecount.trial.blind import KeyRow, decode
from sporecount.trial.table_file import own_arm
from sporecount.trial.tables import SLIDE_REQUIRED

#: Columns of the table of slides that photos give, in order.
SLIDE_COLUMNS = (
    *SLIDE_REQUIRED,
    "code",
    "photos",
    "photos_used",
    "area_mm2",
    "fragment_area_um2",
    "spore_area_um2",
    "status",
    "notes",
)

#: What can become of a slide.
SLIDE_COUNTED, SLIDE_REFUSED = "counted", "refused"


@dataclass(frozen=True)
class SlidePhotos:
    """The photos of one slide.

    Attributes
    ----------
    arm, slide : str
        Its arm and its name.
    code : str
        What is written on it; empty where the sheet is not blind.
    files : tuple of PhotoFile
        Its photos.
    """

    arm: str
    slide: str
    code: str
    files: tuple[PhotoFile, ...]


def group_photos(
    files: Iterable[PhotoFile],
    rows: Mapping[str, Mapping[str, Any]],
    arms: Sequence[str],
    key: Sequence[KeyRow] = (),
) -> tuple[list[SlidePhotos], list[str]]:
    """Tell which photos are of one slide, and of which arm it is.

    Parameters
    ----------
    files : iterable of PhotoFile
        The photos.
    rows : mapping of str to mapping
        Photo name to its row of the sheet: ``slide``, and ``arm`` where it is not blind.
    arms : sequence of str
        Names of the trial's arms.
    key : sequence of KeyRow
        What the codes of a blind sheet stand for; empty where it is not blind.

    Returns
    -------
    slides : list of SlidePhotos
        By arm as in ``arms``, and by name.
    left_out : list of str
        Photos that the sheet does not list, or for which it names no slide.

    Raises
    ------
    SheetError
        If an arm or a code is unknown, a slide is in two arms, a photo has a slide and no
        arm, or there is no slide at all.

    Notes
    -----
    Slides may be numbered from 1 in each arm: where half of all names or more are in several
    arms, the same name in another arm is another slide.
    """
    found: dict[tuple[str, str], SlidePhotos] = {}
    rows_of: dict[tuple[str, str], Any] = {}
    left_out = []
    for file in files:
        row = rows.get(file.name)
        named = str(row.get("slide") or "") if row else ""
        if row is None or not named:
            left_out.append(file.name)
            continue
        arm, slide, code = meant_by(row, arms, key)
        one = (arm, slide.casefold())
        earlier = found.get(one, SlidePhotos(arm, slide, code, ()))
        found[one] = SlidePhotos(arm, earlier.slide, code, (*earlier.files, file))
        rows_of.setdefault(one, row["row"])
    if not found:
        raise SheetError(
            "sheet",
            "it names no slide for any of the photos",
            'write file names into the column "photo" and slides into "slide"',
        )
    _check_one_arm(found, rows_of)
    order = {name: place for place, name in enumerate(arms)}
    slides = sorted(found.values(), key=lambda one: (order[one.arm], natural(one.slide)))
    return slides, left_out


def with_endings(table: pd.DataFrame, names: Iterable[str]) -> pd.DataFrame:
    """Let the sheet's ``a.jpg`` mean ``a.png`` where there is no ``a.jpg`` but one such photo.

    Parameters
    ----------
    table : DataFrame
        A sheet, from `sporecount.photo.sheet.read_sheet`.
    names : iterable of str
        Names of the photos that are there.

    Returns
    -------
    DataFrame
        A copy, with the photos' own endings.

    Examples
    --------
    >>> sheet = pd.DataFrame({"photo": ["HKT-1.jpg", "HKT-2", "gone.jpg"]})
    >>> list(with_endings(sheet, ["HKT-1.PNG", "HKT-2.tif"])["photo"])
    ['HKT-1.PNG', 'HKT-2.tif', 'gone.jpg']
    """
    names = list(names)
    there = {PurePosixPath(name).name.casefold() for name in names}
    by_stem: dict[str, list[str]] = {}
    for name in names:
        by_stem.setdefault(PurePosixPath(name).stem.casefold(), []).append(name)

    def own(photo: str) -> str:
        path = PurePosixPath(photo)
        if path.name.casefold() in there:
            return photo
        known = path.suffix.casefold() in PHOTO_SUFFIXES
        like = by_stem.get((path.stem if known else path.name).casefold(), [])
        return like[0] if len(like) == 1 else photo

    return table.assign(photo=[own(str(photo)) for photo in table["photo"]])


def slide_row(
    slide: SlidePhotos, photos: Sequence[Mapping[str, Any]], tape: Tape | None
) -> dict[str, Any]:
    """Return the row of one slide, columns :data:`SLIDE_COLUMNS`.

    Parameters
    ----------
    slide : SlidePhotos
        The slide.
    photos : sequence of mappings
        Row of ``photos.csv`` of each of its photos.
    tape : Tape or None
        Its photos put together, so that what several show counts once; None where none
        could be read.

    Returns
    -------
    dict
        Where no photo could be counted, the counts are None: that is no zero.
    """
    row: dict[str, Any] = dict.fromkeys(SLIDE_COLUMNS)
    unused = [photo for photo in photos if photo["status"] != COUNTED]
    notes = [f"{photo['photo']} {photo['status']}: {photo['reason']}" for photo in unused]
    row.update(
        arm=slide.arm, slide=slide.slide, code=slide.code, photos=len(photos), photos_used=0,
        status=SLIDE_REFUSED,
    )  # fmt: skip
    if tape is not None and tape.examined_mm2 > 0:
        finds = tape.detections[tape.detections["counted"].astype(bool)]
        states = finds["state"]
        intact = finds.loc[states == INTACT, "area_um2"]
        row.update(
            status=SLIDE_COUNTED,
            intact=int((states == INTACT).sum()),
            damaged=int((states == DAMAGED).sum()),
            fragment=int((states == FRAGMENT).sum()),
            photos_used=int((tape.fields["counted"] & (tape.fields["examined_mm2"] > 0)).sum()),
            area_mm2=tape.examined_mm2,
            fragment_area_um2=float(finds.loc[states == FRAGMENT, "area_um2"].sum()),
            spore_area_um2=float(intact.mean()) if len(intact) else None,
        )
        notes += tape.notes
    row["notes"] = "; ".join(notes)
    return row


def slides_table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the table of slides that were counted, as it is judged.

    Slides that nobody could count are left out; they have their row in ``slides.csv``.
    """
    counted = [row for row in rows if row["status"] == SLIDE_COUNTED]
    table = pd.DataFrame(counted, columns=list(SLIDE_COLUMNS))
    for name in ("intact", "damaged", "fragment", "photos", "photos_used"):
        table[name] = table[name].astype("int64")
    for name in ("area_mm2", "fragment_area_um2", "spore_area_um2"):
        table[name] = table[name].astype("float64")
    return table.drop(columns=["status"])


def missing_arms(slides: Iterable[SlidePhotos], arms: Sequence[str]) -> list[str]:
    """Return the arms of which there is no slide."""
    there = {slide.arm for slide in slides}
    return [arm for arm in arms if arm not in there]


def meant_by(
    sheet_row: Mapping[str, Any], arms: Sequence[str], key: Sequence[KeyRow] = ()
) -> tuple[str, str, str]:
    """Return arm, slide and code of a row of the sheet that names a slide.

    Raises
    ------
    SheetError
        If the arm or the code is unknown, or there is no arm.

    Examples
    --------
    >>> meant_by({"row": 2, "slide": " 1", "arm": "WATER"}, ["water"])
    ('water', '1', '')
    """
    named, arm = str(sheet_row["slide"]), str(sheet_row.get("arm") or "")
    where = f"sheet, row {sheet_row['row']}"
    if key:
        row = decode(named, key, where)
        decoded = own_arm(row.arm, arms, f"key, code {row.code}")
        if arm and own_arm(arm, arms, where) != decoded:
            raise SheetError(
                f"{where}, slide {named!r}",
                f"the sheet says arm {arm!r}, the key {decoded!r}",
                "correct the one that is wrong",
            )
        return decoded, row.slide, row.code
    if not arm:
        raise SheetError(
            f"{where}, slide {named!r}",
            "there is no arm",
            "write the arm, or give the key of the codes with --key",
        )
    return own_arm(arm, arms, where), " ".join(named.split()), ""


def _check_one_arm(
    found: Mapping[tuple[str, str], SlidePhotos], rows_of: Mapping[tuple[str, str], Any]
) -> None:
    """Refuse a slide that is in two arms, unless slides are numbered within each arm."""
    arms_of: dict[str, list[str]] = {}
    for arm, name in found:
        arms_of.setdefault(name, []).append(arm)
    twice = [name for name, own in arms_of.items() if len(own) > 1]
    if not twice or 2 * len(twice) >= len(arms_of):
        return
    first, second = ((arm, twice[0]) for arm in arms_of[twice[0]][:2])
    raise SheetError(
        f"sheet, rows {rows_of[first]} and {rows_of[second]}, slide {found[first].slide!r}",
        f"it is in two arms, {first[0]!r} and {second[0]!r}",
        "correct the one that is wrong, or give the slides different names",
    )


def natural(text: str) -> list[tuple[int, str]]:
    """Return what sorts "slide 2" before "slide 10".

    Examples
    --------
    >>> sorted(["slide 10", "slide 2"], key=natural)
    ['slide 2', 'slide 10']
    """
    parts = re.findall(r"\d+|\D+", text.casefold())
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]
