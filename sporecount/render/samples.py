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
from sporecount.render.season import TAPE_MM2, TAPES, SeasonTape, write_table, write_tapes


@dataclass(frozen=True)
class Sample:
    """One photo by itself: its file, whose tape it shows, if any's, and how it was taken."""

    file: str
    sample: str
    condition: str
    um_per_px: float
    seed: int
    count: int | None = None
    size_px: tuple[int, int] = (960, 720)
    exif_orientation: int = 1
    note: str = ""


#: Photos taken in many ways and stored in many formats; those of Maple and Aspen are all that
#: was taken of their tapes.
SAMPLES: tuple[Sample, ...] = (
    Sample("clover-1.jpg", "", "4x", 1.25, 11, 3, note="a light load"),
    Sample("clover-2.jpg", "", "4x", 1.25, 12, 1, exif_orientation=6, note="stored sideways"),
    Sample("juniper-1.jpg", "", "10x", 0.65, 13, 38, note="a heavy load"),
    Sample("juniper-2.jpg", "", "clumps", 0.65, 14, 110, note="heavily clumped"),
    Sample("maple-1.heic", "Maple", "phone", 0.9, 15, 34, note="phone at the eyepiece"),
    Sample("maple-2.jpg", "Maple", "chat", 0.9, 16, 26, note="went through a chat program"),
    Sample("fern-1.webp", "", "card", 0.8, 17, 30, note="tape on a white card"),
    Sample("fern-2.jpg", "", "thick-scales", 0.75, 18, 36, note="thick with wing scales"),
    Sample("willow-1.jpg", "", "blank", 0.7, 19, note="much litter, no spore"),
    Sample("willow-2.png", "", "blank", 1.1, 20, size_px=(640, 480), note="no spore"),
    Sample("hazel-1.jpg", "", "40x", 0.2, 21, 14, note="a strong objective"),
    Sample("hazel-2.tif", "", "closed-condenser", 0.6, 22, 22, (640, 480), note="dark rims"),
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

- `photos.csv`: the sheet for counting and scoring: each photo, its scale (um per pixel), its
  butterfly, and the area of the tape (mm2; where it is empty, the usual 100). Photos without a
  butterfly are there to be counted only.
- `season/`: invented broods and adults for the rearing log, as `sporecount log export` writes them;
  each adult is called as its tape's sample.

## Tapes of the season

The photos of a tape overlap. `tape_truth.csv` has every spore and piece of a spore that is in any
photo of a tape, once, in the tape's own coordinates (`x_um`, `y_um`), and in how many photos it is
(`photos`). `tape_places.csv` says where each photo's top-left corner lies on its tape, and how far
the photo is turned: tape = turn(`angle_deg`) photo + (`x_um`, `y_um`).

| butterfly | photos | tape, mm2 | intact | damaged | pieces | what is on it |
|---|---|---|---|---|---|---|
{tapes}

## Photos by themselves

`truth.csv` has every spore and piece of a spore whose centre lies in the photo: place
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


def write_samples(
    folder: Path,
    samples: tuple[Sample, ...] = SAMPLES,
    tapes: tuple[SeasonTape, ...] = TAPES,
) -> None:
    """Write photos, their truth, ``photos.csv`` and ``README.md`` into a folder.

    Parameters
    ----------
    folder : Path
        Made where missing; files of the same names are replaced.
    samples, tapes : tuple
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
    write_table(folder / "truth.csv", truths)
    tape_lines = [
        _cells(tape.sample, len(tape.photo_names()), f"{TAPE_MM2:g}", *numbers, tape.note)
        for tape, numbers in zip(tapes, write_tapes(folder, tapes), strict=True)
    ]
    sheet_of(samples, tapes).to_csv(folder / "photos.csv", index=False, lineterminator="\n")
    text = _README.format(
        folder="sample_images", rows="\n".join(lines), tapes="\n".join(tape_lines)
    )
    (folder / "README.md").write_text(text, encoding="utf-8")


def sheet_of(samples: tuple[Sample, ...], tapes: tuple[SeasonTape, ...]) -> pd.DataFrame:
    """Return the sheet: a row for each photo."""
    rows: list[tuple[str, float, str, str]] = []
    rows += [(one.file, one.um_per_px, one.sample, "") for one in samples]
    rows += [
        (name, tape.plan().um_per_px, tape.sample, f"{TAPE_MM2:g}")
        for tape in tapes
        for name in tape.photo_names()
    ]
    return pd.DataFrame(rows, columns=["photo", "um_per_px", "sample", "tape_mm2"])


def _line(sample: Sample, truth: pd.DataFrame) -> str:
    """Return a sample's row of the table in the README."""
    states = truth.loc[truth["in_field"], "state"]
    numbers = [int((states == state).sum()) for state in ("intact", "damaged", "fragment")]
    how = (sample.sample, sample.condition, sample.um_per_px)
    return _cells(sample.file, *how, *numbers, sample.note)


def _cells(*cells: object) -> str:
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
