"""One field of a slide, photographed before and after treatment, with each spore's fate known."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.render.compose.absorb import compose_absorb
from sporecount.render.compose.place import Placed
from sporecount.render.compose.plan import ComposePlan
from sporecount.render.conditions import USUAL_CLUTTER
from sporecount.render.drawn import Drawn
from sporecount.render.plan import ClutterPlan, PicturePlan, SporePlan
from sporecount.render.scatter import Site, cluster_sites, scatter
from sporecount.render.spores.draw import draw_fragments, draw_spore
from sporecount.render.spores.look import SporeLook
from sporecount.render.tape import SessionLook, TapePhoto, TapePlan, photograph
from sporecount.render.truth import make_truth

#: What can become of a spore; the last three in the order of :class:`Chances`.
FATES = ("intact", "damaged", "fragment", "gone")

#: Columns of the truth of a field: a row for each spore that lay there before, places in um
#: from the corner of the drawn ground.
TREATED_COLUMNS = ("x_um", "y_um", "state", "fate", "contrast", "covered")

#: Largest error with which a stage is brought back to a place, um, and strip drawn about it.
_SHIFT_UM, _MARGIN_UM = 45.0, 75.0


@dataclass(frozen=True)
class Chances:
    """Chances that an intact spore is damaged, falls to pieces, or is gone afterwards."""

    damaged: float = 0.0
    fragment: float = 0.0
    gone: float = 0.0

    @property
    def all(self) -> NDArray[np.float64]:
        """Chances in the order of :data:`FATES`."""
        harmed = [self.damaged, self.fragment, self.gone]
        return np.array([1 - sum(harmed), *harmed])


@dataclass(frozen=True)
class TreatedPlan:
    """Everything but chance about a field.

    Attributes
    ----------
    photo_px : tuple of int
        (width, height) of each photo.
    um_per_px : float
        Scale of the photos.
    spores_per_mm2 : float
        Mean number of spores on a square millimetre.
    damaged : float
        Share of them that is damaged before.
    clumped : float
        Share that lies in clusters.
    clutter : tuple of (str, float)
        Kinds of clutter and how many of each lie on a square millimetre.
    washed : float
        Share of the clutter that is no longer there afterwards.
    settled : float
        New clutter, as a share of what was there.
    turn_deg : float
        Largest turn between the two photos.
    dirt : int
        Specks on the sensor or lens: they stay in place.
    uneven : float
        How much brightness, white balance and light differ from photo to photo.
    style : str
        Drawing style of the spores.
    look : SporeLook
        Their base look.
    camera_seed : int or None
        The same for fields photographed by one camera: its light, optics and dirt.
    """

    photo_px: tuple[int, int] = (1000, 750)
    um_per_px: float = 0.6
    spores_per_mm2: float = 110.0
    damaged: float = 0.04
    clumped: float = 0.2
    clutter: tuple[tuple[str, float], ...] = USUAL_CLUTTER
    washed: float = 0.1
    settled: float = 0.1
    turn_deg: float = 2.0
    dirt: int = 0
    uneven: float = 1.0
    style: str = "profile"
    look: SporeLook = field(default_factory=SporeLook)
    camera_seed: int | None = None


@dataclass(frozen=True, eq=False)
class TreatedField:
    """Two photos of one field and what became of its spores.

    Attributes
    ----------
    before, after : TapePhoto
        The photos, with their places on the drawn ground.
    truth : DataFrame
        Columns :data:`TREATED_COLUMNS`.
    """

    before: TapePhoto
    after: TapePhoto
    truth: pd.DataFrame


def render_treated(plan: TreatedPlan, chances: Chances, rng: np.random.Generator) -> TreatedField:
    """Draw a field, treat it, and photograph it before and after.

    Parameters
    ----------
    plan : TreatedPlan
        Everything but chance.
    chances : Chances
        What treatment does to intact spores; damaged ones stay as they are or are gone.
    rng : Generator
        Source of chance.

    Examples
    --------
    >>> made = render_treated(TreatedPlan((200, 150)), Chances(gone=1.0), np.random.default_rng(1))
    >>> made.after.pixels.shape, set(made.truth.loc[made.truth["state"] == "intact", "fate"])
    ((150, 200, 3), {'gone'})
    """
    shape = tuple(int(np.ceil(n + 2 * _MARGIN_UM / plan.um_per_px)) for n in plan.photo_px[::-1])
    ground = (shape[0], shape[1])
    lying = _spores(plan, ground, rng)
    litter, later = _litter(plan, ground, rng)
    fates = [_fate(one.state, chances, rng) for one in lying]
    changed = [
        _treated(one, fate, plan, ground, rng) for one, fate in zip(lying, fates, strict=True)
    ]
    first = [one.placed for one in lying]
    light, contrast, covered = _lit(litter, first, ground, plan.um_per_px)
    light_after, _, _ = _lit(later, [p for own in changed for p in own], ground, plan.um_per_px)
    tape = TapePlan(
        (1, 1), photo_px=plan.photo_px, um_per_px=plan.um_per_px, dirt=plan.dirt, uneven=plan.uneven
    )
    camera = rng if plan.camera_seed is None else np.random.default_rng(plan.camera_seed)
    look = SessionLook.draw(camera, tape)
    places = _places(plan, rng)
    photos = [
        TapePhoto(photograph(one, tape, look, place, rng), *place)
        for one, place in zip((light, light_after), places, strict=True)
    ]
    truth = pd.DataFrame(
        {
            "x_um": [(one.x_px + 0.5) * plan.um_per_px for one in first],
            "y_um": [(one.y_px + 0.5) * plan.um_per_px for one in first],
            "state": [one.state for one in lying],
            "fate": fates,
            "contrast": contrast,
            "covered": covered,
        },
        columns=list(TREATED_COLUMNS),
    )
    return TreatedField(photos[0], photos[1], truth)


@dataclass(frozen=True, eq=False)
class _Lying:
    """A spore before treatment."""

    site: Site
    state: str
    placed: Placed


def _spores(plan: TreatedPlan, ground: tuple[int, int], rng: np.random.Generator) -> list[_Lying]:
    """Draw the spores that lie there before."""
    size_um = (ground[1] * plan.um_per_px, ground[0] * plan.um_per_px)
    number = int(rng.poisson(plan.spores_per_mm2 * size_um[0] * size_um[1] / 1e6))
    spores = SporePlan(style=plan.style, look=plan.look, clumped=plan.clumped)
    lying = []
    for site in cluster_sites(rng, number, size_um, spores):
        state = "damaged" if rng.random() < plan.damaged else "intact"
        drawn = draw_spore(
            rng, plan.um_per_px, site.look, state, plan.style, angle_deg=site.angle_deg
        )
        placed = _put(drawn, site.x_um, site.y_um, site.depth, plan.um_per_px)
        if 0 <= placed.x_px <= ground[1] - 1 and 0 <= placed.y_px <= ground[0] - 1:
            lying.append(_Lying(site, state, placed))
    return lying


def _litter(
    plan: TreatedPlan, ground: tuple[int, int], rng: np.random.Generator
) -> tuple[list[Placed], list[Placed]]:
    """Return clutter before, and what lies there afterwards."""
    spores = SporePlan(plan.style, plan.look, count=0)
    clutter, fresh = (
        scatter(
            rng,
            PicturePlan(
                (ground[1], ground[0]), plan.um_per_px, spores,
                ClutterPlan(tuple((kind, rate * share) for kind, rate in plan.clutter)),
            ),
            ground,
            plan.um_per_px,
        )
        for share in (1.0, plan.settled)
    )  # fmt: skip
    stays = rng.random(len(clutter)) >= plan.washed
    return clutter, [one for one, kept in zip(clutter, stays, strict=True) if kept] + fresh


def _fate(state: str, chances: Chances, rng: np.random.Generator) -> str:
    if state != "intact":
        return "gone" if rng.random() < chances.gone else state
    return str(rng.choice(FATES, p=chances.all))


def _treated(
    one: _Lying, fate: str, plan: TreatedPlan, ground: tuple[int, int], rng: np.random.Generator
) -> list[Placed]:
    """Return what is left of a spore."""
    site = one.site
    if fate == "gone":
        return []
    if fate == one.state:
        return [one.placed]
    if fate == "damaged":
        drawn = draw_spore(
            rng, plan.um_per_px, site.look, fate, plan.style, angle_deg=site.angle_deg
        )
        return [_put(drawn, site.x_um, site.y_um, site.depth, plan.um_per_px)]
    return [
        _put(piece, site.x_um + dx, site.y_um + dy, site.depth, plan.um_per_px)
        for piece, (dx, dy) in draw_fragments(rng, plan.um_per_px, site.look, plan.style)
    ]


def _put(drawn: Drawn, x_um: float, y_um: float, depth: float, um_per_px: float) -> Placed:
    """Lay an object on whole pixels, next to where it was wanted, 0 being the outer edge."""
    left = round(x_um / um_per_px - 0.5 - drawn.centre_px[0])
    top = round(y_um / um_per_px - 0.5 - drawn.centre_px[1])
    return Placed(drawn, left, top, depth)


def _lit(
    litter: list[Placed], spores: list[Placed], ground: tuple[int, int], um_per_px: float
) -> tuple[NDArray[np.float32], list[float], list[float]]:
    """Return the ground's light, and each spore's contrast and covered share."""
    composed = compose_absorb([*litter, *spores], ground, um_per_px, ComposePlan("absorb"))
    numbered = list(enumerate(spores, len(litter)))
    inside = [
        (n, one)
        for n, one in numbered
        if 0 <= one.x_px <= ground[1] - 1 and 0 <= one.y_px <= ground[0] - 1
    ]
    xy = np.array([[one.x_px, one.y_px] for _, one in inside]).reshape(-1, 2)
    truth = make_truth(
        inside, xy, xy, composed.light, composed.bare, composed.cover,
        np.ones(ground, bool), np.zeros(ground, bool),
    )  # fmt: skip
    return composed.light, truth["contrast"].tolist(), truth["covered"].tolist()


def _places(plan: TreatedPlan, rng: np.random.Generator) -> list[tuple[float, float, float]]:
    """Return (x_um, y_um, angle_deg) of both photos; the second is shifted and turned a little."""
    width, height = (n * plan.um_per_px for n in plan.photo_px)
    angle = float(rng.uniform(-plan.turn_deg, plan.turn_deg))
    dx, dy = rng.uniform(-_SHIFT_UM, _SHIFT_UM, 2)
    matrix = cv2.getRotationMatrix2D((0.0, 0.0), -angle, 1.0)[:, :2]
    middle = np.array([width, height]) / 2
    turned = matrix @ middle
    shifted = np.array([_MARGIN_UM, _MARGIN_UM]) + middle - turned + (dx, dy)
    return [(_MARGIN_UM, _MARGIN_UM, 0.0), (float(shifted[0]), float(shifted[1]), angle)]
