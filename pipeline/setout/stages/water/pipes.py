"""From manifold lines and zones to one forest of pipes: mains, valves, manifolds, laterals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.model import Floats, Ints, Network
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD, SOURCE
from setout.stages.water.chains import Chain
from setout.stages.water.outlets import Outlets, Pieces
from setout.stages.water.routes import stretched
from setout.stages.water.zoning import Sections

Heights = Callable[[Floats, Floats], Floats]
"""Tells the ground's elevation [m] at places (x, y) [m in the frame]; NaN where it is unknown."""


@dataclass(frozen=True, slots=True)
class Approach:
    """How the main comes to a manifold line: the place on the line, and the way from the water point to it."""

    place: int
    way: Floats


@dataclass(frozen=True, slots=True)
class Laid:
    """A network that is laid but not sized, and where its parts are.

    Attributes
    ----------
    network : pipes, their diameters NaN
    outlet_node : per outlet, its node
    chain : per section, its manifold line
    """

    network: Network
    outlet_node: Ints
    chain: Ints


@dataclass(slots=True)
class _Trunk:
    """Mains and manifolds of one section."""

    x: Floats
    y: Floats
    parent: Ints
    kind: NDArray[np.int8]
    valve: int
    tee: Ints


def lay(
    chains: Sequence[Chain], approaches: Sequence[Approach], sections: Sections, outlets: Outlets, pieces: Pieces, heights: Heights
) -> Laid:
    """Lay the pipes of all sections."""
    trunks = [
        _trunk(chains[c], approaches[c], first, last)
        for c, first, last in zip(sections.chain.tolist(), sections.first.tolist(), sections.last.tolist(), strict=True)
    ]
    base = np.cumsum([0, *(len(t.x) for t in trunks)])
    tee_of_piece = np.full(len(pieces), -1, np.int64)
    section_of_piece = np.full(len(pieces), -1, np.int64)
    split = np.zeros(len(pieces), np.int64)
    for s, trunk in enumerate(trunks):
        chain, span = chains[sections.chain[s]], slice(sections.first[s], sections.last[s] + 1)
        tee_of_piece[chain.piece[span]] = trunk.tee + base[s]
        section_of_piece[chain.piece[span]] = s
        split[chain.piece[span]] = chain.split[span]
    runs = _laterals(outlets, pieces, split)
    head = int(base[-1])
    keep = section_of_piece[outlets.piece[runs.outlet]] >= 0
    runs = runs.only(keep)
    many = len(runs.outlet)
    piece = outlets.piece[runs.outlet]
    parent = np.where(runs.first, tee_of_piece[piece], head + np.arange(many) - 1)
    x = np.concatenate([*(t.x for t in trunks), outlets.x[runs.outlet]])
    y = np.concatenate([*(t.y for t in trunks), outlets.y[runs.outlet]])
    parents = np.concatenate([*(np.where(t.parent < 0, -1, t.parent + b) for t, b in zip(trunks, base, strict=False)), parent])
    z, assumed = _whole(x, y, np.concatenate([heights(x[:head], y[:head]), outlets.z[runs.outlet]]))
    section = np.concatenate([np.repeat(np.arange(len(trunks)), np.diff(base)), section_of_piece[piece]])
    none, nan = np.full(head, -1, np.int64), np.full(len(x), np.nan)
    outlet_node = np.full(len(outlets.x), -1, np.int64)
    outlet_node[runs.outlet] = head + np.arange(many)
    valve = np.zeros(len(x), bool)
    valve[[t.valve + b for t, b in zip(trunks, base, strict=False)]] = True
    network = Network(
        x,
        y,
        z,
        parents,
        _true_length(x, y, z, parents),
        nan,
        np.concatenate([*(t.kind for t in trunks), np.full(many, LATERAL, np.int8)]),
        section,
        sections.zone[section],
        np.concatenate([none, pieces.block[piece]]),
        np.concatenate([none, pieces.row[piece]]),
        np.concatenate([none, np.cumsum(runs.first) - 1]),
        np.concatenate([none, outlets.tree[runs.outlet]]),
        np.concatenate([np.zeros(head), outlets.emitters[runs.outlet]]),
        valve,
        nan,
        nan,
        nan,
        np.full(len(trunks), np.nan),
        assumed,
    )
    return Laid(network, outlet_node, sections.chain)


def _whole(x: Floats, y: Floats, z: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Give nodes without elevation that of the nearest node with one, 0 where none has; tell which were given theirs."""
    from scipy.spatial import cKDTree

    known = np.isfinite(z)
    if known.all():
        return z, ~known
    if not known.any():
        return np.zeros(len(z)), ~known
    at = np.column_stack([x, y])
    nearest = cKDTree(at[known]).query(at[~known])[1]
    out = z.copy()
    out[~known] = z[known][nearest]
    return out, ~known


def _trunk(chain: Chain, approach: Approach, first: int, last: int) -> _Trunk:
    """Lay the main from the water point to the manifold line and along it to the section, and the section's manifold."""
    entry = min(max(approach.place, first), last)
    step = 1 if entry >= approach.place else -1
    on_line = np.arange(approach.place, entry + step, step)
    way = stretched(np.vstack([approach.way, np.column_stack([chain.x[on_line], chain.y[on_line]])]))
    main = len(way)
    up, down = np.arange(entry + 1, last + 1), np.arange(entry - 1, first - 1, -1)
    x = np.concatenate([way[:, 0], chain.x[up], chain.x[down]])
    y = np.concatenate([way[:, 1], chain.y[up], chain.y[down]])
    parent = np.arange(len(x)) - 1
    if len(down):
        parent[main + len(up)] = main - 1
    tee = np.empty(last - first + 1, np.int64)
    tee[entry - first] = main - 1
    tee[up - first] = main + np.arange(len(up))
    tee[down - first] = main + len(up) + np.arange(len(down))
    kind = np.full(len(x), MANIFOLD, np.int8)
    kind[:main], kind[0] = MAIN, SOURCE
    return _Trunk(x, y, parent, kind, main - 1, tee)


@dataclass(frozen=True, slots=True)
class _Runs:
    """Outlets in the order of laterals from their tees outwards, and which of them are the first of one."""

    outlet: Ints
    first: NDArray[np.bool_]

    def only(self, keep: NDArray[np.bool_]) -> _Runs:
        return _Runs(self.outlet[keep], self.first[keep])


def _laterals(outlets: Outlets, pieces: Pieces, split: Ints) -> _Runs:
    """Order the outlets of every piece: from the tee up to its end, then from the tee back to its start."""
    size, start = (pieces.stop - pieces.start)[outlets.piece], pieces.start[outlets.piece]
    place, cut = np.arange(len(outlets.x)) - start, split[outlets.piece]
    ahead = place >= cut
    rank = np.where(ahead, place - cut, (size - cut) + (cut - 1 - place))
    outlet = np.empty(len(outlets.x), np.int64)
    outlet[start + rank] = np.arange(len(outlets.x))
    first = np.zeros(len(outlets.x), bool)
    first[(start + rank)[(rank == 0) | (rank == size - cut)]] = True
    return _Runs(outlet, first)


def _true_length(x: Floats, y: Floats, z: Floats, parent: Ints) -> Floats:
    """Return the length of the pipe to each node, on the slope [m]."""
    up = np.maximum(parent, 0)
    length = np.sqrt((x - x[up]) ** 2 + (y - y[up]) ** 2 + (z - z[up]) ** 2)
    return np.where(parent < 0, 0.0, length)
