"""Whether a person could count on a photo, and if not, what to do about it.

Each test looks at the examined part of the field only, in optical density, so that
neither the black around a round field nor the brightness of the lamp matters.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.field import Fitness
from sporecount.field.levels import level_percentile
from sporecount.field.shadows import only_shadows
from sporecount.settings import FieldSettings
from sporecount.threads import on_threads, side_by_side

#: Note for a clean photo: nothing in it, sharp or blurred.
NOTHING_TO_FOCUS_ON = "nothing in the picture to judge focus by"
#: Note for a clean photo through a dirty lens.
ONLY_SHADOWS = "only shadows of specks on the lens or camera: " + NOTHING_TO_FOCUS_ON

#: Pixels by which exposure is judged.
_EXPOSURE_SAMPLES = 60_000
#: Window over which an edge's height is taken, working pixels.
_REACH_PX = 13
_WINDOW = np.ones((_REACH_PX, _REACH_PX), np.uint8)
#: How near the unexamined an edge says nothing, and among which neighbours it is steepest.
_INNER, _CREST = np.ones((17, 17), np.uint8), np.ones((5, 5), np.uint8)
#: Side and number of the tiles on which focus is judged, working pixels.
_TILE_PX, _SHADE_TILE_PX, _TILES = 160, 48, 32
#: So many tiles are enough where their edges are sharper than need be by this much.
_FIRST_TILES, _CLEAR_EXCESS = 6, 0.055
#: Pixels along the side of a tile by which its contrast is judged, and every how manieth of
#: its pixels tells its noise.
_TILE_SAMPLES, _NOISE_STEP = 40, 13
#: Least height of an edge that says anything about focus, as a share of the light.
_LEAST_EDGE = 0.07
#: With this many times the least number of edges the first look is enough.
_PLENTY = 4
#: Alignment of edges that things lying at random reach by chance.
_CHANCE_ALIGNMENT = 0.3
#: Broad faint shades of objects far out of focus: least height as a share of the light,
#: how many count, and the sharpness and alignment that tell them from small sharp things
#: (on rendered photos blurred ones reach 0.20 and smeared ones no less than 0.40, good ones
#: no less than 0.33 and no more than 0.28).
_LEAST_SHADE, _LEAST_SHADES, _SHADES_SHARP, _SHADES_ALIGNED = 0.02, 16, 0.26, 0.36


def judge_fitness(
    work: NDArray[np.uint8],
    density: NDArray[np.float32],
    examined: NDArray[np.bool_],
    um_per_px: float,
    settings: FieldSettings,
) -> tuple[Fitness, tuple[str, ...]]:
    """Judge whether spores could be seen on a photo if there were any.

    Parameters
    ----------
    work : ndarray, shape (rows, columns, 3), uint8
        The photo at the working scale.
    density : ndarray, shape (rows, columns, 3), float32
        Its optical density.
    examined : ndarray, shape (rows, columns), bool
        The part that is sample.
    um_per_px : float
        Scale of the photo itself.
    settings : FieldSettings
        Limits.

    Returns
    -------
    fitness : Fitness
    notes : tuple of str
        What is worth knowing about a photo that was not refused.
    """
    seen = np.count_nonzero(examined)
    area_mm2 = float(seen) * (settings.work_um_per_px / 1000.0) ** 2
    measures = {"um_per_px": um_per_px, "examined_mm2": area_mm2}
    if um_per_px > settings.coarsest_um_per_px:
        return _refused(
            f"the photo is too coarse: a spore is under {12.5 / um_per_px:.1f} pixels long",
            "use a stronger objective, or send the photo in its original size",
            measures,
        ), ()
    measures["examined_share"] = seen / examined.size
    share = measures["examined_share"]
    if area_mm2 < settings.least_examined_mm2 or share < settings.least_examined_share:
        return _refused(
            "too little of the picture shows the sample",
            "centre the bright field in the picture and take the photo again",
            measures,
        ), ()
    exposure, focus = side_by_side(
        lambda: _exposure_measures(work, density, examined),
        lambda: _focus_measures(density[..., 1], examined, settings),
    )
    measures |= exposure | focus
    refusal = _exposure_refusal(measures, settings)
    if refusal is None:
        refusal = _focus_refusal(measures, settings)
        washed_out = _nearly_white(measures, settings)
        if refusal is not None and not washed_out and only_shadows(density, examined):
            # Blurred as they are, they lie elsewhere than the sample.
            return Fitness(True, "", "", measures), (ONLY_SHADOWS,)
    if refusal is not None:
        return _refused(*refusal, measures), ()
    nothing = measures["edges"] < settings.least_edges
    return Fitness(True, "", "", measures), (NOTHING_TO_FOCUS_ON,) if nothing else ()


def _refused(reason: str, remedy: str, measures: dict[str, float]) -> Fitness:
    return Fitness(False, reason, remedy, measures)


def _exposure_measures(
    work: NDArray[np.uint8], density: NDArray[np.float32], examined: NDArray[np.bool_]
) -> dict[str, float]:
    """Brightness of the field and how much of it is burnt out, veiled or black."""
    step = max(int(np.sqrt(examined.size / _EXPOSURE_SAMPLES)), 1)
    # Masks are quick on unbroken memory only.
    seen = np.ascontiguousarray(examined[::step, ::step])
    red, grey, blue = (np.ascontiguousarray(work[::step, ::step, c])[seen] for c in range(3))
    dark = np.ascontiguousarray(density[::step, ::step, 1])[seen]
    low = np.minimum(np.minimum(red, grey), blue)

    def share(mask: NDArray[np.bool_]) -> float:
        return np.count_nonzero(mask) / mask.size

    return {
        "brightness": level_percentile(grey, 80),
        "middle_brightness": level_percentile(grey, 50),
        "burnt_share": share(low >= 253),
        "opaque_share": share(dark > 0.6),
        "clear_share": share(np.abs(dark) < 0.06),
        "glare_share": share(dark < -0.12),
    }


def _focus_measures(
    green: NDArray[np.float32], examined: NDArray[np.bool_], settings: FieldSettings
) -> dict[str, float]:
    """How steep the steepest edges are for their height, overall and by direction.

    Where there are few edges to see, the picture may be clean, or so blurred that its
    objects are broad faint shades: a second look at a quarter of the scale tells.
    """
    tiles = _liveliest_tiles(green, examined, _TILE_PX)
    measures = _sharpness(green, examined, _LEAST_EDGE, tiles[:_FIRST_TILES])
    if _clearly_sharp(measures, settings):
        return measures
    measures = _sharpness(green, examined, _LEAST_EDGE, tiles)
    if measures["edges"] >= _PLENTY * settings.least_edges or min(green.shape) < 4 * _REACH_PX:
        return measures
    size = (green.shape[1] // 4, green.shape[0] // 4)
    shades = np.asarray(cv2.resize(green, size, interpolation=cv2.INTER_AREA), np.float32)
    seen = cv2.resize(examined.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    tiles = _liveliest_tiles(shades, seen, _SHADE_TILE_PX)
    coarse = _sharpness(shades, seen, _LEAST_SHADE, tiles)
    return measures | {f"coarse_{name}": value for name, value in coarse.items()}


def _clearly_sharp(measures: dict[str, float], settings: FieldSettings) -> bool:
    """Whether the few tiles looked at leave no doubt of the focus."""
    return (
        measures["edges"] >= _PLENTY * settings.least_edges
        and measures["sharpness"] >= settings.least_sharpness + _CLEAR_EXCESS
        and measures["alignment"] <= _CHANCE_ALIGNMENT
    )


def _sharpness(
    green: NDArray[np.float32],
    examined: NDArray[np.bool_],
    least: float,
    tiles: list[tuple[slice, slice]],
) -> dict[str, float]:
    """Sum up the sharpness of edges and how far they all run in one direction.

    A smear leaves only the edges that run along it. So may one fibre, but not in most
    tiles at once: alignment is the median over the tiles that hold edges.
    """
    found = on_threads(lambda tile: _edges(green[tile], examined[tile], least), tiles)
    ratio = np.concatenate([ratio for ratio, _ in found])
    measures = {"edges": float(len(ratio)), "sharpness": 0.0, "alignment": 0.0}
    if len(ratio):
        measures["sharpness"] = float(np.percentile(ratio, 90))
    turns = [np.exp(2j * angle).mean() for _, angle in found if len(angle) >= 6]
    if len(turns) >= 4:
        main = np.sum(turns) / max(abs(np.sum(turns)), 1e-9)
        measures["alignment"] = float(np.median([(turn * main.conjugate()).real for turn in turns]))
    return measures


def _liveliest_tiles(
    green: NDArray[np.float32], examined: NDArray[np.bool_], tile_px: int
) -> list[tuple[slice, slice]]:
    """Tiles with the most contrast: focus is judged by what there is to see."""
    step = max(tile_px // _TILE_SAMPLES, 1)
    seen = np.clip(green[::step, ::step], -0.2, 0.6) * examined[::step, ::step]
    side = tile_px // step
    tops, lefts = (np.arange(0, max(length - side // 2, 1), side) for length in seen.shape)
    bottoms, rights = np.minimum(tops + side, len(seen)), np.minimum(lefts + side, seen.shape[1])

    def means(up_to: NDArray[np.float64]) -> NDArray[np.float64]:
        below, above = up_to[bottoms], up_to[tops]
        sums = below[:, rights] - below[:, lefts] - above[:, rights] + above[:, lefts]
        return sums / np.outer(bottoms - tops, rights - lefts)

    total, squares = (np.asarray(sums, np.float64) for sums in cv2.integral2(seen))
    variance = means(squares) - means(total) ** 2
    liveliest = np.argsort(-variance, axis=None, kind="stable")[:_TILES]
    rows, columns = np.unravel_index(liveliest, variance.shape)
    corners = zip((step * tops[rows]).tolist(), (step * lefts[columns]).tolist())
    return [(slice(t, t + tile_px), slice(x, x + tile_px)) for t, x in corners]


def _edges(
    green: NDArray[np.float32], examined: NDArray[np.bool_], least: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return sharpness and direction of the edges in one tile.

    An edge that rises over w pixels has, per pixel, about 1 / w of its height: the ratio
    of the steepest slope to the local range is its sharpness, whatever its contrast.
    """
    inner = examined.view(np.uint8)
    # Most tiles are sample from edge to edge: nothing to erode.
    if cv2.countNonZero(inner) < inner.size:
        inner = np.asarray(cv2.erode(inner, _INNER), np.uint8)
        if not inner.any():
            return np.empty(0, np.float32), np.empty(0, np.float32)
    # Light, not density: noise is even in light, but grows without end in the dark.
    light = cv2.exp(green * np.float32(-np.log(10.0)))
    smooth = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.9), np.float32)
    rough = np.asarray(cv2.Laplacian(light, cv2.CV_32F), np.float32).ravel()[::_NOISE_STEP]
    noise = _median(np.abs(rough[inner.ravel()[::_NOISE_STEP] > 0])) / 3.0
    lowest, highest = cv2.erode(smooth, _WINDOW), cv2.dilate(smooth, _WINDOW)
    height = np.asarray(cv2.subtract(highest, lowest), np.float32)
    slope_x = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125), np.float32)
    slope_y = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125), np.float32)
    slope = np.asarray(cv2.magnitude(slope_x, slope_y), np.float32)
    crest = slope >= cv2.dilate(slope, _CREST)
    high = height > max(least, 8.0 * noise)
    edges = np.flatnonzero(crest & high & inner.view(bool))
    angle = np.arctan2(slope_y.ravel()[edges], slope_x.ravel()[edges]) % np.float32(np.pi)
    return slope.ravel()[edges] / height.ravel()[edges], angle


