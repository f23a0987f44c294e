"""Write the sample photos: ``python -m sporecount.render.samples FOLDER``."""

from __future__ import annotations

import argparse
import io
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import tifffile
from numpy.typing import NDArray
from PIL import Image

from sporecount.render.conditions import condition_plan
from sporecount.render.micrometer import render_micrometer
from sporecount.render.picture import Rendered, render
from sporecount.render.plan import PicturePlan


@dataclass(frozen=True)
class Sample:
    """One sample photo: its file, whose tape it shows and how it was taken."""

    file: str
    sample: str
    condition: str
    um_per_px: float
    seed: int
    count: int | None = None
    size_px: tuple[int, int] = (960, 720)
    exif_orientation: int = 1
    note: str = ""


#: The sample photos of an invented school garden club.
SAMPLES: tuple[Sample, ...] = (
    Sample("clover-1.jpg", "Clover", "4x", 1.25, 11, 3, note="a light load"),
    Sample("clover-2.jpg", "Clover", "4x", 1.25, 12, 1, exif_orientation=6, note="stored sideways"),
    Sample("juniper-1.jpg", "Juniper", "10x", 0.65, 13, 38, note="a heavy load"),
    Sample("juniper-2.jpg", "Juniper", "clumps", 0.65, 14, 110, note="heavily clumped"),
    Sample("maple-1.heic", "Maple", "phone", 0.9, 15, 34, note="phone at the eyepiece"),
    Sample("maple-2.jpg", "Maple", "chat", 0.9, 16, 26, note="went through a chat program"),
    Sample("fern-1.webp", "Fern", "card", 0.8, 17, 30, note="tape on a white card"),
    Sample("fern-2.jpg", "Fern", "thick-scales", 0.75, 18, 36, note="thick with wing scales"),
    Sample("willow-1.jpg", "Willow", "blank", 0.7, 19, note="much litter, no spore"),
    Sample("willow-2.png", "Willow", "blank", 1.1, 20, size_px=(640, 480), note="no spore"),
    Sample("hazel-1.jpg", "Hazel", "40x", 0.2, 21, 14, note="a strong objective"),
    Sample("hazel-2.tif", "Hazel", "closed-condenser", 0.6, 22, 22, (640, 480), note="dark rims"),
    Sample("aspen-1.jpg", "Aspen", "trial", 0.55, 23, 34, note="many damaged and broken"),
    Sample("aspen-2.jpg", "Aspen", "overlay", 0.6, 24, 28, note="text and a scale bar burned in"),
    Sample(
        "aspen-3.jpg", "Aspen", "ruined-blur", 0.6, 25, note="so blurred that nobody could count"
    ),
)

_README = """# Sample photos

These photos are **rendered**, not taken: `python -m sporecount.render.samples {folder}` draws
them from fixed seeds, so what lies on each of them is known exactly. The story is invented: the
garden club of a school checks its butterflies, each of which has the name of a plant.

- `photos.csv`: the sheet for counting: each photo, its scale (um per pixel) and its butterfly.
- `truth.csv`: every spore and piece of a spore whose centre lies in the photo: place
  (`x_px`, `y_px`, the centre of the top-left pixel is 0, 0), size, angle, state, how visible it is
  (`contrast`, optical density), how much of it lies under opaque things (`covered`) and whether it
  lies on lit sample that no text hides (`in_field`).

| photo | butterfly | taken how | um/px | intact | damaged | pieces | remark |
|---|---|---|---|---|---|---|---|
{rows}
"""


def make_sample(sample: Sample) -> Rendered:
    """Render one sample photo, upright."""
    rng = np.random.default_rng(sample.seed)
    return render(_plan_of(sample, rng), rng)


def _plan_of(sample: Sample, rng: np.random.Generator) -> PicturePlan:
    """Return the plan of a sample: its condition at the sample's own scale and number."""
    plan = condition_plan(sample.condition, rng, sample.size_px)
    stretch = (plan.um_per_px / sample.um_per_px) ** 2
    spores = replace(plan.spores, per_mm2=plan.spores.per_mm2 * stretch)
    if sample.count is not None:
        spores = replace(spores, count=sample.count)
    camera = plan.camera
    if len(camera.jpeg) == 1:
        # The file format compresses it anyway.
        camera = replace(camera, jpeg=())
    return replace(plan, um_per_px=sample.um_per_px, spores=spores, camera=camera)


