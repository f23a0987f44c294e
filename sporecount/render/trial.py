"""Write the demonstration trial: ``python -m sporecount.render.trial FOLDER``."""

from __future__ import annotations

import argparse
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image

from sporecount.render.spores.look import SporeLook, vary_look
from sporecount.render.tape import TapePhoto
from sporecount.render.treated import FATES, Chances, TreatedField, TreatedPlan, render_treated
from sporecount.tape.pose import Pose
from sporecount.trial.arm import Arm
from sporecount.trial.blind import KeyRow, deal, key_csv
from sporecount.trial.plan import Trial
from sporecount.trial.plan_file import write_trial

SLIDES, FIELDS, SEED = 4, 2, 20_260

#: How alike spores of a slide fare (intraclass correlation), and how much slides' densities
#: differ (standard deviation of the logarithm).
ALIKE, DENSITY_SPREAD = 0.03, 0.2

#: Quality of the photos' JPEG files.
_QUALITY = 82


@dataclass(frozen=True)
class DemoArm:
    """One arm: what is done, and what that does to spores, in the mean."""

    arm: Arm
    chances: Chances


ARMS: tuple[DemoArm, ...] = (
    DemoArm(Arm("untreated", "untreated", "none"), Chances(0.005, 0.0, 0.005)),
    DemoArm(
        Arm("water", "water", "water", seconds=300, rinse="water, 1 min"), Chances(0.01, 0.0, 0.03)
    ),
    DemoArm(
        Arm("hypochlorite", "treated", "hypochlorite", "household bleach", label_strength_pct=6.0,
            dilution="1 + 9", seconds=300, rinse="water, 1 min"),
        Chances(0.33, 0.28, 0.2),
    ),
    DemoArm(
        Arm("uv-c", "treated", "uv-c", "germicidal lamp", watts=15.0, distance_cm=10.0,
            seconds=300),
        Chances(0.01, 0.0, 0.02),
    ),
    DemoArm(
        Arm("spray", "treated", "spray", "disinfectant spray", seconds=300, rinse="water, 1 min"),
        Chances(0.2, 0.06, 0.06),
    ),
)  # fmt: skip

#: Eggs dipped and hatched, four batches dealt out over the arms.
EGGS = (
    ("water", (60, 56), (60, 57), (60, 54), (60, 56)),
    ("hypochlorite", (60, 55), (60, 57), (60, 55), (60, 56)),
    ("spray", (60, 31), (60, 38), (60, 27), (60, 35)),
)

#: Larvae fed, adults looked at, infected ones; the lamp's feeding test is still to be made.
FEEDING = (("water", 24, 22, 19), ("hypochlorite", 24, 23, 1), ("spray", 24, 21, 9))

_README = """# Demonstration trial

These photos are **rendered**, not taken: `python -m sporecount.render.trial {folder}` draws them
from fixed seeds, so what became of each spore is known exactly. The story and its animals are
invented.

From photos to verdict in one command:

    sporecount trial report {folder}/trial.toml --out judged

Then open `judged/trial.html`.

Five arms, {slides} slides each, {fields} fields on each slide, each photographed before and after
treatment ({photos} photos). Slides have codes; `key.csv` says what they stand for.

| File | What it is |
|---|---|
| `trial.toml` | the plan |
| `photos.csv` | the sheet: photo, code of the slide, field, before or after, um per pixel |
| `key.csv` | the key of the codes |
| `eggs.csv`, `feeding.csv` | eggs dipped and hatched; larvae fed treated spores, and the adults |
| `truth.csv` | every spore that lay on a field before, see below |

`truth.csv` says where each lay in the photo before (`x_px`, `y_px`; the centre of the top-left
pixel is 0, 0), its `state` then, its `fate`, how visible it was (`contrast`, optical density), and
how much of it lay under opaque litter (`covered`).

What was drawn, of spores that were intact in a photo before treatment:

| arm | spores | still intact | damaged | in pieces | gone |
|---|---|---|---|---|---|
{rows}

What should come out: hypochlorite **breaks** spores, and costs no eggs. The spray harms spores
less, and **harms eggs**. The lamp leaves spores looking whole, which does not mean that it failed:
**looks don't settle this**, and a feeding test is still to be made. Untreated and water hardly
differ.
"""


