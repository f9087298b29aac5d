"""Our solver against EPANET on the same networks, in one sitting: ratios of CPU seconds, never absolute times.

``python tests/benchmarks/pipes.py [--emitters 1000 10000 100000] [--rounds 5]``

Ours is one call of ``solve`` on arrays, the working order of the pipes included. EPANET's is opening the input file and
solving its hydraulics through the toolkit; "solve only" leaves the reading of the file out. Each round runs both, one
after the other; the median of the rounds counts. Two shapes: short laterals on a manifold, and one long lateral.
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from piped import comb
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.network import PipeTree, solve
from setout.units import KPA_PER_M
from setout.write.packet.epanet import SolvedNetwork, write_inp


def field(emitters: int) -> PipeTree:
    """Make laterals of 100 outlets on manifolds that carry 20 of them each."""
    one = comb(20, 100, slope=0.01, rough=0.1, k=0.9, step_m=1.0)
    copies, n = max(1, emitters // 2000), one.parent.size
    if emitters < 2000:
        return comb(emitters // 100, 100, slope=0.01, rough=0.1, k=0.9, step_m=1.0)
    shift = np.repeat(np.arange(copies) * n, n)
    parent = np.tile(one.parent, copies)
    k = np.tile(np.asarray(one.emitters.k), copies)
    return PipeTree(
        np.where(parent < 0, -1, parent + shift),
        np.tile(one.length_m, copies),
        np.tile(one.inside_mm, copies),
        np.tile(one.z_m, copies),
        Emitters(k, 0.5),
        one.friction,
    )


def long_lateral(emitters: int) -> PipeTree:
    """Make one pipe with all the outlets, wide enough for them."""
    n = np.arange(emitters + 1)
    return PipeTree(n - 1, (n > 0) * 0.5, np.full(n.size, 2.0 * emitters**0.5), n * 0.0, Emitters((n > 0) * 0.3))


def timed(work: Callable[[], object]) -> float:
    """Return the CPU seconds of some work."""
    start = time.process_time()
    work()
    return time.process_time() - start


def epanet(path: Path) -> tuple[float, float, np.ndarray]:
    """Return CPU seconds of opening and of solving a file, and the pressures."""
    from epanet import toolkit as en

    project = en.createproject()
    opened = timed(lambda: en.open(project, str(path), str(path) + ".rpt", ""))
    solved = timed(lambda: en.solveH(project))
    junctions = en.getcount(project, en.NODECOUNT) - en.getcount(project, en.TANKCOUNT)
    pressure = np.array([en.getnodevalue(project, i, en.PRESSURE) for i in range(1, junctions + 1)])
    en.close(project)
    return opened, solved, pressure


def measure(tree: PipeTree, head: float, rounds: int, folder: Path) -> tuple[float, float, float, float]:
    """Return the CPU seconds of ours, EPANET's opening and solving, and the largest difference in pressure."""
    found, n = solve(tree, head), tree.parent.size
    roots = int((tree.parent < 0).sum())
    path = folder / "network.inp"
    write_inp(path, SolvedNetwork.of(tree, np.full(roots, head), found, np.zeros(n), np.zeros(n)))
    ours, opened, solved = [], [], []
    for _ in range(rounds):
        ours.append(timed(lambda: solve(tree, head)))
        one, other, pressure = epanet(path)
        opened.append(one)
        solved.append(other)
    off = np.abs(found.pressure_kpa[tree.parent >= 0] / KPA_PER_M / pressure - 1).max()
    return statistics.median(ours), statistics.median(opened), statistics.median(solved), float(off)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--emitters", type=int, nargs="+", default=[1000, 10_000, 100_000])
    parser.add_argument("--rounds", type=int, default=5)
    chosen = parser.parse_args()
    for name, make in (("laterals of 100 on manifolds", field), ("one lateral", long_lateral)):
        times = []
        for emitters in chosen.emitters:
            tree = make(emitters)
            with tempfile.TemporaryDirectory() as folder:
                ours, opened, solved, off = measure(tree, 30.0, chosen.rounds, Path(folder))
            times.append((emitters, ours))
            sys.stdout.write(
                f"{name}, {emitters:,} emitters: ours {ours:.4f} CPU s; EPANET {opened + solved:.4f} = "
                f"{(opened + solved) / ours:.1f} x ours, solve only {solved:.4f} = {solved / ours:.1f} x ours; "
                f"pressures differ by at most {100 * off:.4f} %\n"
            )
        for (small, a), (large, b) in pairwise(times):
            sys.stdout.write(
                f"  cost ~ emitters to the power of {math.log(b / a) / math.log(large / small):.2f} from {small:,} to {large:,}\n"
            )


if __name__ == "__main__":
    main()
