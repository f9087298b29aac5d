"""Pressure and flow at every node of a network of pipes without loops, fed at its roots.

The work is done by :mod:`setout.hydraulics.newton`; here are the values that go in and come out.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setout.errors import Refusal
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction, velocity_ms
from setout.hydraulics.newton import Work
from setout.hydraulics.paths import Paths, paths_of
from setout.units import KPA_PER_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PipeTree:
    """Pipes without loops. Node i hangs from node ``parent[i]`` by pipe i; roots have fixed head and no pipe.

    Attributes
    ----------
    parent : (n,) node that each node hangs from; -1 at roots; any order
    length_m : (n,) true length of each node's pipe [m], on the slope; of no meaning at roots
    inside_mm : (n,) inside diameter of each node's pipe [mm]; of no meaning at roots
    z_m : (n,) elevation [m]
    emitters : what is emitted at each node, as arrays of n or numbers for all; k = 0 where nothing is
    friction : how pipes lose head, as arrays of n or numbers for all
    """

    parent: Ints
    length_m: Floats
    inside_mm: Floats
    z_m: Floats
    emitters: Emitters
    friction: Friction = field(default_factory=Friction)


@dataclass(frozen=True, slots=True)
class Solved:
    """The steady state of a network, by node in the order of the tree that was given.

    Attributes
    ----------
    head_m : (n,) elevation plus pressure head [m]
    pressure_kpa : (n,) [kPa]; negative at a dry node: so much is wanting for water to reach it
    emitted_lph : (n,) flow out at each node [l/h]
    flow_lph : (n,) flow through each node's pipe [l/h]; at roots what the source gives
    velocity_ms : (n,) in each node's pipe [m/s]; 0 at roots
    dry : (n,) an emitter stands here and nothing comes out, as there is no pressure
    passes : Newton steps taken
    residual_m : largest difference left between heads that fit the emitters and heads that fit the pipes [m]
    """

    head_m: Floats
    pressure_kpa: Floats
    emitted_lph: Floats
    flow_lph: Floats
    velocity_ms: Floats
    dry: Bools
    passes: int
    residual_m: float


def solve(tree: PipeTree, source_head_m: ArrayLike, paths: Paths | None = None) -> Solved:
    """Find the pressure and the flow at every node.

    Parameters
    ----------
    tree : PipeTree
        Pipes, emitters and elevations.
    source_head_m : float or (r,) array_like
        Head at the roots [m], elevation plus pressure head, in the order in which the roots stand in the tree.
    paths : Paths, optional
        Working order of ``tree.parent``, where it is known from an earlier call.

    Returns
    -------
    Solved
        Heads, pressures, flows. Dry nodes give nothing and pass the water on.

    Raises
    ------
    Refusal
        Arrays of unequal length, a number that is none or out of range, pipes in a ring, or a network that does not
        come to rest.

    Examples
    --------
    Two emitters on 100 m of 16 mm pipe, the second 1 m higher.

    >>> tree = PipeTree(np.array([-1, 0, 1]), np.array([0.0, 50.0, 50.0]), np.full(3, 16.0), np.array([0.0, 0.0, 1.0]),
    ...                 Emitters(np.array([0.0, 1.25, 1.25])))
    >>> solve(tree, 10.0).emitted_lph.round(2)
    array([0.  , 3.95, 3.75])
    """
    paths = paths or tree_paths(tree)
    check(tree)
    order, back, n = paths.order, paths.place, tree.parent.size
    source = np.asarray(source_head_m, float)
    if source.ndim > 1 or source.size not in (1, paths.roots) or not np.all(np.isfinite(source)):
        raise Refusal("network_heads", heads=source.size, sources=paths.roots)
    inside, length = np.array(tree.inside_mm, float), np.array(tree.length_m, float)
    inside[order[: paths.roots]], length[order[: paths.roots]] = 1000.0, 0.0
    work = Work.of(
        paths,
        (length[order], inside[order], np.asarray(tree.z_m, float)[order]),
        np.broadcast_to(source, (paths.roots,))[paths.root],
        tree.emitters.at(order),
        tree.friction.at(order),
    )
    state = work.run()
    head, emitted, flow = state.head[back], state.emitted[back], state.flow[back]
    speed = velocity_ms(flow, inside)
    speed[order[: paths.roots]] = 0.0
    pressure = (head - tree.z_m) * KPA_PER_M
    dry = (emitted <= 0) & (np.broadcast_to(np.asarray(tree.emitters.k), (n,)) > 0)
    return Solved(head, pressure, emitted, flow, speed, dry, state.passes, state.residual_m)


def tree_paths(tree: PipeTree) -> Paths:
    """Return the working order of a tree, to be used again while its parents stay what they are.

    Parameters
    ----------
    tree : PipeTree
        The tree.

    Returns
    -------
    Paths
        For :func:`solve`.

    Raises
    ------
    Refusal
        Pipes in a ring, or a parent that there is not.
    """
    return paths_of(tree.parent)


def check(tree: PipeTree) -> None:
    """Refuse a tree that has numbers which are none, or that no pipe or emitter can have.

    Parameters
    ----------
    tree : PipeTree
        The tree.

    Raises
    ------
    Refusal
        The first that is wrong with it.
    """
    pipe = tree.parent >= 0
    e, f = tree.emitters, tree.friction
    rules: tuple[tuple[str, ArrayLike, float, float], ...] = (
        ("pipe_length_m", np.where(pipe, tree.length_m, 0.0), 0.0, 1e6),
        ("pipe_inside_mm", np.where(pipe, tree.inside_mm, 1.0), 0.1, 1e5),
        ("node_elevation_m", tree.z_m, -1e5, 1e5),
        ("emitter_lph_at_1_m", e.k, 0.0, 1e9),
        ("emitter_exponent", e.exponent, 0.0, 1.0),
        ("hazen_williams_c", f.roughness_c, 1.0, 1000.0),
        ("wall_roughness_mm", f.roughness_mm, 0.0, 100.0),
        ("fittings_share", f.minor_share, 0.0, 1000.0),
        ("fittings_velocity_heads", f.minor_k, 0.0, 1e6),
    )
    for name, values, low, high in rules:
        given = np.asarray(values, float)
        if given.shape not in ((), tree.parent.shape):
            raise Refusal("network_count", of=name, given=given.size, nodes=tree.parent.size)
        if np.any(wrong := ~((given >= low) & (given <= high))):
            raise Refusal("network_range", of=name, value=float(given[wrong].flat[0] if given.ndim else given), least=low, most=high)
