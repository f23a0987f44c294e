"""What training tiles teach. Shares and distances are this project's own, no source."""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.registry import KINDS
from sporecount.render.plan import SporePlan, random_plan
from sporecount.render.scatter import RIM_UM, cluster_sites
from sporecount.train.tiles import FEW_PIXELS_UM, draw_scale, lesson


def test_lessons_come_in_sensible_shares() -> None:
    rng = np.random.default_rng(2)
    bare, clumped, broken = [], [], []
    for _ in range(400):
        plan = lesson(random_plan(rng, (200, 200), 0.9), rng)
        spores = plan.spores
        mm2 = plan.area_mm2
        small = sum(
            rate * mm2
            for name, rate in plan.clutter.per_mm2
            if KINDS[name].family.startswith("litter")
        )
        few = spores.count is not None and spores.count <= 5
        bare.append(few and small > 3)
        clumped.append(spores.clumped > 0.9 and spores.pile >= 0.4)
        broken.append(spores.damaged >= 0.25 and spores.broken >= 0.1 and spores.count is not None)
    assert 0.2 < np.mean(bare) < 0.45
    assert 0.07 < np.mean(clumped) < 0.2
    assert 0.07 < np.mean(broken) < 0.3


def test_clear_middles_and_black_spores_come_more_often_than_by_chance() -> None:
    rng = np.random.default_rng(3)
    plans = [random_plan(rng, (200, 200), 0.9) for _ in range(600)]
    taught = [lesson(plan, rng) for plan in plans]

    def share_of(some: list, wanted) -> float:  # type: ignore[type-arg, no-untyped-def]
        return float(np.mean([wanted(plan) for plan in some]))

    def clear(plan) -> bool:  # type: ignore[no-untyped-def]
        return plan.spores.look.core_tone <= 0.25 and plan.compose.closure >= 0.5

    def black_and_touching(plan) -> bool:  # type: ignore[no-untyped-def]
        return plan.spores.look.tone >= 0.8 and plan.spores.touching == 0.8

    assert share_of(taught, clear) > share_of(plans, clear) + 0.02
    assert 0.01 < share_of(taught, black_and_touching) < 0.08
    assert share_of(plans, black_and_touching) == 0.0


def test_scales_with_few_pixels_to_a_spore_come_more_often_than_by_chance() -> None:
    rng = np.random.default_rng(4)
    coarse = np.array([draw_scale(rng, 0.38, 1.45) for _ in range(3000)])
    fine = np.array([draw_scale(rng, 0.15, 0.38) for _ in range(300)])
    assert ((coarse >= 0.38) & (coarse <= 1.45)).all()
    assert ((fine >= 0.15) & (fine <= 0.38)).all()
    # Even in the logarithm 28 in 100 would be.
    assert 0.36 < np.mean(coarse >= FEW_PIXELS_UM) < 0.48


def test_heavy_clumps_lie_three_to_six_um_apart() -> None:
    rng = np.random.default_rng(5)
    nearest: list[float] = []
    while len(nearest) < 400:
        plan = lesson(random_plan(rng, (200, 200), 0.9), rng)
        spores = plan.spores
        if spores.pile < 0.4 or spores.clumped < 0.9 or spores.count is None:
            continue
        sites = cluster_sites(rng, min(spores.count, 60), (180.0, 180.0), spores)
        xy = np.array([(site.x_um, site.y_um) for site in sites])
        apart = np.linalg.norm(xy[:, None] - xy[None], axis=2) + 1e3 * np.eye(len(xy))
        nearest += apart.min(axis=1).tolist()
    assert 3.0 < np.median(nearest) < 6.5
    assert np.mean(np.array(nearest) < 2.0) < 0.1


def test_spores_that_lie_on_litter_are_on_or_at_it() -> None:
    rng = np.random.default_rng(6)
    hosts = np.array([[40.0, 60.0, 30.0, 20.0], [150.0, 120.0, 12.0, 40.0]])

    def on_one(share: float) -> float:
        spores = SporePlan(clumped=0.0, on_litter=share)
        sites = cluster_sites(rng, 300, (200.0, 180.0), spores, hosts)
        at = np.array([(site.x_um, site.y_um) for site in sites])
        off = np.abs(at[:, None] - hosts[None, :, :2]) - 0.5 * hosts[None, :, 2:]
        return float((off.max(axis=2).min(axis=1) <= 0.5 * RIM_UM).mean())

    # By chance so many lie there as the boxes and their rims cover of the canvas.
    covered = float(np.prod(hosts[:, 2:] + RIM_UM, axis=1).sum() / (200 * 180))
    assert abs(on_one(0.0) - covered) < 0.06
    assert on_one(1.0) == 1.0
    assert abs(on_one(0.5) - (0.5 + 0.5 * covered)) < 0.12


def test_without_litter_spores_lie_where_they_would() -> None:
    plain, wanted = (
        cluster_sites(
            np.random.default_rng(7), 40, (200.0, 180.0), SporePlan(on_litter=share), hosts
        )
        for share, hosts in ((0.0, None), (1.0, np.zeros((0, 4))))
    )
    assert [one.x_um for one in plain] == [one.x_um for one in wanted]
