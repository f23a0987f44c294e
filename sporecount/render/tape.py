"""One tape, drawn once and cut into overlapping photos, with truth in the tape's coordinates."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.errors import SettingsError
from sporecount.render.camera import CameraPlan, compressed, develop, expose
from sporecount.render.compose.absorb import compose_absorb
from sporecount.render.compose.plan import ComposePlan
from sporecount.render.conditions import USUAL_CLUTTER
from sporecount.render.light import LightPlan, illuminate
from sporecount.render.optics import OpticsPlan, through_lens
from sporecount.render.plan import ClutterPlan, PicturePlan, SporePlan
from sporecount.render.scatter import scatter
from sporecount.render.truth import make_truth


@dataclass(frozen=True)
class TapePlan:
    """Everything but chance about the photos of one tape.

    Attributes
    ----------
    grid : tuple of int
        Photos beside and above each other.
    photo_px : tuple of int
        (width, height) of each photo.
    um_per_px : float
        Scale of the photos.
    overlap : float
        Share of a photo's side that it has in common with the next one; negative
        leaves a gap.
    jitter : float
        Largest error of a photo's place, as a share of its side.
    turn_deg : float
        Largest rotation of a photo.
    spores_per_mm2 : float
        Mean number of spores on a square millimetre.
    clutter : tuple of (str, float)
        Kinds of clutter and how many of each lie on a square millimetre.
    clumped : float
        Share of the spores that lies in clusters.
    dirt : int
        Specks on the sensor or lens: they stay in place in every photo.
    uneven : float
        How much brightness, white balance and light differ from photo to photo.
    """

    grid: tuple[int, int] = (3, 3)
    photo_px: tuple[int, int] = (1000, 750)
    um_per_px: float = 0.9
    overlap: float = 0.25
    jitter: float = 0.02
    turn_deg: float = 2.0
    spores_per_mm2: float = 60.0
    clutter: tuple[tuple[str, float], ...] = USUAL_CLUTTER
    clumped: float = 0.25
    dirt: int = 0
    uneven: float = 1.0

    def __post_init__(self) -> None:
        if not self.overlap < 0.95:
            raise SettingsError(
                f"overlap {self.overlap!r}",
                "photos that overlap by more than 0.95 show one view",
                "give a share such as 0.25",
            )


@dataclass(frozen=True, eq=False)
class TapePhoto:
    """One photo cut from the tape.

    Attributes
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        RGB.
    x_um, y_um, angle_deg : float
        Where its top-left corner lies on the drawn tape, and how it is turned:
        ``tape = turn(angle_deg) @ photo + (x_um, y_um)``, all in um from the corner.
    """

    pixels: NDArray[np.uint8]
    x_um: float
    y_um: float
    angle_deg: float


@dataclass(frozen=True, eq=False)
class RenderedTape:
    """The photos of one tape and what lies on it.

    Attributes
    ----------
    photos : list of TapePhoto
        Row by row.
    truth : DataFrame
        As `sporecount.render.truth.make_truth` gives it for the whole drawn tape, with
        ``x_um`` and ``y_um`` from its corner.
    plan : TapePlan
        What it was made from.
    """

    photos: list[TapePhoto]
    truth: pd.DataFrame
    plan: TapePlan


#: Strip of tape beyond the outermost photos, um: a turned photo must not leave the drawing.
_MARGIN_UM = 60.0


def render_tape(plan: TapePlan, rng: np.random.Generator) -> RenderedTape:
    """Draw a tape and photograph it.

    Parameters
    ----------
    plan : TapePlan
        Everything but chance.
    rng : Generator
        Source of chance.

    Examples
    --------
    >>> made = render_tape(TapePlan((2, 1), (80, 60)), np.random.default_rng(1))
    >>> len(made.photos), made.photos[0].pixels.shape
    (2, (60, 80, 3))
    """
    places = _places(plan, rng)
    size_um = _extent_um(plan, places)
    shape = (int(np.ceil(size_um[1] / plan.um_per_px)), int(np.ceil(size_um[0] / plan.um_per_px)))
    picture = PicturePlan(
        size_px=(shape[1], shape[0]),
        um_per_px=plan.um_per_px,
        spores=SporePlan(per_mm2=plan.spores_per_mm2, clumped=plan.clumped, broken=0.02),
        clutter=ClutterPlan(plan.clutter, over=0.3, most=20_000),
        compose=ComposePlan("absorb"),
    )
    placed = scatter(rng, picture, shape, plan.um_per_px)
    composed = compose_absorb(placed, shape, plan.um_per_px, picture.compose)
    spores = [(number, one) for number, one in enumerate(placed) if one.is_spore]
    xy = np.array([[one.x_px, one.y_px] for _, one in spores]).reshape(-1, 2)
    truth = make_truth(
        spores, xy, xy, composed.light, composed.bare, composed.cover,
        np.ones(shape, bool), np.zeros(shape, bool),
    )  # fmt: skip
    truth["x_um"] = (truth["x_px"] + 0.5) * plan.um_per_px
    truth["y_um"] = (truth["y_px"] + 0.5) * plan.um_per_px
    look = SessionLook.draw(rng, plan)
    photos = [
        TapePhoto(photograph(composed.light, plan, look, place, rng), *place) for place in places
    ]
    return RenderedTape(photos, truth, plan)


@dataclass(frozen=True, eq=False)
class SessionLook:
    """What stays the same in every photo of a session."""

    light: LightPlan
    camera: CameraPlan
    optics: OpticsPlan
    dirt: NDArray[np.float32] = field(repr=False)

    @staticmethod
    def draw(rng: np.random.Generator, plan: TapePlan) -> SessionLook:
        """Draw the microscope and camera of a session."""
        shape = (plan.photo_px[1], plan.photo_px[0])
        dirt = illuminate(
            rng, shape, plan.um_per_px, LightPlan(vignette=0, mottle=0, sensor_dust=plan.dirt)
        ).light[..., 0]
        light = LightPlan(vignette=float(rng.uniform(0.05, 0.25)), haze=float(rng.uniform(0, 0.05)))
        camera = CameraPlan(
            exposure=float(rng.uniform(0.65, 0.8)),
            shot=float(rng.uniform(0.006, 0.02)),
            read=float(rng.uniform(0.002, 0.006)),
            sharpen=float(rng.uniform(0.0, 0.6)),
        )
        return SessionLook(light, camera, OpticsPlan(blur_px=float(rng.uniform(0.5, 0.9))), dirt)


def photograph(
    light: NDArray[np.float32],
    plan: TapePlan,
    look: SessionLook,
    place: tuple[float, float, float],
    rng: np.random.Generator,
) -> NDArray[np.uint8]:
    """Return one photo, shape (height, width, 3), of the tape's light.

    Parameters
    ----------
    light : ndarray, shape (rows, columns, 3), float32
        The tape's light, 1 where clear.
    plan : TapePlan
        Size, scale, and how light differs from photo to photo.
    look : SessionLook
        What all photos have in common.
    place : tuple of float
        (x_um, y_um, angle_deg) of its top-left corner.
    rng : Generator
        Source of chance.
    """
    turn = np.radians(place[2])
    c, s = np.cos(turn), np.sin(turn)
    # Pixel centres lie half a pixel from the corner in both frames.
    half = 0.5 * np.array([c - s - 1, s + c - 1])
    x, y = np.array(place[:2]) / plan.um_per_px + half
    seen = cv2.warpAffine(
        light,
        np.array([[c, -s, x], [s, c, y]]),
        plan.photo_px,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REFLECT_101,
    )
    u = plan.uneven
    own = replace(
        look.light,
        gradient=(float(rng.normal(0, 0.06 * u)), float(rng.normal(0, 0.06 * u))),
        mottle=0.01 * u,
        mottle_px=float(rng.uniform(100, 300)),
    )
    lit = illuminate(rng, (plan.photo_px[1], plan.photo_px[0]), plan.um_per_px, own)
    balance = np.exp(rng.normal(0, 0.03 * u, 3))
    camera = replace(
        look.camera,
        exposure=float(look.camera.exposure * np.exp(rng.normal(0, 0.1 * u))),
        white_balance=(float(balance[0]), float(balance[1]), float(balance[2])),
        gamma=float(2.1 + 0.08 * u * rng.normal()),
    )
    formed = through_lens(
        np.clip(np.asarray(seen, np.float32), 0, 4) * lit.light * look.dirt[..., None] + lit.glare,
        look.optics,
    )
    return compressed(develop(rng, expose(formed, camera), camera), int(rng.integers(85, 96)))


def _places(plan: TapePlan, rng: np.random.Generator) -> list[tuple[float, float, float]]:
    """Return (x_um, y_um, angle_deg) of each photo, row by row, margins included."""
    width, height = (n * plan.um_per_px for n in plan.photo_px)
    start = _MARGIN_UM + 0.06 * max(width, height)
    places = []
    for row in range(plan.grid[1]):
        for column in range(plan.grid[0]):
            angle = float(rng.uniform(-plan.turn_deg, plan.turn_deg))
            dx, dy = rng.uniform(-plan.jitter, plan.jitter, 2)
            # The photo is turned about its middle, so that overlaps stay what was asked for.
            middle = np.array([width, height]) / 2
            c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
            turned = np.array([[c, -s], [s, c]]) @ middle
            x = start + (column * (1 - plan.overlap) + dx) * width + middle[0] - turned[0]
            y = start + (row * (1 - plan.overlap) + dy) * height + middle[1] - turned[1]
            places.append((float(x), float(y), angle))
    return places


def _extent_um(plan: TapePlan, places: list[tuple[float, float, float]]) -> NDArray[np.float64]:
    """Return (width, height) of the tape that has to be drawn."""
    width, height = (n * plan.um_per_px for n in plan.photo_px)
    reach = np.zeros(2)
    for x, y, angle in places:
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        corners = np.array([[0, 0], [width, 0], [0, height], [width, height]])
        reach = np.maximum(reach, (corners @ np.array([[c, s], [-s, c]]) + (x, y)).max(axis=0))
    return reach + _MARGIN_UM
