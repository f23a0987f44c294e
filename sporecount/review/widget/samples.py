"""Pictures to try the window with, drawn by the program itself."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from platformdirs import user_cache_path

from sporecount.report.files import write_whole
from sporecount.review.widget.reader import LayerData, read_layers

#: Pixels of the drawn tape, width and height, and of which picture it is.
_SIZE_PX, _SEED = (1400, 1050), 12


def drawn_tape() -> list[LayerData]:
    """Return a tape at 10x with spores, scales and dust; its file carries its scale."""
    from sporecount.render.conditions import condition_plan
    from sporecount.render.picture import render

    rng = np.random.default_rng(_SEED)
    plan = condition_plan("10x", rng, _SIZE_PX)
    return _layers("drawn tape.tif", render(plan, rng).pixels, plan.um_per_px)


def drawn_ruling() -> list[LayerData]:
    """Return a stage micrometer, 10 um a division."""
    from sporecount.render.micrometer import render_micrometer

    pixels = render_micrometer(
        np.random.default_rng(_SEED), um_per_px=0.65, angle_deg=7.0, numbers=True
    )
    return _layers("drawn ruling.tif", pixels, None)


def _layers(name: str, pixels: NDArray[np.uint8], um_per_px: float | None) -> list[LayerData]:
    """Keep a picture where the review finds it again, and read it from there."""
    path = Path(user_cache_path("sporecount")) / "drawn" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    buffer = io.BytesIO()
    image = Image.fromarray(pixels)
    if um_per_px is None:
        image.save(buffer, format="TIFF", compression="tiff_lzw")
    else:
        per_cm = 1e4 / um_per_px
        image.save(
            buffer, format="TIFF", compression="tiff_lzw", resolution=per_cm, resolution_unit=3
        )
    write_whole(path, buffer.getvalue())
    return read_layers(str(path))
