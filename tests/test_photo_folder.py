"""Which files are photos, their order and their names."""

from __future__ import annotations

import json
import sys

import pytest

from sporecount.errors import PhotoUnreadableError
from sporecount.photo.folder import find_photos


def put(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def names(paths):
    return [p.name for p in find_photos(paths)]


def test_order_names_and_what_is_passed_over(tmp_path):
    put(tmp_path, "b.JPG", "a.jpg", "A.jpg", "sub/c.tif", "sub/deep/d.heic", "B2.png")
    put(tmp_path, "notes.txt", ".hidden.jpg", "._a.jpg", ".cache/e.jpg", "__MACOSX/a.jpg")
    assert names(tmp_path) == ["A.jpg", "a.jpg", "b.JPG", "B2.png", "sub/c.tif", "sub/deep/d.heic"]
    assert names(str(tmp_path)) == names([tmp_path])


def test_results_of_the_program_are_passed_over_below_and_refused_outright(tmp_path):
    put(tmp_path, "a.jpg", "out/marked/a.jpg", "foreign/b.jpg")
    (tmp_path / "out" / "run.json").write_text(json.dumps({"program": "sporecount"}))
    (tmp_path / "foreign" / "run.json").write_text(json.dumps({"program": "marathon"}))
    assert names(tmp_path) == ["a.jpg", "foreign/b.jpg"]
    with pytest.raises(PhotoUnreadableError, match="holds results of this program"):
        find_photos(tmp_path / "out")


def test_a_file_named_outright_is_kept(tmp_path):
    put(tmp_path, "notes.txt", ".hidden.jpg", "a.jpg")
    assert names([tmp_path / "notes.txt", tmp_path / ".hidden.jpg"]) == [".hidden.jpg", "notes.txt"]


def test_a_file_reached_twice_is_listed_once(tmp_path, monkeypatch):
    put(tmp_path, "day/a.jpg", "day/b.jpg")
    monkeypatch.chdir(tmp_path)
    paths = ["day", tmp_path / "day" / "a.jpg", "day/../day/b.jpg", tmp_path]
    assert names(paths) == ["a.jpg", "b.jpg"]


def test_names_that_clash_get_their_folders_before_them(tmp_path):
    put(tmp_path, "tray1/a.jpg", "tray1/b.jpg", "tray2/a.jpg", "tray3/c.jpg")
    paths = [tmp_path / "tray1", tmp_path / "tray2", tmp_path / "tray3"]
    assert names(paths) == ["c.jpg", "tray1/a.jpg", "tray1/b.jpg", "tray2/a.jpg"]
    single = [tmp_path / "tray1" / "a.jpg", tmp_path / "tray2" / "a.jpg"]
    assert names(single) == ["tray1/a.jpg", "tray2/a.jpg"]


def test_names_stay_apart_where_folders_are_called_the_same(tmp_path):
    put(tmp_path, "x/photos/a.jpg", "y/photos/a.jpg", "z/photos/x/photos/a.jpg")
    found = names([tmp_path / p for p in ("x/photos", "y/photos", "z/photos")])
    assert len(set(found)) == 3
    assert "y/photos/a.jpg" in found


def test_nothing_to_count_is_an_error(tmp_path):
    with pytest.raises(PhotoUnreadableError, match="no such file or folder"):
        find_photos([tmp_path / "none"])
    put(tmp_path, "notes.txt")
    with pytest.raises(PhotoUnreadableError, match=r"no photo in it.*\.jpg"):
        find_photos(tmp_path)
    with pytest.raises(PhotoUnreadableError, match="no path: there is no photo"):
        find_photos([])


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights on Windows")
def test_a_link_to_a_folder_above_ends(tmp_path):
    put(tmp_path, "a.jpg")
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "again.jpg").symlink_to(tmp_path / "a.jpg")
    assert len(find_photos(tmp_path)) == 1
