"""The packet: the files handed to a contractor."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from setout.model import Planting
from setout.model.staking import StakeSet
from setout.progress import Say, each, silent
from setout.words.staking import described
from setout.write.packet import dxf, lists, pointfiles, stakeout, workbook


def write_packet(planting: Planting, stakes: StakeSet, folder: Path, say: Say = silent) -> None:
    """Write the stake-out files, the lists, and the note that goes with them."""
    folder.mkdir()
    stakes = described(stakes)
    trees, monuments, boundary = stakes.trees, stakes.monuments, planting.site.boundary
    files: tuple[Callable[[], object], ...] = (
        lambda: stakeout.write_pnezd(folder / "stakeout.csv", trees, monuments, (stakes.unit, stakes.size)),
        lambda: pointfiles.write_full(folder / "points.csv", stakes),
        lambda: pointfiles.write_control(folder / "control.csv", stakes),
        lambda: stakeout.write_gpx(folder / "trees.gpx", trees, stakes.name, stakes.short, monuments=monuments),
        lambda: _write_gpx_by_block(folder / "gpx", stakes),
        lambda: pointfiles.write_kml(folder / "trees.kml", stakes, boundary),
        lambda: pointfiles.write_geojson(folder / "trees.geojson", stakes, boundary),
        lambda: dxf.write_dxf(folder / "stakeout.dxf", stakes, planting),
        lambda: _write_lists(folder, planting, stakes),
        lambda: stakeout.write_readme(folder / "README.txt", stakes),
    )
    for write in each(files, "files of the packet", say):
        write()


def _write_lists(folder: Path, planting: Planting, stakes: StakeSet) -> None:
    """Write the lists, each as a file and all as sheets of a workbook."""
    made = lists.lists_of(planting, stakes)
    for one in made:
        if one.file:
            workbook.write_csv(folder / f"{one.file}.csv", one)
    workbook.write_workbook(folder / "lists.xlsx", made, stakes)


def _write_gpx_by_block(folder: Path, stakes: StakeSet) -> None:
    """Write a file of waypoints for every block; many receivers hold only some thousand points (from memory)."""
    folder.mkdir()
    for index, block in enumerate(stakes.blocks):
        own = (stakes.block == index).nonzero()[0]
        if not len(own):
            continue
        letters = re.sub(r"[^a-z0-9]+", "-", block.lower().encode("ascii", "ignore").decode()).strip("-")[:24]
        path = folder / (f"block-{index + 1:02d}-{letters}.gpx" if letters else f"block-{index + 1:02d}.gpx")
        names = [stakes.short[k] for k in own.tolist()]
        title = f"{stakes.name}: block {block}"
        stakeout.write_gpx(path, stakes.trees.take(own), title, names, monuments=stakes.monuments)
