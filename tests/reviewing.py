"""Rendered photos, and a person who reviews them by the truth: for tests and benchmarks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from sporecount.counting import PhotoCount, count_photo
from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.detect.table import SPORE_STATES
from sporecount.photo.photo import Photo
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.render.truth import to_be_found
from sporecount.review.actions import Action
from sporecount.review.record import Counted, Review
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

Pixels = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class Drawn:
    """A rendered photo, counted, with its truth."""

    name: str
    photo: Photo
    counted: PhotoCount
    truth: pd.DataFrame
    um_per_px: float

    @property
    def examined_mm2(self) -> float:
        return self.counted.field.examined_mm2


def drawn(
    condition: str,
    seed: int,
    size: tuple[int, int] = (900, 700),
    shifted: Pixels = lambda pixels: pixels,
    settings: Settings | None = None,
    microscope: int | None = None,
    blank: bool = False,
) -> Drawn:
    """Draw and count a photo; ``shifted`` makes another microscope's of it.

    Photos of one ``microscope`` share its scale, light, optics, camera and kind of spore.
    """
    rng = np.random.default_rng([91_733, seed])
    plan = condition_plan(condition, rng, size)
    if microscope is not None:
        own = condition_plan(condition, np.random.default_rng([5_113, microscope]), size)
        spores = replace(plan.spores, look=own.spores.look, style=own.spores.style)
        plan = replace(own, clutter=plan.clutter, spores=spores)
    if blank:
        plan = replace(plan, spores=replace(plan.spores, count=0, per_mm2=0.0, broken=0.0))
    picture = render(plan, rng)
    scale = Calibration(picture.plan.um_per_px, "drawn")
    name = f"{condition}-{seed}{'-blank' if blank else ''}"
    photo = Photo(name, shifted(picture.pixels), sha256=f"{name:0<64}")
    counted = count_photo(photo, scale, settings)
    return Drawn(name, photo, counted, picture.truth, scale.um_per_px)


def seen_truth(one: Drawn) -> pd.DataFrame:
    """Return what a person sees: what can be seen, and what is there where the tool marks it."""
    truth = one.truth.reset_index(drop=True)
    visible = to_be_found(truth).copy()
    faint = np.flatnonzero(~visible & truth["in_field"].to_numpy(bool))
    found = one.counted.detections[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2)
    within = WITHIN_UM / one.um_per_px
    left = match_centres(found, places(truth[visible]), within).found_left
    marked = faint[match_centres(found[left], places(truth.iloc[faint]), within).true]
    visible[marked] = True
    return truth[visible].reset_index(drop=True)


def places(table: pd.DataFrame) -> np.ndarray:
    """Return centres, shape (k, 2)."""
    return table[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2)


def spores_in(table: pd.DataFrame) -> int:
    """Return how many spores a table holds."""
    return int(table["state"].isin(SPORE_STATES).sum())


def actions_by_truth(one: Drawn, truth: pd.DataFrame | None = None) -> dict[str, list[Action]]:
    """Return what a person does: by the id of a detection, and under ``""`` what is added."""
    truth = seen_truth(one) if truth is None else truth
    found = one.counted.detections
    pairs = match_centres(places(found), places(truth), WITHIN_UM / one.um_per_px)
    states = truth["state"].to_numpy(object)
    said: dict[str, list[Action]] = {"": []}
    for row in pairs.found_left.tolist():
        said[f"t{row + 1}"] = [Action("reject", (f"t{row + 1}",))]
    for row, true in zip(pairs.found.tolist(), pairs.true.tolist()):
        name, same = f"t{row + 1}", found["state"].iat[row] == states[true]
        kind = "confirm" if same else "state"
        said[name] = [Action(kind, (name,), state=None if same else str(states[true]))]
    for number, true in enumerate(pairs.true_left.tolist(), start=1):
        said[""].append(Action("add", made=(new_row(f"p{number}", truth.iloc[true]),)))
    return said


def new_row(name: str, true: pd.Series) -> dict[str, Any]:
    """Return the row of one that a person adds."""
    x, y = float(true["x_px"]), float(true["y_px"])
    return {"id": name, "x_px": x, "y_px": y, "state": str(true["state"])}


def review_in_full(one: Drawn, who: str = "Ann") -> Review:
    """Return the review of a person who looks through the whole photo, and is right."""
    actions = [action for each in actions_by_truth(one).values() for action in each]
    facts = {"summary": {"examined_mm2": one.examined_mm2}}
    counted = Counted(one.counted.detections, one.um_per_px, facts)
    sha256 = f"{one.name:0<64}"
    return Review(one.name, sha256, who, counted, (*actions, Action("close")))
