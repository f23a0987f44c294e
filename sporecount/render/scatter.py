"""Where things lie: spores alone and in clusters, pieces, clutter under and over them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.lookalike import looks_like_spore
from sporecount.render.clutter.registry import KINDS, draw_clutter
from sporecount.render.compose.place import Placed, window
from sporecount.render.drawn import Drawn, DrawnSpore
from sporecount.render.plan import FocusPlan, PicturePlan, SporePlan
from sporecount.render.spores.draw import draw_fragments, draw_spore
from sporecount.render.spores.look import SporeLook, vary_look

#: Strip about the picture from which things reach into it, um: spores, clutter, long clutter.
SPORE_MARGIN_UM, CLUTTER_MARGIN_UM, LONG_MARGIN_UM = 8.0, 15.0, 80.0

#: Families of clutter whose members are up to half a millimetre long.
LONG_FAMILIES = ("scales", "fibres")

#: Long clutter is drawn no finer than this and then enlarged, um per pixel.
FINEST_LONG_UM_PER_PX = 0.5

#: Share of broken spores of which only a piece or two stayed where they broke.
STRAYS = 0.12

#: The more objects of a kind a picture has, the fewer are drawn anew: with so many known,
#: every second one is.
ALWAYS_NEW = 1.5

#: Spread of the stretch, as a logarithm, of what is drawn once more.
STRETCH = 0.12

#: Gap between neighbours of a cluster that do not touch, um.
APART_UM = (1.0, 6.0)

#: Attempts to find a free place beside a neighbour.
TRIES = 14


#: Clutter with a longer side can have spores on it; they lie up to half so far beyond its box, um.
LEAST_HOST_UM, RIM_UM = 12.0, 10.0

#: Centres, widths and heights of things on a canvas, um, shape (n, 4).
Boxes = NDArray[np.float64]

#: A piece of a broken spore, and where it lies about the place where that was, um.
Piece = tuple[DrawnSpore, tuple[float, float]]


@dataclass(frozen=True)
class Site:
    """Where one spore goes, before it is drawn."""

    x_um: float
    y_um: float
    angle_deg: float
    look: SporeLook
    depth: float

    @property
    def half_um(self) -> tuple[float, float]:
        """Half the length and half the width."""
        return self.look.length_um / 2, self.look.length_um * self.look.slenderness / 2


def scatter(
    rng: np.random.Generator, plan: PicturePlan, shape: tuple[int, int], um_per_px: float
) -> list[Placed]:
    """Place everything on a canvas.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    plan : PicturePlan
        What lies there.
    shape : tuple of int
        (height, width) of the canvas.
    um_per_px : float
        Scale of the canvas.

    Returns
    -------
    list of Placed
        From the lowest to the topmost.
    """
    clutter = _scatter_clutter(rng, plan, shape, um_per_px)
    over = rng.random(len(clutter)) < plan.clutter.over
    spores = _scatter_spores(rng, plan, shape, um_per_px, _hosts(clutter, um_per_px))
    under = [one for one, high in zip(clutter, over) if not high]
    above = [one for one, high in zip(clutter, over) if high]
    return under + spores + above


def _hosts(clutter: list[Placed], um_per_px: float) -> Boxes:
    """Return the boxes of the clutter that is large enough for a spore to lie on or at."""
    boxes = np.array([(one.x_px, one.y_px, *one.drawn.density.shape[1::-1]) for one in clutter])
    boxes = boxes.reshape(-1, 4) * um_per_px
    return boxes[boxes[:, 2:].max(axis=1) >= LEAST_HOST_UM]


def _scatter_spores(
    rng: np.random.Generator,
    plan: PicturePlan,
    shape: tuple[int, int],
    um_per_px: float,
    hosts: Boxes,
) -> list[Placed]:
    """Draw and place spores and pieces."""
    spores = plan.spores
    size_um = (shape[1] * um_per_px, shape[0] * um_per_px)
    mean = spores.per_mm2 * size_um[0] * size_um[1] / 1e6
    count = spores.count if spores.count is not None else int(rng.poisson(mean))
    sites = cluster_sites(rng, count, size_um, spores, hosts)
    placed = []
    for site in sites:
        state = "damaged" if rng.random() < spores.damaged else "intact"
        drawn = draw_spore(rng, um_per_px, site.look, state, spores.style, angle_deg=site.angle_deg)
        placed.append(_put(drawn, site.x_um, site.y_um, site.depth, plan.focus, shape, um_per_px))
    known: list[list[Piece]] = []
    expected = count * spores.broken / (1 - min(spores.broken, 0.9))
    for site in cluster_sites(rng, int(rng.poisson(expected)), size_um, spores, hosts):
        pieces = _broken(rng, um_per_px, site.look, spores.style, known)
        if rng.random() < STRAYS:
            pieces = pieces[: int(rng.integers(1, 3))]
        for drawn, (dx_um, dy_um) in pieces:
            x_um, y_um = site.x_um + dx_um, site.y_um + dy_um
            placed.append(_put(drawn, x_um, y_um, site.depth, plan.focus, shape, um_per_px))
    return placed + _edge_spores(rng, count, plan, shape, um_per_px)


def _broken(
    rng: np.random.Generator,
    um_per_px: float,
    look: SporeLook,
    style: str,
    known: list[list[Piece]],
) -> list[Piece]:
    """Return the pieces of one more broken spore: new ones, or known ones turned by half."""
    if rng.random() * (len(known) + ALWAYS_NEW) >= len(known):
        known.append(draw_fragments(rng, um_per_px, look, style))
        return known[-1]
    return [
        (
            replace(
                piece,
                density=np.ascontiguousarray(piece.density[::-1, ::-1]),
                centre_px=(
                    piece.density.shape[1] - 1 - piece.centre_px[0],
                    piece.density.shape[0] - 1 - piece.centre_px[1],
                ),
            ),
            (-dx_um, -dy_um),
        )
        for piece, (dx_um, dy_um) in known[int(rng.integers(len(known)))]
    ]


def _edge_spores(
    rng: np.random.Generator,
    count: int,
    plan: PicturePlan,
    shape: tuple[int, int],
    um_per_px: float,
) -> list[Placed]:
    """Draw spores centred just outside the picture, cut by its edge."""
    width, height = shape[1] * um_per_px, shape[0] * um_per_px
    wide = (width + 2 * SPORE_MARGIN_UM) * (height + 2 * SPORE_MARGIN_UM)
    placed = []
    for _ in range(rng.poisson(count * (wide / (width * height) - 1))):
        x_um = rng.uniform(-SPORE_MARGIN_UM, width + SPORE_MARGIN_UM)
        y_um = rng.uniform(-SPORE_MARGIN_UM, height + SPORE_MARGIN_UM)
        side = int(rng.integers(4))
        # Half a spore's smallest width keeps the centre outside after any distortion.
        beyond = float(rng.uniform(2.0, SPORE_MARGIN_UM))
        if side < 2:
            x_um = -beyond if side == 0 else width + beyond
        else:
            y_um = -beyond if side == 2 else height + beyond
        look = vary_look(rng, plan.spores.look)
        drawn = draw_spore(rng, um_per_px, look, "intact", plan.spores.style)
        depth = float(rng.normal())
        placed.append(_put(drawn, float(x_um), float(y_um), depth, plan.focus, shape, um_per_px))
    return placed


def cluster_sites(
    rng: np.random.Generator,
    count: int,
    size_um: tuple[float, float],
    spores: SporePlan,
    hosts: Boxes | None = None,
) -> list[Site]:
    """Return the places of exactly ``count`` spores within (width, height) um.

    Some clusters, and spores by themselves, lie on or at one of the ``hosts``, if
    ``spores.on_litter`` says so.
    """
    sites: list[Site] = []
    while len(sites) < count:
        members = 1
        if rng.random() < spores.clumped:
            low, high = np.log(spores.clump_size[0]), np.log(spores.clump_size[1] + 1)
            members = int(np.exp(rng.uniform(low, high)))
        first = _lone_site(rng, size_um, spores.look)
        if hosts is not None and len(hosts) and spores.on_litter > 0:
            first = _moved_onto(rng, first, hosts, size_um, spores.on_litter)
        cluster = [first]
        while len(cluster) < min(members, count - len(sites)):
            beside = _site_beside(rng, cluster, size_um, spores)
            if beside is None:
                break
            cluster.append(beside)
        sites += cluster
    return sites


def _lone_site(rng: np.random.Generator, size_um: tuple[float, float], look: SporeLook) -> Site:
    return Site(
        float(rng.uniform(0, size_um[0])),
        float(rng.uniform(0, size_um[1])),
        float(rng.uniform(0, 180)),
        vary_look(rng, look),
        float(rng.normal()),
    )


def _moved_onto(
    rng: np.random.Generator, site: Site, hosts: Boxes, size_um: tuple[float, float], share: float
) -> Site:
    """Return a site on a host or at its rim, in so great a share; else the site as it is."""
    if rng.random() >= share:
        return site
    x, y, wide, high = hosts[int(rng.integers(len(hosts)))]
    x += rng.uniform(-0.5, 0.5) * (wide + RIM_UM)
    y += rng.uniform(-0.5, 0.5) * (high + RIM_UM)
    if not (0 <= x <= size_um[0] and 0 <= y <= size_um[1]):
        return site
    return replace(site, x_um=float(x), y_um=float(y))


def _site_beside(
    rng: np.random.Generator, cluster: list[Site], size_um: tuple[float, float], spores: SporePlan
) -> Site | None:
    """Return a free place beside a member of a cluster, or None where none was found."""
    look = vary_look(rng, spores.look)
    x, y = np.array([one.x_um for one in cluster]), np.array([one.y_um for one in cluster])
    angles = np.array([one.angle_deg for one in cluster])
    halves = np.array([one.half_um for one in cluster])
    own = (look.length_um / 2, look.length_um * look.slenderness / 2)
    for _ in range(TRIES):
        host = cluster[int(rng.integers(len(cluster)))]
        if rng.random() < spores.side_by_side:
            angle = host.angle_deg + float(rng.normal(0, 10))
            towards = host.angle_deg + float(rng.choice([-90.0, 90.0])) + float(rng.normal(0, 12))
        else:
            angle, towards = float(rng.uniform(0, 180)), float(rng.uniform(0, 360))
        touching = rng.random() < spores.touching
        gap = float(rng.uniform(-0.3, 0.4)) if touching else float(rng.uniform(*APART_UM))
        gap -= spores.pile * own[1]
        reach = _radius(host.half_um, towards - host.angle_deg) + _radius(own, towards - angle)
        nx = host.x_um + (reach + gap) * np.cos(np.radians(towards))
        ny = host.y_um + (reach + gap) * np.sin(np.radians(towards))
        if not (0 <= nx < size_um[0] and 0 <= ny < size_um[1]):
            continue
        bearing = np.degrees(np.arctan2(ny - y, nx - x))
        need = _radii(halves, bearing - angles) + _radii(np.array([own]), bearing - angle)
        if np.all(np.hypot(nx - x, ny - y) > need * (0.93 - spores.pile)):
            depth = host.depth + float(rng.normal(0, 0.2))
            return Site(float(nx), float(ny), angle % 180.0, look, depth)
    return None


def _radius(half_um: tuple[float, float], angle_deg: float) -> float:
    """Return an ellipse's radius at an angle from its long axis."""
    return float(_radii(np.array([half_um]), np.array([angle_deg]))[0])


