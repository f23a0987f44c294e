"""What training tiles teach. Shares and distances are this project's own, no source."""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.registry import KINDS
from sporecount.render.plan import SporePlan, random_plan
from sporecount.render.scatter import RIM_UM, cluster_sites
from sporecount.train.tiles import lesson


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
