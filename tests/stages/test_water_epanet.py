"""The network that the packet hands to an engineer, run in EPANET 2.2: the trees' pressures and flows come back.

EPANET is the public-domain solver of the US EPA (owa-epanet; a second build with wntr).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from epanet_oracle import run_epanet
from setout.model import Planting
from setout.model.irrigation import SOURCE
from setout.units import KPA_PER_M
from setout.write.packet.irrigation_files import INP, write_irrigation
from watered import SQUARE, orchard


def hill(x: Any, y: Any) -> Any:
    return 120 + 0.06 * x - 0.03 * y + 2 * np.sin(x / 20) * np.cos(y / 30)


COMPENSATING = {"flow": "4 l/h", "at": "100 kPa", "range": ["70 kPa", "300 kPa"], "per_tree": 2}
CASES: dict[str, dict[str, Any]] = {
    "turbulent, level": {"points": [(-45.0, -35.0, 350.0, 3000.0)]},
    "turbulent, hill": {"points": [(-45.0, 35.0, 400.0, 2500.0), (45.0, -30.0, 300.0, 4000.0)], "ground": hill},
    "laminar, hill": {
        "points": [(0.0, 35.0, 250.0, 2500.0)],
        "ground": hill,
        "emitter": {"flow": "6 l/h", "at": "100 kPa", "exponent": 0.9},
    },
    "compensating": {"points": [(0.0, 0.0, 350.0, 2000.0)], "ground": hill, "emitter": COMPENSATING},
    "below the range": {
        "points": [(-45.0, 0.0, 75.0, 4000.0)],
        "emitter": COMPENSATING,
        "lateral": {"diameter": "8 mm"},
        "manifold": {"diameter": "16 mm"},
    },
    "no regulator, steep": {"points": [(-45.0, 0.0, 90.0, 4000.0)], "ground": lambda x, _: 110 - 0.2 * x},
    "Darcy-Weisbach": {"points": [(-45.0, 35.0, 300.0, 4000.0)], "ground": hill, "friction": "darcy-weisbach"},
    "shared": {"points": [(0.0, 0.0, 300.0, 4000.0)], "emitter": {"flow": "8 l/h", "at": "100 kPa", "trees_per_emitter": 2}},
    "offset rows askew": {
        "points": [(-45.0, 35.0, 300.0, 4000.0)],
        "ground": hill,
        "block": SQUARE | {"pattern": "offset", "row_distance": "equilateral", "direction": "N 35 E"},
    },
}


def by_tree(plan: Planting, folder: Path, engine: str) -> tuple[np.ndarray, np.ndarray]:
    """Return EPANET's pressure [kPa] at every tree's node and flow [l/h] out of it, looked up by what the file says itself."""
    (found,) = run_epanet([folder / INP], engine)
    text = (folder / INP).read_text(encoding="ascii")
    tag = dict(line.split()[:0:-1] for line in text.splitlines() if line.startswith("NODE "))
    first = plan.irrigation.network.tree[plan.irrigation.node]
    ids = plan.trees.ids
    pressure, flow = found.at([tag[str(ids[t])] for t in first.tolist()])
    return pressure * KPA_PER_M, flow


@pytest.mark.parametrize("case", CASES)
def test_epanet_finds_the_pressures_of_the_trees(case: str, tmp_path: Path) -> None:
    plan = orchard(**CASES[case])
    write_irrigation(plan, tmp_path)
    pressure, flow = by_tree(plan, tmp_path, "owa")
    assert plan.trees.pressure_kpa == pytest.approx(pressure, rel=1e-3)
    shared = np.bincount(plan.irrigation.node)[plan.irrigation.node]
    assert plan.trees.flow_lph == pytest.approx(flow / shared, rel=1e-3)
    net = plan.irrigation.network
    assert net.flow_lph[net.kind == SOURCE].sum() == pytest.approx(net.out_lph.sum(), rel=1e-6)


def test_wntr_agrees_too(tmp_path: Path) -> None:
    pytest.importorskip("wntr")
    plan = orchard(**CASES["turbulent, hill"])
    write_irrigation(plan, tmp_path)
    pressure, _ = by_tree(plan, tmp_path, "wntr")
    assert plan.trees.pressure_kpa == pytest.approx(pressure, rel=1e-3)


@pytest.mark.parametrize("gap", [(-45.0, 0.0), (-37.5, 0.0), (0.0, 0.0)], ids=["water point", "valve", "trees"])
def test_a_gap_of_the_dem_under_pipes_is_said_and_solved_alike(gap: tuple[float, float], tmp_path: Path) -> None:
    """No number in the file is missing, EPANET finds the pressures of the layer, and the finding names what lacks its height."""

    def holed(x: Any, y: Any) -> Any:
        # one cell of trees, or all the heads of the rows: wherever the valve stands
        wide = 3.0 if gap == (0.0, 0.0) else 40.0
        return np.where((np.abs(x - gap[0]) < 4) & (np.abs(y - gap[1]) < wide), np.nan, hill(x, y))

    plan = orchard([(-45.0, 0.0, 400.0, 3000.0)], ground=holed, sections={"ground": {"no_elevation": "plant"}})
    write_irrigation(plan, tmp_path)
    text = (tmp_path / INP).read_text(encoding="ascii")
    assert not re.search(r"\b(nan|inf)\b", text, re.IGNORECASE)
    pressure, _ = by_tree(plan, tmp_path, "owa")
    known = np.isfinite(plan.trees.pressure_kpa)
    assert (known == np.isfinite(plan.trees.elevation_m)).all()
    assert plan.trees.pressure_kpa[known] == pytest.approx(pressure[known], rel=1e-3)
    net = plan.irrigation.network
    assert net.z_assumed.any()
    # what is assumed lies within what its neighbours have
    assert net.z[net.z_assumed].max() <= net.z[~net.z_assumed].max()
    assert net.z[net.z_assumed].min() >= net.z[~net.z_assumed].min()
    (said,) = [f for f in plan.findings if f.code == "water_height_assumed"]
    for name, own in (("points", net.kind == SOURCE), ("valves", net.is_valve), ("rows", net.emitters > 0)):
        assert bool(said.figures[name]) == bool((net.z_assumed & own).any()), said.figures