def _radii(half_um: NDArray[np.float64], angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    turn = np.radians(angle_deg)
    long, short = half_um[:, 0], half_um[:, 1]
    return long * short / np.hypot(short * np.cos(turn), long * np.sin(turn))


def _scatter_clutter(
    rng: np.random.Generator, plan: PicturePlan, shape: tuple[int, int], um_per_px: float
) -> list[Placed]:
    """Draw and place what is no spore, some of it reaching in from outside."""
    width, height = shape[1] * um_per_px, shape[0] * um_per_px
    kinds = []
    for name, rate in plan.clutter.per_mm2:
        edge = _margin_um(name)
        area_mm2 = (width + 2 * edge) * (height + 2 * edge) / 1e6
        kinds += [name] * int(rng.poisson(rate * area_mm2))
    placed = []
    known: dict[str, list[Drawn]] = {}
    for name in rng.permutation(kinds)[: plan.clutter.most]:
        edge = _margin_um(str(name))
        x_um = float(rng.uniform(-edge, width + edge))
        y_um = float(rng.uniform(-edge, height + edge))
        depth = float(rng.normal()) * plan.focus.clutter_spread
        factor = 1
        if KINDS[str(name)].family in LONG_FAMILIES:
            factor = max(1, int(FINEST_LONG_UM_PER_PX / um_per_px))
        drawn: Drawn | None = _another(rng, um_per_px * factor, str(name), known)
        if drawn is not None and factor > 1:
            drawn = _enlarged(drawn, factor, x_um, y_um, shape, um_per_px)
        if drawn is not None:
            placed.append(_put(drawn, x_um, y_um, depth, plan.focus, shape, um_per_px))
    return placed


def _another(
    rng: np.random.Generator, um_per_px: float, name: str, known: dict[str, list[Drawn]]
) -> Drawn:
    """Return one more object of a kind: a new one, added to the known, or a known one turned.

    What lies on one tape is much alike, and drawing is what a picture's time goes into.
    """
    others = known.setdefault(name, [])
    if rng.random() * (len(others) + ALWAYS_NEW) >= len(others):
        others.append(draw_clutter(rng, um_per_px, name))
        return others[-1]
    return _changed(rng, others[int(rng.integers(len(others)))], um_per_px)


def _changed(rng: np.random.Generator, old: Drawn, um_per_px: float) -> Drawn:
    """Return a drawn thing turned, stretched, mirrored and made paler or darker: its like."""
    turn = rng.uniform(0.0, 2 * np.pi)
    along, across = np.exp(rng.normal(0.0, STRETCH, 2))
    mirror = -1.0 if rng.random() < 0.5 else 1.0
    gain = np.float32(np.exp(rng.normal(0.0, 0.2)))
    cos, sin = np.cos(turn), np.sin(turn)
    turned = np.array([[cos, -sin], [sin, cos]])
    new = _moved(old, turned @ np.diag([along, mirror * across]), gain)
    if looks_like_spore(new.density, um_per_px):
        # A disc that was stretched is an oval.
        new = _moved(old, turned @ np.diag([1.0, mirror]), gain)
    return new


def _moved(old: Drawn, change: NDArray[np.float64], gain: np.float32) -> Drawn:
    """Return a drawn thing of which each place is moved about its centre by a matrix."""
    rows, columns = old.density.shape[:2]
    corners = np.array([[0, 0], [columns, 0], [0, rows], [columns, rows]]) - old.centre_px
    reach = np.ceil(np.abs(corners @ change.T).max(axis=0)).astype(int) + 1
    matrix = np.hstack([change, (reach - change @ np.array(old.centre_px))[:, None]])
    size = (int(2 * reach[0] + 1), int(2 * reach[1] + 1))
    density = np.asarray(cv2.warpAffine(old.density, matrix, size), np.float32)
    empty = cv2.inRange(density, np.zeros(3), np.zeros(3))
    left, top, wide, high = cv2.boundingRect(cv2.bitwise_not(empty))
    if wide == 0:
        return old
    # Patches end in a border of zeros.
    part = np.zeros((high + 2, wide + 2, 3), np.float32)
    part[1:-1, 1:-1] = density[top : top + high, left : left + wide] * gain
    return Drawn(part, (float(reach[0] - left + 1), float(reach[1] - top + 1)), old.kind)


def _margin_um(name: str) -> float:
    return LONG_MARGIN_UM if KINDS[name].family in LONG_FAMILIES else CLUTTER_MARGIN_UM


def _enlarged(
    coarse: Drawn, factor: int, x_um: float, y_um: float, shape: tuple[int, int], um_per_px: float
) -> Drawn | None:
    """Return the part of a coarsely drawn object near the canvas, enlarged; None if none is."""
    step_um, spare = um_per_px * factor, 12
    rows, columns = (int(np.ceil(n / factor)) + 2 * spare for n in shape)
    left = round(x_um / step_um - coarse.centre_px[0]) + spare
    top = round(y_um / step_um - coarse.centre_px[1]) + spare
    part = window(left, top, coarse.density.shape, (rows, columns))
    if part is None:
        return None
    cut = np.ascontiguousarray(coarse.density[part.patch])
    size = (cut.shape[1] * factor, cut.shape[0] * factor)
    fine = np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_CUBIC), np.float32)
    centre = (
        (coarse.centre_px[0] - part.patch[1].start + 0.5) * factor - 0.5,
        (coarse.centre_px[1] - part.patch[0].start + 0.5) * factor - 0.5,
    )
    return Drawn(fine, centre, coarse.kind)


def _put(
    drawn: Drawn,
    x_um: float,
    y_um: float,
    depth: float,
    focus: FocusPlan,
    shape: tuple[int, int],
    um_per_px: float,
) -> Placed:
    """Lay an object on whole pixels, next to where it was wanted.

    Its centre keeps the part of a pixel that it was drawn with, so nothing is
    interpolated and the truth stays exact. Wanted places run from 0 at the outer
    edge of the first pixel.
    """
    left = round(x_um / um_per_px - 0.5 - drawn.centre_px[0])
    top = round(y_um / um_per_px - 0.5 - drawn.centre_px[1])
    across = x_um / (shape[1] * um_per_px) - 0.5
    defocus = focus.offset_um + focus.spread_um * depth + focus.tilt_um * across
    return Placed(drawn, left, top, float(defocus))