def encode(pixels: NDArray[np.uint8], sample: Sample) -> bytes:
    """Return the bytes of a photo's file in the format its name asks for."""
    suffix = Path(sample.file).suffix
    buffer = io.BytesIO()
    if suffix == ".tif":
        per_cm = 10_000.0 / sample.um_per_px
        tifffile.imwrite(
            buffer,
            pixels,
            photometric="rgb",
            compression="deflate",
            predictor=True,
            resolution=(per_cm, per_cm),
            resolutionunit="CENTIMETER",
            metadata=None,
        )
        return buffer.getvalue()
    if suffix == ".heic":
        from pillow_heif import register_heif_opener

        register_heif_opener()
        Image.fromarray(pixels).save(buffer, format="HEIF", quality=65)
        return buffer.getvalue()
    if suffix == ".jpg":
        exif = Image.Exif()
        if sample.exif_orientation == 6:
            # Tag 6: the viewer turns the stored picture a quarter clockwise.
            exif[0x0112] = 6
            pixels = np.ascontiguousarray(np.rot90(pixels, 1))
        Image.fromarray(pixels).save(buffer, format="JPEG", quality=90, exif=exif)
        return buffer.getvalue()
    kind = {".png": "PNG", ".webp": "WEBP"}[suffix]
    # The quality is for WebP; PNG knows none.
    Image.fromarray(pixels).save(buffer, format=kind, quality=88)
    return buffer.getvalue()


def write_samples(folder: Path, samples: tuple[Sample, ...] = SAMPLES) -> None:
    """Write photos, ``truth.csv``, ``photos.csv`` and ``README.md`` into a folder.

    Parameters
    ----------
    folder : Path
        Made where missing; files of the same names are replaced.
    samples : tuple of Sample
        What to write.
    """
    folder.mkdir(parents=True, exist_ok=True)
    truths, lines = [], []
    for sample in samples:
        made = make_sample(sample)
        (folder / sample.file).write_bytes(encode(made.pixels, sample))
        truth = made.truth.copy()
        truth.insert(0, "photo", sample.file)
        truths.append(truth)
        lines.append(_line(sample, made.truth))
    sheet = pd.DataFrame(
        {
            "photo": [one.file for one in samples],
            "um_per_px": [one.um_per_px for one in samples],
            "sample": [one.sample for one in samples],
        }
    )
    sheet.to_csv(folder / "photos.csv", index=False, lineterminator="\n")
    # Blank photos have tables without rows: their types would warn when joined.
    table = pd.concat([one for one in truths if len(one)], ignore_index=True)
    table.round(3).to_csv(folder / "truth.csv", index=False, lineterminator="\n")
    text = _README.format(folder="sample_images", rows="\n".join(lines))
    (folder / "README.md").write_text(text, encoding="utf-8")


def _line(sample: Sample, truth: pd.DataFrame) -> str:
    """Return a sample's row of the table in the README."""
    states = truth.loc[truth["in_field"], "state"]
    numbers = [int((states == state).sum()) for state in ("intact", "damaged", "fragment")]
    cells = [sample.file, sample.sample, sample.condition, sample.um_per_px, *numbers, sample.note]
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def write_micrometer(path: Path) -> None:
    """Write a photo of a stage micrometer: 10 um a division at 0.65 um per pixel."""
    pixels = render_micrometer(
        np.random.default_rng(31),
        um_per_px=0.65,
        size_px=(960, 720),
        angle_deg=7.0,
        blur_px=0.9,
        noise=0.012,
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="JPEG", quality=90)
    path.write_bytes(buffer.getvalue())


def main(arguments: list[str] | None = None) -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Write the sample photos with their truth.")
    parser.add_argument("folder", type=Path, help="where the photos go")
    parser.add_argument(
        "--micrometer", type=Path, help="also write a micrometer photo to this file"
    )
    given = parser.parse_args(arguments)
    write_samples(given.folder)
    if given.micrometer is not None:
        write_micrometer(given.micrometer)


if __name__ == "__main__":
    main()
