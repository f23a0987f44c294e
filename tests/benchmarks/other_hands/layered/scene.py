"""Fills the canvas: adhesive, wing scales, litter and spores."""

from __future__ import annotations

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import log_uniform, pick
from other_hands.layered.ground import spread_adhesive
from other_hands.layered.litter.strewing import strew_litter
from other_hands.layered.spores.draw import draw_spore
from other_hands.layered.spores.fragments import draw_fragments
from other_hands.layered.spores.placing import Circle, Placed, is_clear, place_spores
from other_hands.layered.wing_scales import lay_wing_scale

STATES = ("intact", "damaged", "fragment")
DAMAGE_KINDS = ("cracked", "bitten", "ghosted", "collapsed")
DAMAGE_WEIGHTS = (1, 1, 1.1, 1)

#: Shares of states in a trial's photographs.
TRIAL_SHARES = (0.52, 0.30, 0.18)

#: Pixels from which on a field holds as many spores as a low objective's.
FINE_UM_PER_PX = 0.28

#: The most wing scales on a photograph.
MOST_SCALES = 130


def fill(canvas: Canvas, condition: str) -> None:
    """Lay everything on the canvas that a condition asks for."""
    spread_adhesive(canvas)
    _lay_scales(canvas, condition)
    strew_litter(canvas, condition)
    _lay_spores(canvas, condition)


def _lay_scales(canvas: Canvas, condition: str) -> None:
    """Lay wing scales, about a third of them heaped in a few places."""
    rng = canvas.rng
    # All are drawn, here and below: what follows does not depend on the condition then.
    means = {
        "thick": log_uniform(rng, 22, 85),
        "blank": log_uniform(rng, 1, 14),
        "clumps": log_uniform(rng, 0.5, 7),
    }
    mean = means.get(condition, log_uniform(rng, 0.5, 13))
    number = rng.poisson(mean * (canvas.width_um * canvas.height_um / (900 * 675.0)) ** 0.75)
    heaps_um = [canvas.anywhere() for _ in range(4)]
    for _ in range(min(int(number), MOST_SCALES)):
        if rng.random() < 0.35:
            x_um, y_um = heaps_um[int(rng.integers(4))]
            x_um, y_um = x_um + rng.normal(0, 110), y_um + rng.normal(0, 110)
        else:
            x_um = rng.uniform(-30, canvas.width_um + 30)
            y_um = rng.uniform(-30, canvas.height_um + 30)
        lay_wing_scale(canvas, x_um, y_um)


def _draw_number(canvas: Canvas, condition: str) -> int:
    """Draw how many spores lie on a photograph."""
    rng = canvas.rng
    if condition == "blank":
        return 0
    numbers = {"clumps": log_uniform(rng, 100, 400), "trial": log_uniform(rng, 20, 80)}
    fine = canvas.um_per_px <= FINE_UM_PER_PX
    usual = log_uniform(rng, 3, 25) if fine else log_uniform(rng, 5, 120)
    return round(numbers.get(condition, usual))


def _lay_spores(canvas: Canvas, condition: str) -> None:
    """Draw how many spores there are, where they lie and in which state; and lay them."""
    rng = canvas.rng
    number = _draw_number(canvas, condition)
    damaged, fragments = rng.uniform(0.02, 0.16), rng.uniform(0, 0.05)
    shares = (1 - damaged - fragments, damaged, fragments)
    shares = TRIAL_SHARES if condition == "trial" else shares
    if number == 0:
        return
    clumped, usual = rng.uniform(0.75, 1), rng.uniform(0, 0.5)
    placed = place_spores(canvas, number, clumped if condition == "clumps" else usual)
    states = [pick(rng, STATES, shares) for _ in placed]
    damages = [pick(rng, DAMAGE_KINDS, DAMAGE_WEIGHTS) if s == "damaged" else "" for s in states]
    taken = [
        (one.x_um, one.y_um, one.spore.length_um * 0.42)
        for one, state in zip(placed, states)
        if state != "fragment"
    ]
    for i in rng.permutation(len(placed)):
        one = placed[i]
        focus_um = _draw_focus(canvas, intact=states[i] == "intact")
        if states[i] != "fragment":
            draw_spore(canvas, one.spore, one.x_um, one.y_um, damages[i], focus_um)
        else:
            x_um, y_um = _burst_place(canvas, one, taken)
            draw_fragments(canvas, one.spore, x_um, y_um, focus_um, taken)


def _draw_focus(canvas: Canvas, *, intact: bool) -> float:
    """Draw a spore's distance from the plane in focus: less for those whose state is to show."""
    rng, optics = canvas.rng, canvas.look.optics
    away_um = rng.normal(0, optics.focus_sd_um)
    if rng.random() < optics.lost_share:
        away_um *= rng.uniform(2.5, 7)
    elif not intact:
        away_um *= 0.7
    return optics.focus_um * (1 if intact else 0.6) + away_um


def _burst_place(canvas: Canvas, one: Placed, taken: list[Circle]) -> tuple[float, float]:
    """Give where a spore bursts: in a larger group there is no ground for its pieces."""
    if one.group <= 2:
        return one.x_um, one.y_um
    rng = canvas.rng
    for _ in range(30):
        x_um = rng.uniform(8, canvas.width_um - 8)
        y_um = rng.uniform(8, canvas.height_um - 8)
        if canvas.in_field(x_um, y_um) and is_clear(taken, x_um, y_um, 9):
            break
    return x_um, y_um
