"""An invented irrigation of the invented planting, for the tests of the map: nothing here was solved by a stage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setout.model import Irrigation, Network, Planting, Zone
from setout.model.irrigation import LATERAL, LOW_FLOW, MAIN, MANIFOLD, REASONS, SOURCE, TOO_FAR, WATERED, Emitter, IrrigationPlan, Pipes

BLOCKS = (0, 1)
"""Blocks that are irrigated, each a zone with one valve; block C is too far from water."""
DRY_ROW = 3
"""Row of block B whose trees get too little."""


def irrigated(plan: Planting) -> Planting:
    """The planting with pipes, zones and what the trees get."""
    nodes: list[tuple[float, ...]] = []
    node = np.full(len(plan.trees), -1)
    water = plan.site.water
    assert water is not None
    rows_of: list[tuple[int, int, int, np.ndarray]] = []
    for section, block in enumerate(BLOCKS):  # mains and manifolds stand before all laterals
        mine = np.flatnonzero(plan.trees.block == block)
        nodes.append((water.points.x[0], water.points.y[0], -1, SOURCE, section, -1, -1, -1, -1))
        for k, r in enumerate(np.unique(plan.trees.row[mine])):
            row = mine[plan.trees.row[mine] == r]
            x, y = plan.trees.x[row[0]], plan.trees.y[row[0]] - 2.0
            nodes.append((x, y, len(nodes) - 1, MAIN if k == 0 else MANIFOLD, section, -1, -1, -1, -1))
            rows_of.append((section, block, len(nodes) - 1, row))
    for number, (section, block, head, row) in enumerate(rows_of):
        for k, i in enumerate(row.tolist()):
            up = head if k == 0 else len(nodes) - 1
            node[i] = len(nodes)
            nodes.append((plan.trees.x[i], plan.trees.y[i], up, LATERAL, section, block, plan.trees.row[i], number, i))
    columns = [np.array(c) for c in zip(*nodes, strict=True)]
    whole = [c.astype(np.int64) for c in columns[2:]]
    parent, kind, section_of, block_of, row_of, lateral, tree = whole
    x, y = columns[:2]
    length = np.where(parent >= 0, np.hypot(x - x[parent], y - y[parent]), 0.0)
    flow = np.where(kind == LATERAL, 40.0, np.where(kind == MANIFOLD, 900.0, 1800.0))
    network = Network(
        x,
        y,
        np.full(len(x), 181.0),
        parent,
        length,
        np.where(kind == LATERAL, 20.8, 40.9),
        kind.astype(np.int8),
        section_of,
        section_of,
        block_of,
        row_of,
        lateral,
        tree,
        np.where(tree >= 0, 2.0, 0.0),
        kind == MAIN,
        200.0 - 0.05 * np.arange(len(x)) / len(x),
        flow,
        np.where(tree >= 0, 8.0, 0.0),
        np.array([180.0, 170.0]),
    )
    return _told(plan, network, node)


def _told(plan: Planting, network: Network, node: np.ndarray) -> Planting:
    n = len(plan.trees)
    zones = tuple(
        Zone(
            f"z{i + 1}",
            0,
            (f"z{i + 1}",),
            (plan.site.blocks[b].name,),
            int(plan.trees.row[plan.trees.block == b].max()),
            int((plan.trees.block == b).sum()),
            1800.0,
            180.0,
            150.0,
            190.0,
            0.9,
            "good",
            4.5,
            7,
            4.5,
        )
        for i, b in enumerate(BLOCKS)
    )
    zone = np.where(node >= 0, network.zone[node], -1)
    dry = (plan.trees.block == 1) & (plan.trees.row == DRY_ROW)
    reason = np.where(node < 0, REASONS.index(TOO_FAR), np.where(dry, REASONS.index(LOW_FLOW), REASONS.index(WATERED)))
    watered = (node >= 0) & ~dry
    need = 60.0 + 0.01 * np.arange(n)
    pressure = np.where(node >= 0, network.pressure_kpa[node], np.nan)
    flow = np.where(node >= 0, 8.0, np.nan)
    made = Irrigation(
        IrrigationPlan(Emitter(4.0, 100.0), Pipes((20.8,), (40.9,), (40.9,))),
        network,
        zones,
        (),
        zone,
        node,
        np.full(n, np.nan),
        pressure,
        flow,
        need,
        watered,
        np.ones(n, bool),
        reason.astype(np.int8),
    )
    columns = {
        "zone_index": zone,
        "reason_index": reason,
        "watered": watered.astype(float),
        "need_lpd": need,
        "pressure_kpa": pressure,
        "flow_lph": flow,
        "water_index": np.where(node >= 0, 0, -1),
        "crowding": 0.8 + 0.4 * np.arange(n) / n,
        "sun_h": 6.0 + 3.0 * np.arange(n) / n,
    }
    return replace(plan, trees=replace(plan.trees, **columns), irrigation=made)


def grown(plan: Planting) -> Planting:
    """The planting with natural sizes and years to them; the pollinizers of block A are fillers and come out in year 6."""
    blocks = list(plan.site.blocks)
    apple, other = blocks[0].plants
    blocks[0] = replace(
        blocks[0],
        plants=(
            replace(apple, natural_spread_m=5.5, years_to_full_size=8.0),
            replace(other, natural_spread_m=5.5, years_to_full_size=8.0, role="filler", remove_year=6),
        ),
    )
    (nut,) = blocks[2].plants
    blocks[2] = replace(blocks[2], plants=(replace(nut, natural_spread_m=4.0, growth=((2.0, 0.8), (7.0, 3.6))),))
    return replace(plan, site=replace(plan.site, blocks=tuple(blocks)))
