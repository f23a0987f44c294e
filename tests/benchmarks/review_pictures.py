"""Draws the pictures of docs/review.md anew: each step of a review, in the real window.

    python tests/benchmarks/review_pictures.py docs/pictures

The demonstration photos are reviewed in a copy of their own. Look at each picture.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent.parent))

from virtual_screen import give_screen

from sporecount.render.micrometer import render_micrometer

ROOT = Path(__file__).parent.parent.parent
SIZE_PX = (1440, 900)
SHOWN_PX = 1200


class Pictures:
    """The window, and the folder that pictures of it go to."""

    def __init__(self, viewer: Any, dock: Any, folder: Path) -> None:
        self.viewer, self.dock, self.folder = viewer, dock, folder

    def wait(self, seconds: float = 0.8) -> None:
        from qtpy.QtTest import QTest

        QTest.qWait(int(1000 * seconds))
        end = time.monotonic() + 120
        while self.dock.is_busy and time.monotonic() < end:
            QTest.qWait(50)
        QTest.qWait(int(1000 * seconds))

    def take(self, name: str) -> None:
        self.wait()
        shot = np.asarray(self.viewer.window.screenshot(canvas_only=False, flash=False))[..., :3]
        rows = round(shot.shape[0] * SHOWN_PX / shot.shape[1])
        small = cv2.resize(shot, (SHOWN_PX, rows), interpolation=cv2.INTER_AREA)
        Image.fromarray(small).save(self.folder / f"review-{name}.jpg", quality=82, optimize=True)
        print(name)


def main(folder: Path) -> None:
    print("screen:", give_screen())
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home:
        os.environ["NAPARI_CONFIG"] = str(Path(home) / "napari.yaml")
        os.environ["SPORECOUNT_CONFIG_DIR"] = str(Path(home) / "config")
        photos = Path(home) / "Aspen"
        photos.mkdir()
        for photo in sorted((ROOT / "sample_images").glob("aspen-*.jpg")):
            shutil.copy(photo, photos)
        shutil.copy(ROOT / "sample_images/photos.csv", home)
        ruling = Path(home) / "micrometer.jpg"
        pixels = render_micrometer(
            np.random.default_rng(31), um_per_px=0.65, size_px=(960, 720), angle_deg=7, numbers=True
        )
        Image.fromarray(pixels).save(ruling)
        _take_all(folder, photos, Path(home) / "photos.csv", ruling)


def _take_all(folder: Path, photos: Path, sheet: Path, ruling: Path) -> None:
    import napari

    from sporecount.review.widget.dock import QUALITY_TAB, REPORT_TAB, ReviewDock

    viewer = napari.Viewer(title="sporecount review")
    viewer.window.resize(*SIZE_PX)
    dock = ReviewDock(viewer)
    viewer.window.add_dock_widget(dock, name="Review spores", area="right")
    see = Pictures(viewer, dock, folder)
    panel, deeds = dock.photos_panel, dock.deeds
    panel.who.setText("Ann")
    panel.choose([photos])
    panel.choose_sheet(sheet)
    panel.way.setCurrentIndex(4)
    panel.measure_ruling(ruling)
    see.wait()
    dock.picture.drawing = True
    line = np.array([[150.0, 322.0], [760.0, 397.0]])
    panel.length.setValue(400.0)
    panel.line_drawn(line)
    dock.picture.keep_line(line)
    see.take("1-scale")
    dock.picture.drawing = False
    panel.way.setCurrentIndex(0)
    panel.begin.click()
    dock.count_panel.start()
    see.take("2-count")
    dock.open_photo(1)
    see.take("3-photo")
    deeds = dock.deeds
    deeds.do("look_next")
    see.take("4-look-next")
    dock.review_panel.go_on.setChecked(False)
    for deed in ("confirm", "look_next", "reject", "look_next", "damaged"):
        deeds.do(deed)
    marks = dock.picture.marks
    apart = np.hypot(*(marks.xy_px[:, None] - marks.xy_px[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    pieces = [dock.session.now.row(name)["state"] == "fragment" for name in marks.names]
    apart[pieces] = apart[:, pieces] = np.inf
    pair = np.unravel_index(apart.argmin(), apart.shape)
    around = np.argsort(apart[pair[0]])[:9]
    for place in around[2:6]:
        deeds.select([marks.names[place]])
        deeds.do("reject" if place == around[5] else "confirm")
    deeds.select([marks.names[place] for place in pair])
    dock.picture.look_at(*marks.xy_px[pair[0]])
    viewer.scene.camera.zoom *= 0.4
    see.take("5-corrected")
    deeds.do("finish")
    dock.tabs.setCurrentIndex(REPORT_TAB)
    dock.report_panel.start()
    see.take("6-report")
    dock.open_photo(0)
    see.wait()
    dock.deeds.do("finish")
    dock.tabs.setCurrentIndex(QUALITY_TAB)
    dock.quality_panel.measure()
    see.take("7-how-good")
    dock.open_tally(1)
    see.wait()
    found = dock.session.counts.known(dock.session.files[1]).detections
    for x_px, y_px in found[["x_px", "y_px"]].to_numpy()[:20].tolist():
        dock.deeds.clicked(x_px, y_px, False)
    see.take("8-by-hand")
    dock.close_down()
    viewer.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
