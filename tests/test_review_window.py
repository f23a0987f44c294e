"""The window as a person uses it: open, click, press keys, keep, open again."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from virtual_screen import give_screen

if find_spec("napari") is None or find_spec("qtpy") is None:
    pytest.skip("napari is not installed", allow_module_level=True)

from sporecount.counts.rates import DetectorRates
from sporecount.microscope import Microscope
from sporecount.photo.digest import file_sha256
from sporecount.render.conditions import condition_plan
from sporecount.render.micrometer import render_micrometer
from sporecount.render.picture import render
from sporecount.review.opening import ScaleChoice, ToReview, from_paths
from sporecount.review.own import load_microscopes
from sporecount.review.record import find_reviews, read_review
from sporecount.review.sample import random_order
from sporecount.review.second_look import MISS_COLUMNS, no_second_look

#: Warnings of the window's own libraries are not ours to mend.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="session")
def screen() -> str:
    return give_screen()


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    folder = tmp_path_factory.mktemp("drawn") / "A1"
    folder.mkdir()
    for number, name in enumerate(("a.png", "b.png")):
        rng = np.random.default_rng([number, 21])
        made = render(condition_plan("10x", rng, (420, 320)), rng)
        Image.fromarray(made.pixels).save(folder / name)
    return folder, made.plan.um_per_px


@pytest.fixture
def photos(drawn: tuple[Path, float], tmp_path: Path) -> ToReview:
    shutil.copytree(drawn[0], tmp_path / "A1")
    return from_paths([tmp_path / "A1"], ScaleChoice(um_per_px=drawn[1]))


class Window:
    """A window with the review in it, and what a person does with mouse and keys."""

    def __init__(self, viewer: Any, dock: Any) -> None:
        self.viewer, self.dock = viewer, dock

    @property
    def canvas(self) -> Any:
        return self.viewer.window._qt_viewer.canvas.native

    @property
    def now(self) -> Any:
        return self.dock.session.now

    @property
    def count(self) -> int:
        return int(self.now.totals().spores)

    @property
    def said(self) -> str:
        return str(self.dock.review_panel.message.text())

    def wait(self, done: Callable[[], bool] | None = None, seconds: float = 60.0) -> None:
        """Let the window work until something is so."""
        from qtpy.QtTest import QTest

        end = time.monotonic() + seconds
        QTest.qWait(60)
        while self.dock.is_busy or (done is not None and not done()):
            if time.monotonic() > end:
                raise AssertionError("the window did not get there")
            QTest.qWait(20)
        QTest.qWait(60)

    def open(self, index: int = 0) -> None:
        self.dock.open_photo(index)
        self.wait(lambda: self.now is not None and self.dock.session.index == index)

    def key(self, key: str, *held: str) -> None:
        from qtpy.QtCore import Qt
        from qtpy.QtTest import QTest

        modifiers = Qt.KeyboardModifier.NoModifier
        for name in held:
            modifiers |= getattr(Qt.KeyboardModifier, f"{name}Modifier")
        QTest.keyClick(self.canvas, getattr(Qt.Key, f"Key_{key}"), modifiers)
        QTest.qWait(30)

    def point(self, x_px: float, y_px: float) -> Any:
        """Return where on the canvas a place of the photo is."""
        from qtpy.QtCore import QPoint

        screen = self.dock.picture._on_screen()
        x, y = screen.to_screen(np.array([x_px, y_px]))
        return QPoint(round(float(x)), round(float(y)))

    def click(self, name: str, *held: str) -> None:
        """Click on a detection."""
        from qtpy.QtCore import Qt
        from qtpy.QtTest import QTest

        row = self.now.row(name)
        modifiers = Qt.KeyboardModifier.NoModifier
        for one in held:
            modifiers |= getattr(Qt.KeyboardModifier, f"{one}Modifier")
        at = self.point(row["x_px"], row["y_px"])
        QTest.mouseMove(self.canvas, at)
        QTest.mouseClick(self.canvas, Qt.MouseButton.LeftButton, modifiers, at)
        QTest.qWait(30)

    def move(self, x_px: float, y_px: float) -> None:
        from qtpy.QtTest import QTest

        QTest.mouseMove(self.canvas, self.point(x_px - 3, y_px - 3))
        QTest.mouseMove(self.canvas, self.point(x_px, y_px))
        QTest.qWait(60)

    def press(self, name: str) -> None:
        """Press a button of the review panel."""
        from qtpy.QtWidgets import QPushButton

        self.dock.review_panel.findChild(QPushButton, name).click()

    def spores(self) -> list[str]:
        """Return ids of spores that stand apart from all others, so that a click is plain."""
        rows = [row for row in self.now.ledger.rows.values() if row["standing"]]
        xy = np.array([(row["x_px"], row["y_px"]) for row in rows])
        apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
        np.fill_diagonal(apart, np.inf)
        return [
            row["id"]
            for row, near in zip(rows, apart.min(axis=1), strict=True)
            if near > 30 and row["state"] != "fragment"
        ]


@pytest.fixture
def window(screen: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Window]:
    monkeypatch.setenv("NAPARI_CONFIG", str(tmp_path / "napari.yaml"))
    import napari

    from sporecount.review.widget.dock import ReviewDock

    viewer = napari.Viewer(show=screen != "offscreen")
    viewer.window.resize(1300, 900)
    dock = ReviewDock(viewer)
    viewer.window.add_dock_widget(dock, name="Review spores", area="right")
    yield Window(viewer, dock)
    dock.close_down()
    viewer.close()


def test_a_photo_is_opened_corrected_by_mouse_and_keys_kept_and_opened_again(
    window: Window, photos: ToReview
) -> None:
    window.dock.start(photos, "Ann")
    window.open(0)
    before, names = window.count, window.spores()
    first, second, third = names[:3]
    window.click(first)
    assert window.dock.picture.selected == (first,)
    assert "sure of it" in window.dock.review_panel.selected.text()
    window.key("X")
    assert window.count == before - 1
    assert window.dock.review_panel.count.text().startswith(f"{before - 1} spore")
    window.click(second)
    window.key("D")
    assert window.now.row(second)["state"] == "damaged"
    window.click(third)
    window.press("fragment")
    assert window.count == before - 2
    window.key("Z", "Control")
    assert window.count == before - 1
    window.key("Z", "Control", "Shift")
    assert window.count == before - 2
    kept = dict(window.now.ledger.rows)
    # What is on the disk now is all of it: nothing is saved on the way out.
    path = window.now.path
    saved = [action.kind for action in read_review(path).actions]
    assert saved == ["reject", "state", "state", "undo", "redo"]
    window.open(1)
    assert window.now.path != path
    window.key("B")
    window.wait(lambda: window.dock.session.index == 0)
    again = window.now.ledger.rows
    assert window.count == before - 2
    assert {name: row["state"] for name, row in again.items()} == {
        name: row["state"] for name, row in kept.items()
    }
    assert len(find_reviews(path.parent, window.now.photo.sha256)) == 1


def test_a_missed_spore_is_added_under_the_mouse_and_by_drawing(
    window: Window, photos: ToReview
) -> None:
    from qtpy.QtCore import Qt
    from qtpy.QtTest import QTest

    window.dock.start(photos, "Ann")
    window.open(0)
    before, names = window.count, window.spores()
    first, second = (window.now.row(name) for name in names[:2])
    for row in (first, second):
        window.click(row["id"])
        window.key("X")
    window.move(first["x_px"], first["y_px"])
    window.key("A")
    assert window.said == ""
    assert window.count == before - 1
    assert window.dock.picture.selected == ("p1",)
    assert abs(window.now.row("p1")["area_um2"] / first["area_um2"] - 1) < 0.5
    window.key("O")
    corners = [window.point(x, y) for x, y in second["outline_px"][::4]]
    QTest.mousePress(window.canvas, Qt.MouseButton.LeftButton, pos=corners[0])
    for corner in (*corners[1:], corners[0]):
        QTest.mouseMove(window.canvas, corner)
        QTest.qWait(10)
    QTest.mouseRelease(window.canvas, Qt.MouseButton.LeftButton, pos=corners[0])
    QTest.qWait(30)
    assert window.said == ""
    assert window.count == before
    assert abs(window.now.row("p2")["area_um2"] / second["area_um2"] - 1) < 0.35
    assert window.dock.picture.drawing is False
    assert window.viewer.scene.camera.mouse_pan


def test_parting_and_joining_by_keys(window: Window, photos: ToReview) -> None:
    window.dock.start(photos, "Ann")
    window.open(0)
    before, names = window.count, window.spores()
    window.click(names[0])
    window.key("P")
    assert window.count == before + 1
    assert window.dock.picture.selected == ("p1", "p2")
    window.key("J")
    assert window.count == before
    assert window.dock.picture.selected == ("p3",)
    window.click(names[1])
    window.click(names[2], "Shift")
    assert window.dock.picture.selected == (names[1], names[2])
    window.key("C")
    assert window.now.ledger.looked_at == 3
    window.dock.deeds.select(())
    window.key("J")
    assert "only several" in window.said or "choose" in window.said.casefold()


def test_looking_next_goes_there_and_goes_on(window: Window, photos: ToReview) -> None:
    window.dock.start(photos, "Ann")
    window.open(0)
    window.now.second = no_second_look(window.now.counted.detections)
    window.key("N")
    (first,) = window.dock.picture.selected
    row, scale = window.now.row(first), window.dock.picture.um_per_px
    y, x = window.viewer.scene.camera.center[-2:]
    assert (x / scale, y / scale) == pytest.approx((row["x_px"], row["y_px"]), abs=1)
    assert "%" in window.dock.review_panel.why.text()
    window.key("C")
    (second,) = window.dock.picture.selected
    assert second != first
    window.dock.review_panel.go_on.setChecked(False)
    window.key("I")
    assert window.dock.picture.selected == (second,)
    assert window.now.ledger.looked_at == 2


def test_a_place_where_one_was_missed_is_shown_and_added(window: Window, photos: ToReview) -> None:
    window.dock.start(photos, "Ann")
    window.open(0)
    window.now.act("confirm", list(window.now.ledger.rows))
    if not len(window.now.second.misses):
        gone = window.now.row(window.spores()[0])
        window.now.act("reject", [gone["id"]])
        place = {"id": "m1", "x_px": gone["x_px"], "y_px": gone["y_px"], "chance": 0.6}
        more = pd.DataFrame([{**dict.fromkeys(MISS_COLUMNS, 0.3), **place}])
        window.now.second = replace(window.now.second, misses=more.astype(MISS_COLUMNS))
    before = window.count
    window.key("N")
    assert window.dock.picture.selected == ()
    assert "ring" in window.dock.review_panel.selected.text()
    assert "missed" in window.dock.review_panel.why.text()
    window.key("C")
    assert window.said == ""
    assert window.count == before + 1
    window.wait(lambda: window.dock.review_panel.settlement.text().startswith("Class"))


def test_what_was_passed_over_comes_again_and_the_random_order_is_the_photo_s(
    window: Window, photos: ToReview
) -> None:
    window.dock.start(photos, "Ann")
    window.open(0)
    fixed = random_order(window.now.counted.detections, window.now.photo.sha256)
    window.dock.review_panel.fair.setChecked(True)
    seen = []
    for _ in range(len(fixed) + 1):
        window.dock.deeds.do("look_next")
        seen += window.dock.picture.selected
    assert seen == [*fixed, fixed[0]]


def test_the_picture_shows_photo_and_outlines(
    window: Window, photos: ToReview, screen: str
) -> None:
    if screen == "offscreen":
        pytest.skip("nothing is drawn off the screen: libxcb-icccm4, libxcb-keysyms1 are missing")
    window.dock.start(photos, "Ann")
    window.open(0)
    window.wait(seconds=5)
    with_outlines = window.viewer.screenshot(canvas_only=True, flash=False)
    window.key("H")
    window.wait(seconds=5)
    without = window.viewer.screenshot(canvas_only=True, flash=False)
    assert without.max() > 150
    changed = np.abs(with_outlines.astype(int) - without).max(axis=2) > 40
    assert 500 < changed.sum() < 0.3 * changed.size


def test_all_photos_are_counted_and_the_report_is_saved(
    window: Window, photos: ToReview, tmp_path: Path
) -> None:
    dock = window.dock
    dock.start(photos, "Ann")
    dock.count_panel.start()
    window.wait(lambda: dock.count_panel.bar.value() == 2)
    assert dock.count_panel.message.text() == "All are counted."
    assert "(" in dock.count_panel.table.item(1, 1).text()
    window.open(1)
    window.wait(lambda: "On the whole tape" in dock.review_panel.decision.text())
    window.key("E")
    assert "looked through" in dock.review_panel.progress.text()
    dock.report_panel.start()
    window.wait(lambda: "Sample A1" in dock.report_panel.outcome.text())
    assert "Ann (1 of 2 photos, 1 in full)" in dock.report_panel.outcome.text()
    page, *tables = dock.report_panel.save(tmp_path / "out")
    assert "A1" in page.read_text("utf-8")
    assert [path.name for path in tables] == [
        "A1-sample.csv",
        "A1-photos.csv",
        "A1-detections.csv",
    ]


def test_counting_can_be_stopped(window: Window, photos: ToReview) -> None:
    panel = window.dock.count_panel
    window.dock.start(photos, "Ann")
    panel.start()
    panel.cancel()
    window.wait()
    assert panel.bar.value() < 2
    assert panel.message.text().startswith("Stopped")
    assert panel.count.isEnabled()


def test_blind_names_are_hidden_until_all_is_looked_through(
    window: Window, photos: ToReview
) -> None:
    dock = window.dock
    blind = ToReview(photos.files, photos.samples, scale=photos.scale, blind=True)
    dock.start(blind, "Ann")
    window.open(0)
    shown = [dock.review_panel.photo.itemText(row) for row in range(2)]
    shown += [dock.count_panel.table.item(row, 0).text() for row in range(2)]
    shown += [layer.name for layer in window.viewer.layers]
    assert not any("png" in text for text in shown)
    assert dock.report_panel.sample.count() == 0
    window.key("E")
    window.key("M")
    window.wait(lambda: dock.session.index == 1)
    assert not dock.report_panel.ask.isEnabled()
    window.key("E")
    names = {dock.count_panel.table.item(row, 0).text() for row in range(2)}
    assert names == {"a.png", "b.png"}
    assert dock.report_panel.sample.itemText(0) == "A1"


def test_a_photo_is_counted_by_hand_with_nothing_of_the_tool_in_view(
    window: Window, photos: ToReview
) -> None:
    from qtpy.QtCore import Qt
    from qtpy.QtTest import QTest

    window.dock.start(photos, "Ann")
    window.dock.open_tally(0)
    window.wait(lambda: window.dock.session.tally is not None)
    tally, panel = window.dock.session.tally, window.dock.review_panel
    assert window.dock.picture.marks.names == []
    for x, y in ((60, 60), (150, 90), (240, 200)):
        QTest.mouseClick(window.canvas, Qt.MouseButton.LeftButton, pos=window.point(x, y))
        QTest.qWait(30)
    assert panel.count.text() == "3 spores marked by you"
    window.key("X")
    assert tally.spores == 2
    window.key("Z", "Control")
    assert tally.spores == 3
    window.key("N")
    assert "nothing of the tool" in window.said
    window.key("E")
    assert tally.is_finished
    (path,) = find_reviews(photos.files[0].path.parent / "sporecount-tallies", tally_hash(photos))
    assert [one.kind for one in read_review(path).actions] == [
        *["add"] * 3,
        *("reject", "undo", "close"),
    ]
    window.open(0)
    assert window.dock.session.tally is None
    assert window.count > 0


def tally_hash(photos: ToReview) -> str:
    return file_sha256(photos.files[0].path)


def test_how_good_the_tool_is_here_is_told_kept_and_taken_back(
    window: Window, photos: ToReview, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))
    panel = window.dock.quality_panel
    window.dock.start(photos, "Ann")
    panel.measure()
    window.wait()
    assert not panel.keep_button.isEnabled()
    for index in range(2):
        window.open(index)
        window.key("E")
    panel.measure()
    window.wait(lambda: "Told from 2 photos" in panel.figures.text())
    assert "100 %" in panel.figures.text()
    rates = DetectorRates(0.9, 0.02, 0.0)
    panel._found = Microscope("my microscope", (0.7, 0.75), "2026-05-01", rates=rates)
    panel.keep()
    assert [one.name for one in load_microscopes()] == ["my microscope"]
    window.open(0)
    assert "my microscope" in window.now.counted.summary["notes"]
    panel.go_back()
    assert "it has no adjustment" in panel.message.text()
    panel.compare()
    window.wait(lambda: panel.figures.text() != "Looking through the reviews ...")
    assert panel.figures.text()


def test_the_whole_way_from_a_folder_and_a_typed_scale(
    window: Window, drawn: tuple[Path, float], tmp_path: Path
) -> None:
    dock, panel = window.dock, window.dock.photos_panel
    shutil.copytree(drawn[0], tmp_path / "tape")
    panel.begin.click()
    assert "Choose photos first" in panel.message.text()
    panel.choose([tmp_path / "tape"])
    panel.who.setText("")
    panel.begin.click()
    assert "Write your name first" in panel.message.text()
    panel.who.setText("Ann")
    panel.begin.click()
    dock.open_photo(0)
    window.wait(lambda: "its scale is unknown" in window.said)
    panel.way.setCurrentIndex(1)
    panel.um_per_px.setValue(drawn[1])
    panel.begin.click()
    window.open(0)
    assert window.count > 0
    assert window.now.who == "Ann"


def test_the_scale_from_a_ruling_by_itself_and_by_a_line(window: Window, tmp_path: Path) -> None:
    from qtpy.QtCore import Qt
    from qtpy.QtTest import QTest

    pixels = render_micrometer(
        np.random.default_rng(4), um_per_px=0.65, size_px=(800, 600), dust_per_mpx=0
    )
    Image.fromarray(pixels).save(tmp_path / "ruling.png")
    panel = window.dock.photos_panel
    panel.way.setCurrentIndex(4)
    panel.measure_ruling(tmp_path / "ruling.png")
    window.wait()
    assert panel.measured.um_per_px == pytest.approx(0.65, rel=0.005)
    panel.length.setValue(325.0)
    window.dock._draw_line()
    start, end = window.point(100, 300), window.point(600, 300)
    QTest.mousePress(window.canvas, Qt.MouseButton.LeftButton, pos=start)
    for step in range(1, 6):
        QTest.mouseMove(window.canvas, start + (end - start) * (step / 5))
        QTest.qWait(10)
    QTest.mouseRelease(window.canvas, Qt.MouseButton.LeftButton, pos=end)
    QTest.qWait(30)
    assert "line drawn over 325 um" in panel.scale_words.text()
    assert panel.scale().measured.um_per_px == pytest.approx(0.65, rel=0.02)


def test_the_command_opens_the_window_with_the_photo(
    screen: str, photos: ToReview, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NAPARI_CONFIG", str(tmp_path / "napari.yaml"))
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))
    import napari

    from sporecount.cli.review_run import ReviewOptions, run_review

    seen: list[str] = []

    def person() -> None:
        viewer = napari.current_viewer()
        (dock,) = (one for _, one in viewer.window.dock_widgets.items())
        window = Window(viewer, dock)
        window.wait(lambda: window.now is not None)
        seen.append(f"{window.now.who} {window.dock.session.names[0]} {window.count > 0}")
        dock.close_down()
        viewer.close()

    monkeypatch.setattr(napari, "run", person)
    scale = photos.scale.um_per_px
    options = ReviewOptions((photos.files[0].path,), um_per_px=scale, who="Ann")
    assert run_review(options) == 0
    assert seen == ["Ann a.png True"]


def test_the_plugin_is_found_by_its_manifest(screen: str) -> None:
    from npe2 import PluginManifest

    manifest = PluginManifest.from_distribution("sporecount")
    manifest.validate_imports()
    assert [one.display_name for one in manifest.contributions.widgets] == ["Review spores"]
    assert len(manifest.contributions.sample_data) == 2


def test_dropped_photos_and_samples_can_be_reviewed(
    window: Window, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sporecount.review.widget import samples
    from sporecount.review.widget.reader import get_reader

    monkeypatch.setattr(samples, "user_cache_path", lambda _name: tmp_path)
    assert get_reader(str(tmp_path / "none.png")) is None
    for data, known, _kind in samples.drawn_tape():
        window.viewer.add_image(data, **known)
    assert window.viewer.layers[0].scale[0] == pytest.approx(0.65, rel=0.5)
    panel = window.dock.photos_panel
    panel.who.setText("Ann")
    panel._take_open()
    panel.begin.click()
    window.open(0)
    assert window.count > 3
