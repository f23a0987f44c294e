"""From photos and their sheet to slides: who belongs where, and what one slide says."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.counting import count_photo
from sporecount.errors import SheetError
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import photo_from_array
from sporecount.photo.sheet import Sheet, parse_sheet
from sporecount.render.tape import TapePlan, render_tape
from sporecount.scale.calibration import Calibration
from sporecount.settings import TapeSettings
from sporecount.tape.tape import assemble
from sporecount.tape.view import make_view
from sporecount.trial.blind import KeyRow
from sporecount.trial.photos import (
    SLIDE_COLUMNS,
    SlidePhotos,
    group_photos,
    missing_arms,
    slide_row,
    slides_table,
    with_endings,
)
from sporecount.trial.table_file import (
    read_eggs,
    read_feeding,
    read_followed,
    read_slides,
)
from sporecount.trial.tables import SLIDE_REQUIRED

ARMS = ["water", "bleach"]
KEY = (KeyRow("KHT", "water", "water 1"), KeyRow("XXJ", "bleach", "bleach 1"))


def grouped(sheet: str, key: tuple[KeyRow, ...] = ()) -> tuple[list[SlidePhotos], list[str]]:
    table = parse_sheet(sheet)
    files = [PhotoFile(Path(name), name) for name in table["photo"]]
    rows = Sheet(table).match(table["photo"]).rows
    return group_photos(files, rows, ARMS, key)


def names(slides: list[SlidePhotos]) -> dict[tuple[str, str], list[str]]:
    return {(one.arm, one.slide): [file.name for file in one.files] for one in slides}


def test_several_photos_of_a_slide_are_one_slide_in_the_order_of_the_arms() -> None:
    slides, left_out = grouped(
        "photo,arm,slide\na.jpg,Bleach,s10\nb.jpg,BLEACH,S10\nc.jpg,bleach,s2\nd.jpg,water,w\n"
        "e.jpg,water,\n"
    )
    assert names(slides) == {
        ("water", "w"): ["d.jpg"],
        ("bleach", "s2"): ["c.jpg"],
        ("bleach", "s10"): ["a.jpg", "b.jpg"],
    }
    assert left_out == ["e.jpg"]


def test_codes_are_decoded() -> None:
    slides, _ = grouped("photo,slide\na.jpg,kht\nb.jpg,XXJ\nc.jpg,K H T\n", KEY)
    assert names(slides) == {
        ("water", "water 1"): ["a.jpg", "c.jpg"],
        ("bleach", "bleach 1"): ["b.jpg"],
    }
    assert [one.code for one in slides] == ["KHT", "XXJ"]
    assert missing_arms(slides[:1], ARMS) == ["bleach"]


def test_slides_may_be_numbered_within_each_arm() -> None:
    slides, _ = grouped("photo,arm,slide\na,water,1\nb,water,2\nc,bleach,1\nd,bleach,2\ne,bleach,3")
    assert len(slides) == 5


@pytest.mark.parametrize(
    ("sheet", "key", "said"),
    [
        (
            "photo,arm,slide\na,water,s1\nb,water,s2\nc,bleach,s3\nd,bleach,s2\n",
            (),
            r"rows 3 and 5, slide 's2': it is in two arms, 'water' and 'bleach'",
        ),
        ("photo,arm,slide\na,waterr,s1\n", (), "row 2, arm 'waterr': .* no such arm. Write \"wat"),
        ("photo,slide\na,s1\n", (), "row 2, slide 's1': there is no arm. Write the arm, or give"),
        ("photo,arm\na,water\n", (), "it names no slide"),
        ("photo,slide\na,KHP\n", KEY, "row 2, slide 'KHP': the key has no such code"),
        ("photo,arm,slide\na,bleach,KHT\n", KEY, "the sheet says arm 'bleach', the key 'water'"),
        ("photo,slide\na,Q\n", (KeyRow("Q", "spray", "1"),), "key, code Q, arm 'spray'"),
    ],
)
def test_what_cannot_be_meant_is_refused(sheet: str, key: tuple[KeyRow, ...], said: str) -> None:
    with pytest.raises(SheetError, match=said):
        grouped(sheet, key)


def test_an_ending_that_differs_is_forgiven_only_where_it_is_clear() -> None:
    table = pd.DataFrame({"photo": ["a.jpg", "b.jpg", "d.1"]})
    there = ["day/a.PNG", "b.png", "b.tif", "d.1.tif"]
    assert list(with_endings(table, there)["photo"]) == ["day/a.PNG", "b.jpg", "d.1.tif"]


@pytest.fixture(scope="module")
def tape() -> Any:
    """Draw two photos that overlap by a third, and count them."""
    plan = TapePlan((2, 1), (460, 380), 0.9, 0.35, spores_per_mm2=150.0, turn_deg=1.0, uneven=0.5)
    drawn = render_tape(plan, np.random.default_rng(7))
    views, rows = [], []
    for number, one in enumerate(drawn.photos):
        photo = photo_from_array(one.pixels, f"{number}.png")
        counted = count_photo(photo, Calibration(0.9, "given"))
        views.append(make_view(photo, counted))
        rows.append(counted.summary)
    return assemble(views), rows


def test_what_two_photos_show_counts_once(tape: Any) -> None:
    whole, photos = tape
    slide = SlidePhotos("water", "1", "", ())
    row = slide_row(slide, photos, whole)
    assert tuple(row) == SLIDE_COLUMNS
    assert row["status"] == "counted"
    assert row["intact"] + row["damaged"] == whole.spores
    assert row["intact"] + row["damaged"] < sum(photo["spores"] for photo in photos)
    assert row["area_mm2"] < sum(photo["examined_mm2"] for photo in photos)
    assert 40 < row["spore_area_um2"] < 150
    finds = whole.detections
    pieces = finds.loc[finds["state"] == "fragment", "area_um2"]
    assert row["fragment"] == len(pieces)
    assert row["fragment_area_um2"] == pytest.approx(pieces.sum())


def test_a_slide_that_nobody_could_count_is_no_zero(tape: Any) -> None:
    whole, photos = tape
    dark = {"photo": "d.png", "status": "refused", "reason": "it is too dark"}
    refused = slide_row(SlidePhotos("bleach", "1", "", ()), [dark], None)
    assert refused["status"] == "refused"
    assert refused["intact"] is None
    assert refused["notes"] == "d.png refused: it is too dark"
    good = slide_row(SlidePhotos("water", "1", "", ()), photos, whole)
    table = slides_table([good, refused])
    assert list(table["slide"]) == ["1"]
    assert tuple(table)[:5] == SLIDE_REQUIRED
    assert table["intact"].dtype == np.int64
    assert len(slides_table([refused])) == 0


def write(folder: Path, text: str) -> Path:
    (folder / "t.csv").write_text(text, "utf-8")
    return folder / "t.csv"


def test_counts_made_by_hand_are_read(tmp_path: Path) -> None:
    table = read_slides(
        write(
            tmp_path,
            "Arm;Slide;Intact;Damaged;Fragment;area mm2;reviewed;who\nwater;1;40;2;0;2,5;yes;R.\n"
            ";;;;;;;\nbleach;1;10;30;12;;no;\n",
        )
    )
    assert table["intact"].tolist() == [40, 10]
    assert table["area_mm2"][0] == 2.5
    assert math.isnan(table["area_mm2"][1])
    assert table["reviewed"].tolist() == [True, False]
    assert table["who"].tolist() == ["R.", ""]


def test_the_program_s_own_table_is_read_again(tmp_path: Path) -> None:
    table = read_slides(
        write(
            tmp_path,
            "arm,slide,intact,damaged,fragment,status,fragment_equivalents,broken,reviewed\n"
            "water,1,40,2,0,counted,0,2,yes\nwater,2,,,,refused,,,\n",
        )
    )
    assert table["slide"].tolist() == ["1"]
    assert not {"fragment_equivalents", "broken"} & set(table)
    with pytest.raises(SheetError, match="each of its slides was refused"):
        read_slides(write(tmp_path, "arm,slide,intact,damaged,fragment,status\nw,2,,,,refused\n"))


HEAD = "arm,slide,intact,damaged,fragment\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("arm,slide,intact\nw,1,3\n", 'there is no column "damaged"'),
        (HEAD, "it has headings and no row"),
        (HEAD + "w,1,,0,0\n", "row 2, intact '': it is a whole number"),
        (HEAD + "w,1,3.5,0,0\n", "row 2, intact '3.5': it is a whole number"),
        (HEAD + "w,1,-1,0,0\n", "row 2, intact '-1': it is a number, 0 or more"),
        (HEAD + "w,1,many,0,0\n", "row 2, intact 'many'"),
        (HEAD + "w,,3,0,0\n", "row 2, slide '': the slide is missing"),
        (HEAD + "w,1,3,0,0\nw,1,4,0,0\n", "slide '1' of arm 'w': it is there twice"),
        (HEAD + "w,1,3,0,0,9\n", "there are 6 cells under 5 headings"),
        (HEAD.replace("\n", ",arm\n") + "w,1,3,0,0,w\n", "the column 'arm' is there twice"),
    ],
)
def test_counts_that_cannot_be_are_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(SheetError, match=said):
        read_slides(write(tmp_path, text))


def test_eggs_and_feeding_are_read_and_checked(tmp_path: Path) -> None:
    eggs = read_eggs(write(tmp_path, "arm,batch,dipped,hatched\nwater,1,20,18\n"))
    assert eggs["hatched"].tolist() == [18]
    with pytest.raises(SheetError, match="row 2: hatched 21 is more than dipped 20"):
        read_eggs(write(tmp_path, "arm,batch,dipped,hatched\nwater,1,20,21\n"))
    fed = read_feeding(write(tmp_path, "arm,fed,adults,infected\nwater,20,18,11\nwater,5,5,1\n"))
    assert fed["infected"].tolist() == [11, 1]
    assert fed["batch"].nunique() == 2
    with pytest.raises(SheetError, match="infected 19 is more than adults 18"):
        read_feeding(write(tmp_path, "arm,fed,adults,infected\nwater,20,18,19\n"))
    pairs = read_followed(write(tmp_path, "arm,slide,before,after\nwater,1,a.jpg,b.jpg\n"))
    assert pairs["after"].tolist() == ["b.jpg"]


def test_a_table_that_is_not_there_is_one_error(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="it cannot be opened"):
        read_slides(tmp_path / "none.csv")


def test_photos_that_may_overlap_count_only_where_they_are_said_to_lie_apart() -> None:
    views = []
    for number in range(2):
        photo = photo_from_array(np.full((400, 400), 200 + number, np.uint8), f"{number}.png")
        views.append(make_view(photo, count_photo(photo, Calibration(0.9, "given"))))
    slide = SlidePhotos("water", "1", "", ())
    doubt = slide_row(slide, [], assemble(views, TapeSettings()))
    apart = slide_row(slide, [], assemble(views, TapeSettings(taken_apart=True)))
    assert (doubt["photos_used"], apart["photos_used"]) == (1, 2)
    assert apart["area_mm2"] == pytest.approx(2 * doubt["area_mm2"])
    assert "left out" in doubt["notes"]
    assert (apart["intact"], apart["spore_area_um2"]) == (0, None)
