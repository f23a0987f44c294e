"""How long a photo of 50 megapixels with 5,000 spores takes to open, and each correction.

    python tests/benchmarks/review_speed.py --corrections 200

The photo is put together from one drawn tile, counted for real, and opened in the real window
(on a virtual screen where there is none). Times are from the key until the action is kept on
the disk, counted and ready to be drawn, and until it is drawn: that takes the longest where no
graphics card helps, as on a virtual screen. Confirming, rejecting, changing the state, undoing,
adding by a click, parting and joining take turns; half of them with the whole photo on screen,
half close up.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent.parent))

from virtual_screen import give_screen

from sporecount.render.tape import TapePlan, render_tape
from sporecount.review.opening import ScaleChoice, from_paths

SCALE = 0.65
TILE_PX, TILES = (1732, 1155), 5
PER_MM2 = 260.0


def draw_photo(path: Path) -> None:
    """Save a photo of 50 megapixels with about 5,000 spores."""
    plan = TapePlan((1, 1), TILE_PX, SCALE, 0.35, spores_per_mm2=PER_MM2, turn_deg=0.0)
    tile = render_tape(plan, np.random.default_rng(5)).photos[0].pixels
    mirrored = np.concatenate([tile, tile[:, ::-1]], axis=1)
    row = np.tile(mirrored, (1, 3, 1))[:, : TILES * TILE_PX[0]]
    block = np.concatenate([row, row[::-1]])
    whole = np.tile(block, (3, 1, 1))[: TILES * TILE_PX[1]]
    Image.fromarray(whole).save(path, quality=92)


#: Until it is done, until it is drawn, and what this thread worked, ms.
Times = tuple[float, float, float]


def timed(deed: Callable[[], Any], draw: Callable[[], Any] = lambda: None) -> Times:
    start, worked = time.perf_counter(), time.thread_time()
    deed()
    done = time.perf_counter()
    draw()
    drawn = time.perf_counter()
    return 1000 * (done - start), 1000 * (drawn - start), 1000 * (time.thread_time() - worked)


def wait(dock: Any, app: Any) -> None:
    app.processEvents()
    while dock.is_busy:
        app.processEvents()
        time.sleep(0.002)
    app.processEvents()


def shown(dock: Any, app: Any, deed: Callable[[], Any]) -> Times:
    """Return how long a deed takes."""

    def draw() -> None:
        dock._limits.stop()  # timed by itself
        app.processEvents()

    dock._quiet.stop()
    return timed(deed, draw)


def corrections(dock: Any, app: Any, number: int) -> dict[str, list[Times]]:
    """Correct the open photo; return the times of each kind, with the picture and without."""
    deeds, picture, session = dock.deeds, dock.picture, dock.session
    rng, times = np.random.default_rng(2), defaultdict(list)
    names = [row["id"] for row in session.now.ledger.rows.values() if row["standing"]]
    rng.shuffle(names)
    dock.review_panel.go_on.setChecked(False)
    for step in range(number):
        name = names[step]
        row = session.now.row(name)
        if step % 2:
            picture.look_at(row["x_px"], row["y_px"])
        else:
            picture.whole()
        app.processEvents()
        picture.refresh()
        app.processEvents()
        times["select"].append(shown(dock, app, lambda name=name: deeds.select([name])))
        kind = ("confirm", "reject", "damaged", "part", "undo", "reject+add", "join")[step % 7]
        if kind == "reject+add":
            deeds.do("reject")
            at = row["x_px"], row["y_px"]
            times["add by a click"].append(
                shown(dock, app, lambda at=at: deeds.select([session.add_at(*at)]))
            )
        elif kind == "join":
            deeds.do("part")
            times["join"].append(shown(dock, app, lambda: deeds.do("join")))
        else:
            times[kind].append(shown(dock, app, lambda kind=kind: deeds.do(kind)))
        if deeds._panel.message.text():
            print(kind, deeds._panel.message.text())
    return dict(times)


def told(values: list[Times]) -> str:
    done, drawn, worked = np.array(values).T
    return (
        f"done {np.median(done):5.0f} (worst {done.max():5.0f}), drawn {np.median(drawn):5.0f} "
        f"({drawn.max():5.0f}), work {np.median(worked):4.0f} ({worked.max():4.0f}) ms, "
        f"n = {len(values)}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--corrections", type=int, default=210)
    parser.add_argument("--photo", type=Path, help="keep the photo here, and use it again")
    given = parser.parse_args()
    print("screen:", give_screen())
    import napari
    from qtpy.QtWidgets import QApplication

    from sporecount.review.widget.dock import ReviewDock

    with tempfile.TemporaryDirectory() as home:
        os.environ["NAPARI_CONFIG"] = str(Path(home) / "napari.yaml")
        photo = given.photo or Path(home) / "large.jpg"
        if not photo.exists():
            draw_photo(photo)
        viewer = napari.Viewer()
        viewer.window.resize(1500, 950)
        app = QApplication.instance()
        dock = ReviewDock(viewer, reviews=Path(home) / "reviews")
        viewer.window.add_dock_widget(dock, name="Review spores", area="right")
        app.processEvents()
        for title in ("first time, counted too", "counted before"):
            dock.start(from_paths([photo], ScaleChoice(um_per_px=SCALE)), "Ann")

            def opened() -> None:
                dock.open_photo(0)
                while dock.session.now is None:
                    if not dock.is_busy and dock._wanted is None:
                        raise RuntimeError(dock.review_panel.message.text())
                    app.processEvents()
                    time.sleep(0.002)
                app.processEvents()

            took = timed(opened)[0]
            print(f"opened ({title}): {took / 1000:.1f} s")
            wait(dock, app)
        rows = dock.session.now.ledger.rows
        pixels = dock.session.now.photo.pixels.shape
        print(f"{pixels[0] * pixels[1] / 1e6:.1f} megapixels, {len(rows)} detections")
        times = corrections(dock, app, given.corrections)
        for kind, values in times.items():
            print(f"{kind:>15}: {told(values)}")
        every = [value for kind, values in times.items() if kind != "select" for value in values]
        print(f"{'all':>15}: {told(every)}")
        look = [shown(dock, app, lambda: dock.deeds.do("look_next")) for _ in range(20)]
        print(f"{'look next':>15}: {told(look)}")
        whole = [timed(lambda: (dock.picture.whole(), dock.picture.refresh())) for _ in "12345"]
        print(f"{'whole view':>15}: {told(whole)}")
        limits = [timed(dock._show_limits) for _ in "12345"]
        print(f"{'limits':>15}: {told(limits)}, a moment after each")
        settled = [timed(lambda: dock.session.now.settlement(0.05)) for _ in "12345"]
        print(f"{'settled':>15}: {told(settled)}, once it is quiet")
        dock.close_down()
        viewer.close()


if __name__ == "__main__":
    main()
