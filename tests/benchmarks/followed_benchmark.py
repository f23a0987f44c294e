"""Print how fates of followed spores compare with the renderer's truth: tables for the docs.

    python tests/benchmarks/followed_benchmark.py --fields 12

draws fields before and after treatments, from a seed kept out of training, counts both photos,
lays them on each other, follows the spores, and compares.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sporecount.counting import count_photo
from sporecount.photo.photo import Photo
from sporecount.render.conditions import USUAL_CLUTTER
from sporecount.render.spores.look import SporeLook, random_look
from sporecount.render.tape import TapePhoto
from sporecount.render.treated import FATES, Chances, TreatedField, TreatedPlan, render_treated
from sporecount.scale.calibration import Calibration
from sporecount.tape.pose import Pose
from sporecount.tape.view import View, make_view
from sporecount.trial.followed.match import NEW, UNMATCHED, follow
from sporecount.trial.followed.register import lay_field

SEED = 9227

TREATMENTS = {
    "none": Chances(),
    "water": Chances(0.01, 0.0, 0.04),
    "some": Chances(0.2, 0.05, 0.05),
    "strong": Chances(0.35, 0.25, 0.2),
    "dissolves": Chances(0.1, 0.05, 0.75),
    "all gone": Chances(0.0, 0.0, 1.0),
}

#: A found centre within this distance of a true one is that one, um.
SAME_UM = 5.0

#: Spores that a person would see.
LEAST_CONTRAST, MOST_COVERED = 0.05, 0.5


@dataclass(frozen=True)
class Ground:
    """What the fields look like."""

    name: str
    litter: float = 1.0
    um_per_px: float = 0.6
    hard: bool = False
    dirt: int = 0

    def plan(self, rng: np.random.Generator) -> TreatedPlan:
        """Return a plan; where hard, spores of any look, lit unevenly and clumped."""
        plan = TreatedPlan(
            photo_px=(round(600 / self.um_per_px), round(450 / self.um_per_px)),
            um_per_px=self.um_per_px,
            clutter=tuple((kind, self.litter * rate) for kind, rate in USUAL_CLUTTER),
            look=SporeLook(tone=0.6),
            dirt=self.dirt,
            camera_seed=SEED if self.dirt else None,
        )
        if not self.hard:
            return plan
        style = str(rng.choice(["profile", "solid", "contour"]))
        return replace(plan, look=random_look(rng), style=style, clumped=0.4, uneven=1.5)


GROUNDS = (
    Ground("usual"),
    Ground("coarse, 0.9 um per px", um_per_px=0.9),
    Ground("any look, clumped", hard=True),
    Ground("hardly any litter", litter=0.15),
    Ground("much litter", litter=3.0),
    Ground("dirty lens", dirt=40),
)


def view_of(photo: TapePhoto, name: str, um_per_px: float) -> View:
    """Return a counted photo."""
    one = Photo(name, photo.pixels, sha256=name)
    return make_view(one, count_photo(one, Calibration(um_per_px, "drawn")))


def true_pose(made: TreatedField) -> Pose:
    """Return how the photo after lies on the one before."""
    first, second = (Pose(p.x_um, p.y_um, p.angle_deg) for p in (made.before, made.after))
    return first.inverse().after(second)


def compared(made: TreatedField, found: pd.DataFrame, size_um: tuple[float, float]) -> pd.DataFrame:
    """Return true and found fate of each spore that was intact, seen before and found before."""
    place = Pose(made.before.x_um, made.before.y_um, made.before.angle_deg)
    truth = made.truth.reset_index(drop=True)
    at = place.inwards(truth[["x_um", "y_um"]].to_numpy(float))
    kept = np.all((at >= 0) & (at < size_um), axis=1)
    kept = kept & (truth["contrast"] >= LEAST_CONTRAST) & (truth["covered"] <= MOST_COVERED)
    truth, at = truth[kept], at[kept]
    old = found[found["fate"] != NEW]
    xy = old[["x_um", "y_um"]].to_numpy(float)
    rows = []
    for (_, spore), place_um in zip(truth.iterrows(), at, strict=True):
        away = np.hypot(*(xy - place_um).T) if len(xy) else np.array([np.inf])
        near = int(away.argmin())
        is_found = away[near] <= SAME_UM
        rows.append(
            (
                spore["state"], spore["fate"],
                old["state_before"].iloc[near] if is_found else "missed",
                old["fate"].iloc[near] if is_found else "missed",
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["state", "true", "called", "found"])


def table(fates: pd.DataFrame) -> list[str]:
    """Return true against found fates of spores intact before and called so."""
    own = fates[(fates["state"] == "intact") & (fates["called"] == "intact")]
    columns = [*FATES, *UNMATCHED]
    lines = ["| really | spores | " + " | ".join(columns) + " |", "|---" * (len(columns) + 2) + "|"]
    for fate in FATES:
        row = own[own["true"] == fate]
        counts = [int((row["found"] == name).sum()) for name in columns]
        lines.append(f"| {fate} | {len(row)} | " + " | ".join(map(str, counts)) + " |")
    return lines


def run(ground: Ground, fields: int) -> tuple[pd.DataFrame, Counter[str], list[float]]:
    """Return fates, what became of pairs, and how far places were off, um."""
    fates, pairs, off = [], Counter[str](), []
    before: list[View] = []
    for number, (name, chances) in enumerate(TREATMENTS.items()):
        for turn in range(fields):
            rng = np.random.default_rng([SEED, GROUNDS.index(ground), number, turn])
            plan = ground.plan(rng)
            made = render_treated(plan, chances, rng)
            views = [
                view_of(photo, f"{name}{turn}{when}", plan.um_per_px)
                for photo, when in ((made.before, "b"), (made.after, "a"))
            ]
            laid = lay_field(views[0], views[1], others=before[-3:])
            if before:  # two photos that are not of one field
                wrong = lay_field(before[-1], views[1], others=before[-4:-1])
                pairs["other field"] += 1
                pairs["other field joined"] += wrong.pose is not None
            before = [*before, views[0]][-4:]
            pairs[f"{name}"] += 1
            if laid.pose is None:
                pairs[f"{name} left out"] += 1
                continue
            middle = np.array([views[0].size_um]) / 2
            off.append(
                float(
                    np.hypot(*(laid.pose.outwards(middle) - true_pose(made).outwards(middle)).T)[0]
                )
            )
            found = follow(views[0], views[1], laid.pose)
            fates.append(compared(made, found, views[0].size_um).assign(treatment=name))
            fates[-1]["new"] = int((found["fate"] == NEW).sum())
    return pd.concat(fates, ignore_index=True), pairs, off


def tell(ground: Ground, fates: pd.DataFrame, pairs: Counter[str], off: Sequence[float]) -> None:
    """Print what became of a ground."""
    left = {name: pairs[f"{name} left out"] for name in TREATMENTS if pairs[f"{name} left out"]}
    own = fates[(fates["state"] == "intact") & (fates["called"] == "intact")]
    known = own[~own["found"].isin(UNMATCHED)]
    right = (known["true"] == known["found"]).mean()
    every = sum(pairs[name] for name in TREATMENTS)
    print(f"\n**{ground.name}**: {every} pairs, left out: {left or 'none'}; "
          f"{pairs['other field joined']} of {pairs['other field']} pairs of other fields joined; "
          f"places off by {np.median(off):.2f} um (median), {np.max(off):.2f} (most); "
          f"{len(known)} of {len(own)} matched, {100 * right:.1f} % of them rightly\n")  # fmt: skip
    print("\n".join(table(fates)), flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=6, help="of each treatment and ground")
    parser.add_argument("--grounds", type=int, nargs="*", default=range(len(GROUNDS)))
    given = parser.parse_args()
    for number in given.grounds:
        tell(GROUNDS[number], *run(GROUNDS[number], given.fields))


if __name__ == "__main__":
    main()