def write_trial_demo(
    folder: Path, arms: Sequence[DemoArm] = ARMS, slides: int = SLIDES, seed: int = SEED
) -> None:
    """Write photos, tables, truth and ``README.md`` of the demonstration trial.

    Parameters
    ----------
    folder : Path
        Made where missing; files of the same names are replaced.
    arms : sequence of DemoArm
        Its arms.
    slides : int
        Slides of each.
    seed : int
        Source of chance.
    """
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    trial = _plan(arms, slides)
    key = deal([one.arm.name for one in arms], slides, seed)
    truths, rows = [], []
    of = {one.arm.name: one for one in arms}
    for row in sorted(key, key=lambda one: one.code):
        rng = np.random.default_rng([seed, *map(ord, row.code)])
        plan, chances = _slide(of[row.arm], rng)
        for number in range(1, FIELDS + 1):
            made = render_treated(plan, chances, rng)
            for when, photo in (("before", made.before), ("after", made.after)):
                name = f"{row.code}-{number}-{when}.jpg"
                (folder / "photos" / name).write_bytes(_jpeg(photo))
                rows.append((name, row.code, number, when, plan.um_per_px))
            truths.append(_truth(made, plan, row, number))
    write_trial(folder / "trial.toml", trial)
    (folder / "key.csv").write_text(key_csv(key), encoding="utf-8", newline="")
    truth = pd.concat(truths, ignore_index=True).round(3)
    for name, table in (
        ("photos", pd.DataFrame(rows, columns=["photo", "slide", "field", "when", "um_per_px"])),
        ("truth", truth),
        ("eggs", _eggs()),
        ("feeding", pd.DataFrame(FEEDING, columns=["arm", "fed", "adults", "infected"])),
    ):
        if name in ("eggs", "feeding"):
            table = table[table["arm"].isin(list(of))]
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    text = _README.format(
        folder="docs/examples/trial",
        slides=slides,
        fields=FIELDS,
        photos=len(rows),
        rows="\n".join(_line(truth, one.arm.name) for one in arms),
    )
    (folder / "README.md").write_text(text, encoding="utf-8")


def _plan(arms: Sequence[DemoArm], slides: int) -> Trial:
    return Trial(
        name="Bleach, lamp or spray",
        arms=tuple(one.arm for one in arms),
        date="2026-05-16",
        question="Which of the three breaks spores on a tape, and costs no eggs?",
        slides_per_arm=slides,
        photos_per_slide=FIELDS,
        spores_per_slide=50,
        taken_apart=True,
        photos="photos",
        sheet="photos.csv",
        key="key.csv",
        eggs="eggs.csv",
        feeding="feeding.csv",
    )


def _slide(one: DemoArm, rng: np.random.Generator) -> tuple[TreatedPlan, Chances]:
    """Return how one slide is drawn: spores of a slide are alike, and fare alike."""
    strength = (1 - ALIKE) / ALIKE
    _, damaged, fragment, gone = rng.dirichlet(np.maximum(strength * one.chances.all, 1e-9))
    base = SporeLook(tone=0.62, core_tone=0.55)
    plan = TreatedPlan(
        spores_per_mm2=float(120 * np.exp(rng.normal(0, DENSITY_SPREAD))),
        look=vary_look(rng, base),
        dirt=3,
        camera_seed=SEED,
    )
    return plan, Chances(float(damaged), float(fragment), float(gone))


def _truth(made: TreatedField, plan: TreatedPlan, row: KeyRow, number: int) -> pd.DataFrame:
    """Return what lay in the photo before treatment."""
    place = Pose(made.before.x_um, made.before.y_um, made.before.angle_deg)
    at_px = place.inwards(made.truth[["x_um", "y_um"]].to_numpy(float)) / plan.um_per_px - 0.5
    width, height = plan.photo_px
    inside = np.all((at_px >= 0) & (at_px <= (width - 1, height - 1)), axis=1)
    table = made.truth[inside]
    return pd.DataFrame(
        {
            "photo": f"{row.code}-{number}-before.jpg",
            "arm": row.arm,
            "slide": row.slide,
            "field": number,
            "x_px": at_px[inside, 0],
            "y_px": at_px[inside, 1],
            **{name: table[name] for name in ("state", "fate", "contrast", "covered")},
        }
    )


def _line(truth: pd.DataFrame, arm: str) -> str:
    own = truth[(truth["arm"] == arm) & (truth["state"] == "intact")]["fate"]
    shares = (f"{100 * (own == fate).mean():.0f} %" for fate in FATES)
    return f"| {arm} | {len(own)} | {' | '.join(shares)} |"


def _eggs() -> pd.DataFrame:
    rows = [
        (arm, f"day {day}", dipped, hatched)
        for arm, *batches in EGGS
        for day, (dipped, hatched) in enumerate(batches, 1)
    ]
    return pd.DataFrame(rows, columns=["arm", "batch", "dipped", "hatched"])


def _jpeg(photo: TapePhoto) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(photo.pixels).save(buffer, format="JPEG", quality=_QUALITY)
    return buffer.getvalue()


def main(arguments: list[str] | None = None) -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Write the demonstration trial with its truth.")
    parser.add_argument("folder", type=Path, help="where it goes")
    write_trial_demo(parser.parse_args(arguments).folder)


if __name__ == "__main__":
    main()