def _median(values: NDArray[np.float32]) -> float:
    """Median, 0 of nothing; numpy's own takes twice as long on so few values (measured)."""
    if not values.size:
        return 0.0
    middle = [(values.size - 1) // 2, values.size // 2]
    low, high = np.partition(values, middle)[middle]
    return float((low + high) / 2)


def _exposure_refusal(
    measures: dict[str, float], settings: FieldSettings
) -> tuple[str, str] | None:
    if measures["brightness"] < settings.least_brightness:
        return "the photo is too dark", "turn up the lamp or the exposure and take it again"
    if measures["burnt_share"] > settings.most_burnt_share:
        return (
            "most of the picture is burnt out to white",
            "turn down the lamp or the exposure and take it again",
        )
    return None


def _focus_refusal(measures: dict[str, float], settings: FieldSettings) -> tuple[str, str] | None:
    edges, shades = measures["edges"], measures.get("coarse_edges", 0.0)
    blurred = smeared = False
    if edges >= settings.least_edges:
        # Edges along a smear stay sharp: the more aligned they are, the sharper they must be.
        excess = max(measures["alignment"] - _CHANCE_ALIGNMENT, 0.0)
        limit = settings.least_sharpness + settings.smear_weight * excess
        blurred = measures["sharpness"] < limit
        smeared = blurred and excess > 0.1
    if shades >= _LEAST_SHADES:
        smeared |= measures["coarse_alignment"] > _SHADES_ALIGNED
        # Something sharp among things out of focus is enough to count by.
        blurred |= edges < settings.least_edges and measures["coarse_sharpness"] < _SHADES_SHARP
    if smeared:
        return (
            "the photo is smeared in one direction: the camera or the slide moved",
            "rest the camera on something firm, let the stage come to rest, take it again",
        )
    if blurred:
        return (
            "nothing in the picture is in focus",
            "turn the fine focus until the edges of dust or scales are crisp, take it again",
        )
    if edges < settings.least_edges and _nearly_white(measures, settings):
        return (
            "the picture is so bright that nothing would show in it",
            "turn down the lamp or the exposure, keep room light off the slide, take it again",
        )
    return None


def _nearly_white(measures: dict[str, float], settings: FieldSettings) -> bool:
    """Return whether most of the sample is: where light only falls off to the edges, it is not."""
    return measures["middle_brightness"] > settings.most_blank_brightness
