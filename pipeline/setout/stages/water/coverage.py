"""Whether given positions, planned or surveyed, have water: the nearest emitter, its zone, and what the plan gives there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from setout.model import Bools, Figure, Finding, Floats, Ints, Irrigation, Trees
from setout.model.irrigation import REASONS
from setout.stages.water.doubts import mend_of

NEAR_M = 1.0
"""How far a tree may stand from its emitter where the plan names no wetted radius [m]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """What water given positions have; one entry a position.

    Attributes
    ----------
    node : node of the nearest emitter in the network
    away_m : distance to it [m]
    allowed_m : how far it may be [m]: what an emitter wets, from where the plan has its trees
    zone : index of the zone that it belongs to
    tree : the planned tree that the emitter is for
    covered : near enough
    """

    node: Ints
    away_m: Floats
    allowed_m: Floats
    zone: Ints
    tree: Ints
    covered: Bools


def coverage(irrigation: Irrigation, trees: Trees, x: Floats, y: Floats) -> Coverage | None:
    """Find the nearest emitter of every position."""
    from scipy.spatial import cKDTree

    network, emitter = irrigation.network, irrigation.settings.emitter
    if network is None or emitter is None:
        return None
    own = np.flatnonzero(network.emitters > 0)
    away, place = cKDTree(np.column_stack([network.x[own], network.y[own]])).query(np.column_stack([x, y]))
    node = own[place]
    # shared emitters stand between their trees: what they wet counts from there
    planned = np.zeros(len(network))
    fed = np.flatnonzero(irrigation.node >= 0)
    at = irrigation.node[fed]
    np.maximum.at(planned, at, np.hypot(network.x[at] - trees.x[fed], network.y[at] - trees.y[fed]))
    near = emitter.wetted_radius_m if np.isfinite(emitter.wetted_radius_m) else NEAR_M
    allowed = np.maximum(near, planned[node] + near / 2)
    return Coverage(node, np.asarray(away, float), allowed, network.zone[node], network.tree[node], away <= allowed)


def uncovered(irrigation: Irrigation, found: Coverage, labels: Sequence[str], places: tuple[Floats, Floats]) -> tuple[Finding, ...]:
    """Name the positions that have no emitter near enough, or whose emitter does not give what its tree needs."""
    out = []
    dry = irrigation.known & ~irrigation.watered
    for k in np.flatnonzero(~found.covered | dry[found.tree]).tolist():
        zone, point = irrigation.zones[int(found.zone[k])].name, shapely.Point(places[0][k], places[1][k])
        tree, away, allowed = str(labels[k]), float(found.away_m[k]), float(found.allowed_m[k])
        if not found.covered[k]:
            figures: dict[str, Figure] = {"tree": tree, "zone": zone, "away_m": away, "allowed_m": allowed}
            out.append(Finding("no_emitter_near", "stop", figures=figures, tree_id=tree, geometry=point, by=away - allowed))
        else:
            out.append(_dry(irrigation, int(found.tree[k]), zone, tree, point))
    return tuple(out)


def without_pipes(irrigation: Irrigation, tree: Ints, labels: Sequence[str], places: tuple[Floats, Floats]) -> tuple[Finding, ...]:
    """Name the positions whose tree has no water in a plan that could lay no pipe at all."""
    dry = np.append(irrigation.known & ~irrigation.watered, False)
    return tuple(
        _dry(irrigation, int(tree[k]), "", str(labels[k]), shapely.Point(places[0][k], places[1][k]))
        for k in np.flatnonzero(dry[tree]).tolist()
    )


def _dry(irrigation: Irrigation, tree: int, zone: str, label: str, point: shapely.Point) -> Finding:
    """Say of a position that the plan does not water its tree, and why: as grave as the plan has it."""
    reason = REASONS[int(irrigation.reason[tree])]
    figures = {"tree": label, "zone": zone, "reason": reason, "mend": mend_of(reason, "mend_zone")}
    return Finding("not_watered", "stop", figures=figures, tree_id=label, geometry=point)
