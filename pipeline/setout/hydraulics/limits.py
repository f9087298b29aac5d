"""What a network has to hold, and how a solved one stands to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.hydraulics.network import PipeTree, Solved
from setout.units import KPA_PER_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

VELOCITY_LIMIT: Final = 1.524
"""Greatest velocity in pipes [m/s], 5 ft/s (usual practice against water hammer)."""
SPREAD_LIMIT: Final = 0.20
"""Greatest spread of pressure among plain emitters (exponent 0.5) of a subunit, flow within about 10 %."""
ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Limits:
    """What a network has to hold.

    Attributes
    ----------
    least_kpa : lowest pressure at any emitter [kPa]
    spread : spread of pressure within a subunit that plain emitters (exponent 0.5) may have; others may have the
        spread that changes their flow as much
    velocity_ms : greatest velocity [m/s]
    """

    least_kpa: float = 0.0
    spread: float = SPREAD_LIMIT
    velocity_ms: float = VELOCITY_LIMIT

    @property
    def flow_ratio(self) -> float:
        """Return the least share that an emitter may give of what it would at the highest pressure of its subunit.

        >>> round(Limits(spread=0.2).flow_ratio, 3)
        0.894
        """
        return float((1.0 - self.spread) ** 0.5)


@dataclass(frozen=True, slots=True)
class Standing:
    """How a solved network stands to its limits.

    Attributes
    ----------
    want_m : head wanting at the lowest emitter [m]; negative where there is more than enough
    flow_ratio : least share that an emitter gives of what it would at the highest pressure of its subunit
    velocity_ms : greatest velocity in the pipes that are looked at [m/s]
    fast : (n,) pipes that are looked at and over the velocity
    lowest : node of the emitter that has most need of head; -1 where there are none
    broken : first limit that does not hold: ``pressure``, ``velocity`` or ``spread``; empty where all hold
    """

    want_m: float
    flow_ratio: float
    velocity_ms: float
    fast: Bools
    lowest: int
    broken: str


def standing(tree: PipeTree, solved: Solved, limits: Limits, subunit: Ints | None = None, pipes: Bools | None = None) -> Standing:
    """Hold a solved network against its limits.

    Parameters
    ----------
    tree, solved : PipeTree, Solved
        The network and its state.
    limits : Limits
        What has to hold.
    subunit : (n,) ndarray, optional
        Emitters whose pressures are compared with each other, by number; -1 for none. All together when absent.
    pipes : (n,) ndarray of bool, optional
        Pipes whose velocity counts; all when absent.

    Returns
    -------
    Standing
        The figures, and which limit is broken.
    """
    n = tree.parent.size
    counted = tree.parent >= 0 if pipes is None else pipes
    fast = counted & (solved.velocity_ms > limits.velocity_ms * (1 + ROUNDING))
    fastest = float(solved.velocity_ms[counted].max(initial=0.0))
    emits = np.broadcast_to(np.asarray(tree.emitters.k, float), (n,)) > 0
    unit = np.zeros(n, np.int64) if subunit is None else np.asarray(subunit, np.int64)
    nodes = np.flatnonzero(emits & (unit >= 0))
    if not nodes.size:
        return Standing(0.0, 1.0, fastest, fast, -1, "velocity" if fast.any() else "")
    head, unit = (solved.pressure_kpa / KPA_PER_M)[nodes], unit[nodes]
    highest = np.full(int(unit.max()) + 1, -np.inf)
    np.maximum.at(highest, unit, head)
    emitters = tree.emitters.at(nodes)
    best = emitters.flow(highest[unit])
    ratio = np.divide(emitters.flow(head), best, out=np.zeros_like(head), where=best > 0)
    want = limits.least_kpa / KPA_PER_M - head
    most_want, least_ratio = float(want.max()), float(ratio.min())
    lowest = int(nodes[want.argmax() if most_want > ROUNDING else ratio.argmin()])
    rules = {"pressure": most_want > ROUNDING, "velocity": bool(fast.any()), "spread": least_ratio < limits.flow_ratio - ROUNDING}
    broken = next((name for name, is_broken in rules.items() if is_broken), "")
    return Standing(most_want, least_ratio, fastest, fast, lowest, broken)
