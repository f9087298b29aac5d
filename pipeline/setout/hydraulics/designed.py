"""From a designed irrigation to what the solver takes: friction of its pipes, law of its emitters, the tree itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction
from setout.hydraulics.network import PipeTree
from setout.model import Floats, IrrigationPlan, Network
from setout.model.irrigation import LATERAL, MANIFOLD


def friction_of(plan: IrrigationPlan, kind: NDArray[np.int8]) -> Friction:
    """Return how pipes of some kinds lose head.

    Parameters
    ----------
    plan : IrrigationPlan
        Choice of formula and roughness.
    kind : (n,) ndarray
        Kinds of pipe.

    Returns
    -------
    Friction
        Arrays of n.
    """
    pipes = plan.pipes
    smooth = np.select([kind == LATERAL, kind == MANIFOLD], [pipes.lateral_c, pipes.manifold_c], pipes.main_c)
    law = "hazen-williams" if pipes.friction == "hazen-williams" else "swamee-jain"
    return Friction(law, smooth, pipes.roughness_mm, pipes.minor_loss_share)  # type: ignore[arg-type]  # the plan file allows these laws only


def emitters_of(plan: IrrigationPlan, count: Floats) -> Emitters:
    """Return the law of some numbers of emitters.

    Parameters
    ----------
    plan : IrrigationPlan
        With its emitter.
    count : (n,) ndarray
        Emitters at each node.

    Returns
    -------
    Emitters
        Arrays of n.
    """
    emitter = plan.emitter
    assert emitter is not None
    least, most = emitter.compensating_kpa or (0.0, np.inf)
    return Emitters.rated(emitter.flow_lph * count, emitter.at_kpa, emitter.exponent, least, most)


def pipe_tree(plan: IrrigationPlan, network: Network) -> PipeTree:
    """Return a network as the solver takes it.

    Parameters
    ----------
    plan : IrrigationPlan
        Emitters and friction.
    network : Network
        Pipes with diameters; elevations known.

    Returns
    -------
    PipeTree
        Its nodes in the order of the network.
    """
    return PipeTree(
        network.parent, network.length_m, network.inside_mm, network.z, emitters_of(plan, network.emitters), friction_of(plan, network.kind)
    )
