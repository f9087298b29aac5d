"""The arguments of the command: which commands there are, and what each takes."""

from __future__ import annotations

import argparse
from typing import Any

from setout._version import __version__

CAUTION = (
    "Have buried utilities located before digging, keep clear of overhead lines, and check every setback with local codes "
    "and licensed practice."
)
"""What every command ends with."""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the command; ``run`` of what it returns is the name of the command's work."""
    made = argparse.ArgumentParser(
        prog="setout", description="From survey files of a property to a planting that can be staked, piped and grown.", epilog=CAUTION
    )
    made.add_argument("--version", action="version", version=f"setout {__version__}")
    commands = made.add_subparsers(dest="command", metavar="COMMAND")
    for add in (
        _demo_options,
        _new_options,
        _plan_options,
        _packet_options,
        _check_options,
        _compare_options,
        _batch_options,
        _plants_options,
        _keys_options,
    ):
        command = add(commands)
        command.add_argument("--json", action="store_true", help="results as JSON on stdout")
        command.add_argument("--quiet", action="store_true", help="no progress on the terminal")
    return made


def _demo_options(commands: Any) -> argparse.ArgumentParser:
    demo: argparse.ArgumentParser = commands.add_parser("demo", help="write the demo property's survey files and plan file, and plan it")
    demo.add_argument("folder", nargs="?", default="setout-demo", metavar="DIR", help="where to (default: setout-demo)")
    demo.set_defaults(run="demo")
    return demo


def _new_options(commands: Any) -> argparse.ArgumentParser:
    new: argparse.ArgumentParser = commands.add_parser(
        "new", help="look at survey files and write a plan file with a comment on every choice"
    )
    several: dict[str, Any] = {"nargs": "+", "action": "extend", "default": [], "metavar": "F"}
    new.add_argument("folder", metavar="DIR", help="folder that the plan file is written into")
    new.add_argument("--boundary", required=True, metavar="F", help="property line: a vector file, corner CSV or deed text")
    new.add_argument("--dem", **several, help="elevation raster, or several tiles")
    new.add_argument("--features", **several, help="buildings, roads, wells, lines, water points")
    new.add_argument("--units", choices=("us", "si"), help="what people read (default: as the survey)")
    new.add_argument("--crs", metavar="CODE", help="CRS of files that do not say theirs, such as EPSG:2272")
    new.add_argument("--dem-unit", metavar="UNIT", help='unit of heights of a DEM that does not say it, such as "ft"')
    new.set_defaults(run="new")
    return new


def _plan_options(commands: Any) -> argparse.ArgumentParser:
    plan: argparse.ArgumentParser = commands.add_parser("plan", help="plan a property: the main job")
    plan.add_argument("plan", metavar="PLAN", help="the plan file")
    plan.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    plan.add_argument("--only", nargs="+", metavar="PRODUCT", help="write only some of: geopackage, map, terrain, report, packet")
    plan.set_defaults(run="plan")
    return plan


def _packet_options(commands: Any) -> argparse.ArgumentParser:
    packet: argparse.ArgumentParser = commands.add_parser("packet", help="write only the contractor's files")
    packet.add_argument("plan", metavar="PLAN", help="the plan file")
    packet.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    packet.set_defaults(run="plan", only=["packet"])
    return packet


def _check_options(commands: Any) -> argparse.ArgumentParser:
    check: argparse.ArgumentParser = commands.add_parser("check", help="judge positions, from the plan or surveyed after planting")
    check.add_argument("plan", metavar="PLAN", help="the plan file")
    check.add_argument(
        "--trees",
        required=True,
        metavar="FILE",
        help='positions: "out/plan.gpkg:trees", or what was surveyed: CSV, PNEZD, GPX, GeoPackage and others',
    )
    check.add_argument("--out", metavar="DIR", help="write asbuilt.gpkg, asbuilt.html and asbuilt_map.html into this folder")
    check.set_defaults(run="check")
    return check


def _compare_options(commands: Any) -> argparse.ArgumentParser:
    compare: argparse.ArgumentParser = commands.add_parser(
        "compare", help="the same ground under several spacings: trees, work, light, water, cost"
    )
    compare.add_argument("plan", metavar="PLAN", help="the plan file; its [[option]] tables are compared")
    compare.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    compare.add_argument("--block", metavar="NAME", help="the block to vary (default: the first)")
    compare.add_argument("--steps", nargs="+", default=[], metavar="STEP", help='steps to compare, such as "8 ft" "12 ft" "16 ft"')
    compare.add_argument(
        "--hours-per-week", type=_above_zero, metavar="H", help="find the closest spacing that H hours of work a week allow"
    )
    compare.add_argument("--trees", type=_count, metavar="N", help="find the widest spacing at which N trees fit")
    compare.set_defaults(run="compare")
    return compare


def _batch_options(commands: Any) -> argparse.ArgumentParser:
    batch: argparse.ArgumentParser = commands.add_parser("batch", help="plan many properties at once")
    batch.add_argument("plans", nargs="+", metavar="PLAN", help="plan files, each in a folder of its own")
    batch.add_argument(
        "--scheduler", metavar="ADDRESS", help="a Dask cluster, as tcp://host:8786 (default: the processors of this machine)"
    )
    batch.set_defaults(run="batch")
    return batch


def _above_zero(text: str) -> float:
    value = float(text)
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text} is not more than 0")
    return value


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"{text} is less than 1")
    return value


def _plants_options(commands: Any) -> argparse.ArgumentParser:
    plants: argparse.ArgumentParser = commands.add_parser("plants", help="the plant catalogue with its sources")
    plants.add_argument("word", nargs="?", default="", metavar="WORD", help="plants with this word in their name, with all figures")
    plants.add_argument("--plan", metavar="PLAN", help="with the grower's own plants of this plan file, marked as such")
    plants.add_argument("--units", choices=("us", "si"), help="what people read (default: as the plan file, else us)")
    plants.set_defaults(run="plants")
    return plants


def _keys_options(commands: Any) -> argparse.ArgumentParser:
    keys: argparse.ArgumentParser = commands.add_parser("keys", help="the keys of the plan file: what each is, and what holds without it")
    keys.add_argument("word", nargs="?", default="", metavar="WORD", help="keys with this word in their name or meaning")
    page = keys.add_mutually_exclusive_group()
    page.add_argument("--schema", action="store_true", help="the plan file as a JSON Schema, for editors")
    page.add_argument("--markdown", action="store_true", help="the reference of the plan file as a page")
    keys.set_defaults(run="keys")
    return keys
