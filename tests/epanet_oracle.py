"""EPANET, run in a process of its own: pressures and flows of input files, from owa-epanet or from the 2.2 that wntr brings.

``python tests/epanet_oracle.py owa|wntr OUT.npz FILE.inp ...``
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Found:
    """What EPANET found at the nodes of a file, in its order: pressure [m of water], flow out [l/h]."""

    node: list[str]
    pressure_m: np.ndarray
    out_lph: np.ndarray

    def at(self, names: list[str]) -> tuple[np.ndarray, np.ndarray]:
        """Return pressure and flow out at some nodes."""
        place = {name: i for i, name in enumerate(self.node)}
        index = np.array([place[name] for name in names])
        return self.pressure_m[index], self.out_lph[index]


def run_epanet(paths: list[Path], engine: str = "owa") -> list[Found]:
    """Solve input files."""
    out = paths[0].with_suffix(".npz")
    done = subprocess.run([sys.executable, __file__, engine, str(out), *map(str, paths)], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    with np.load(out) as found:
        return [Found(found[f"n{i}"].tolist(), found[f"p{i}"], found[f"q{i}"]) for i in range(len(paths))]


def _owa(path: str) -> tuple[list[str], list[float], list[float]]:
    from epanet import toolkit as en

    project = en.createproject()
    en.open(project, path, path + ".rpt", "")
    en.solveH(project)
    nodes = range(1, en.getcount(project, en.NODECOUNT) + 1)
    junctions = [i for i in nodes if en.getnodetype(project, i) == en.JUNCTION]
    names = [en.getnodeid(project, i) for i in junctions]
    pressure = [en.getnodevalue(project, i, en.PRESSURE) for i in junctions]
    out = [en.getnodevalue(project, i, en.DEMAND) * 60 for i in junctions]
    en.close(project)
    return names, pressure, out


def _wntr(path: str) -> tuple[list[str], list[float], list[float]]:
    from wntr.epanet.toolkit import ENepanet

    en = ENepanet(version=2.2)
    en.ENopen(path, path + ".rpt", path + ".bin")
    en.ENopenH()
    en.ENinitH(0)
    en.ENrunH()
    names, pressure, out = [], [], []
    for i in range(1, en.ENgetcount(0) + 1):
        if en.ENgetnodetype(i) == 0:
            names.append(en.ENgetnodeid(i))
            pressure.append(en.ENgetnodevalue(i, 11))
            out.append(en.ENgetnodevalue(i, 9) * 60)
    en.ENcloseH()
    en.ENclose()
    return names, pressure, out


def main() -> None:
    """Run the files named on the command line."""
    engine, out, *paths = sys.argv[1:]
    arrays = {}
    for i, path in enumerate(paths):
        names, pressure, flow = (_owa if engine == "owa" else _wntr)(path)
        arrays |= {f"n{i}": np.array(names), f"p{i}": np.array(pressure), f"q{i}": np.array(flow)}
    np.savez(out, **arrays)


if __name__ == "__main__":
    main()
