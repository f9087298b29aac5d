"""The command: parse, one call, report. The one place where errors become text and an exit code.

Results go to stdout, talk and progress to stderr. Exit codes: 0 done; 1 check found trees that fall short; 2 the input
cannot be used; 3 interrupted or out of space.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import signal
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from setout import __version__
from setout.errors import SetoutError

if TYPE_CHECKING:
    from setout.nouns import Block, Planting, Rows

CAUTION = (
    "Have buried utilities located before digging, keep clear of overhead lines, and check every setback with local codes "
    "and licensed practice."
)
SHOWN = 12
"""Findings of one kind shown on the screen; all are in the report."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    argv : Sequence of str, optional
        Arguments; those of the process when absent.

    Returns
    -------
    int
        The exit code.
    """
    args = argparse.Namespace(written=False)
    try:
        _get_ready()
        return _run(argv, args)
    except SetoutError as error:
        for fault in error.faults:
            _say(f"setout: {_one_line(str(fault))}")
        return error.exit_code
    except (KeyboardInterrupt, _Stopped) as stopped:
        written = args.written or getattr(stopped, "__notes__", [])
        left = "the results are written" if written else "earlier results are as they were"
        _say(f"setout: interrupted; {left}")
        return 3
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # noqa: BLE001 - whatever it is, the user gets words and not a traceback
        if os.environ.get("SETOUT_TRACEBACK"):
            traceback.print_exc()
        said = _one_line(" ".join(str(error).split())[:300])
        left = "the results are written" if args.written else "nothing was written"
        _say(f"setout: something went wrong that setout did not expect ({type(error).__name__}: {said}); {left}; "
             "please report it, with what SETOUT_TRACEBACK=1 in the environment adds")  # fmt: skip
        return 3 if args.written else 2


def _run(argv: Sequence[str] | None, args: argparse.Namespace) -> int:
    """Parse the arguments and do what they ask for."""
    parser = _parser()
    try:
        parser.parse_args(argv, args)
        if args.command is None:
            parser.print_help()
            return 0
        code: int = args.run(args)
        return code
    finally:
        if sys.stdout is not None:
            sys.stdout.flush()


def _get_ready() -> None:
    """Let polite kills end the work as Ctrl-C does, and names that the terminal cannot show be shown another way."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) is not signal.SIG_IGN:  # as nohup asks
            signal.signal(getattr(signal, name), _stop)
    sys.unraisablehook = _not_raised


class _Stopped(BaseException):
    """The process was asked to end."""


def _stop(_number: int, _frame: Any) -> NoReturn:
    raise _Stopped


def _not_raised(lost: Any) -> None:
    """Interrupt once more, a moment later, where Python could not raise an interruption: in clearing something away."""
    if issubclass(lost.exc_type, (KeyboardInterrupt, _Stopped)) and hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, _stop)
        signal.setitimer(signal.ITIMER_REAL, 0.001)
    elif not issubclass(lost.exc_type, (KeyboardInterrupt, _Stopped)):
        sys.__unraisablehook__(lost)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="setout",
        description="From survey files of a property to a planting that can be staked, piped and grown.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"setout {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for add in (
        _demo_options, _new_options, _plan_options, _packet_options, _check_options, _compare_options, _plants_options,
    ):  # fmt: skip
        command = add(commands)
        command.add_argument("--json", action="store_true", help="results as JSON on stdout")
        command.add_argument("--quiet", action="store_true", help="no progress on stderr")
    return parser


def _demo_options(commands: Any) -> argparse.ArgumentParser:
    demo: argparse.ArgumentParser = commands.add_parser(
        "demo", help="write the demo property's survey files and plan file, and plan it"
    )
    demo.add_argument("folder", nargs="?", default="setout-demo", metavar="DIR", help="where to (default: setout-demo)")
    demo.set_defaults(run=_demo)
    return demo


def _new_options(commands: Any) -> argparse.ArgumentParser:
    new: argparse.ArgumentParser = commands.add_parser(
        "new", help="look at survey files and write a plan file with a comment on every choice"
    )
    several: dict[str, Any] = {"nargs": "+", "action": "extend", "default": [], "metavar": "F"}
    new.add_argument("folder", metavar="DIR", help="folder that the plan file is written into")
    new.add_argument(
        "--boundary", required=True, metavar="F", help="property line: a vector file, corner CSV or deed text"
    )
    new.add_argument("--dem", **several, help="elevation raster, or several tiles")
    new.add_argument("--features", **several, help="buildings, roads, wells, lines, water points")
    new.add_argument("--units", choices=("us", "si"), help="what people read (default: as the survey)")
    new.add_argument("--crs", metavar="CODE", help="CRS of files that do not say theirs, such as EPSG:2272")
    new.add_argument("--dem-unit", metavar="UNIT", help='unit of heights of a DEM that does not say it, such as "ft"')
    new.set_defaults(run=_new)
    return new


def _plan_options(commands: Any) -> argparse.ArgumentParser:
    plan: argparse.ArgumentParser = commands.add_parser("plan", help="plan a property: the main job")
    plan.add_argument("plan", metavar="PLAN", help="the plan file")
    plan.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    plan.add_argument(
        "--only", nargs="+", metavar="PRODUCT", help="write only some of: geopackage, map, terrain, report, packet"
    )
    plan.set_defaults(run=_plan)
    return plan


def _packet_options(commands: Any) -> argparse.ArgumentParser:
    packet: argparse.ArgumentParser = commands.add_parser("packet", help="write only the contractor's files")
    packet.add_argument("plan", metavar="PLAN", help="the plan file")
    packet.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    packet.set_defaults(run=_plan, only=["packet"])
    return packet


def _check_options(commands: Any) -> argparse.ArgumentParser:
    check: argparse.ArgumentParser = commands.add_parser(
        "check", help="judge positions, from the plan or surveyed after planting"
    )
    check.add_argument("plan", metavar="PLAN", help="the plan file")
    check.add_argument(
        "--trees", required=True, metavar="FILE", help='positions: "out/plan.gpkg:trees" or any point file'
    )
    check.set_defaults(run=_check)
    return check


def _compare_options(commands: Any) -> argparse.ArgumentParser:
    compare: argparse.ArgumentParser = commands.add_parser(
        "compare", help="the same ground under several spacings: trees, work, light, water, cost"
    )
    compare.add_argument("plan", metavar="PLAN", help="the plan file; its [[option]] tables are compared")
    compare.add_argument("--out", metavar="DIR", help="folder of the results (default: out beside the plan file)")
    compare.add_argument("--block", metavar="NAME", help="the block to vary (default: the first)")
    compare.add_argument(
        "--steps", nargs="+", default=[], metavar="STEP", help='steps to compare, such as "8 ft" "12 ft" "16 ft"'
    )
    compare.add_argument(
        "--hours-per-week",
        type=_above_zero,
        metavar="H",
        help="find the closest spacing that H hours of work a week allow",
    )
    compare.add_argument("--trees", type=_count, metavar="N", help="find the widest spacing at which N trees fit")
    compare.set_defaults(run=_compare)
    return compare


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
    plants.add_argument(
        "word", nargs="?", default="", metavar="WORD", help="plants with this word in their name, with all figures"
    )
    plants.add_argument("--plan", metavar="PLAN", help="with the grower's own plants of this plan file, marked as such")
    plants.add_argument("--units", choices=("us", "si"), help="what people read (default: as the plan file, else us)")
    plants.set_defaults(run=_plants)
    return plants


def _say(text: str) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more
        print(text, file=sys.stderr, flush=True)  # noqa: T201


def _one_line(text: str) -> str:
    """Show signs that end a line, or that a terminal obeys, as what they are; names in files may hold any."""
    return "".join(sign if sign >= " " and not "\x7f" <= sign <= "\x9f" else repr(sign)[1:-1] for sign in text)


def _show(text: str) -> None:
    print(text)  # noqa: T201


def _demo(args: argparse.Namespace) -> int:
    from setout import demo, run

    folder = Path(args.folder)
    path = demo.write_demo(folder)
    planting = run.plan(path, folder / "out", say=None if args.quiet else _progress)
    args.written = True
    _report(planting, folder / "out", as_json=args.json)
    return 0


def _new(args: argparse.Namespace) -> int:
    from setout import newplan

    path = newplan.write_new_plan(
        Path(args.folder),
        boundary=Path(args.boundary),
        dem=[Path(name) for name in args.dem],
        features=[Path(name) for name in args.features],
        units=args.units,
        crs=args.crs,
        dem_unit=args.dem_unit,
    )
    _show(json.dumps({"plan": str(path)}) if args.json else f"{path}\nRead it through, then: setout plan {path}")
    return 0


def _plan(args: argparse.Namespace) -> int:
    from setout import run

    out = Path(args.out) if args.out else Path(args.plan).parent / "out"
    products = run.PRODUCTS if args.only is None else tuple(args.only)
    planting = run.plan(args.plan, out, products=products, say=None if args.quiet else _progress)
    args.written = True
    _report(planting, out, as_json=args.json)
    return 0


def _progress(text: str) -> None:
    _say(f"  {text} ...")


def _report(planting: Planting, out: Path, *, as_json: bool) -> None:
    """Show the summary of a finished plan."""
    from setout.units import show_area

    site, account = planting.site, planting.usable.account
    counts = {block.name: int((planting.trees.block == k).sum()) for k, block in enumerate(site.blocks)}
    if as_json:
        record = {
            "out": str(out), "name": site.name, "trees": len(planting.trees), "trees_by_block": counts,
            "gross_m2": account[0].remaining_m2, "net_m2": account[-1].remaining_m2,
            "findings": [f.told() for f in planting.findings],
        }  # fmt: skip
        _show(json.dumps(record, indent=1))
        return
    gross, net = (
        show_area(account[0].remaining_m2, site.units),
        show_area(account[-1].remaining_m2, site.units),
    )
    _show(f"{site.name}: {len(planting.trees):,} trees on {net} of usable ground ({gross} in all)")
    for k, block in enumerate(site.blocks):
        _show(f"  {block.name}: {_set_out(block, counts[block.name], planting.rows, k, site.units)}")
    shown: dict[str, int] = {}
    for finding in planting.findings:
        shown[finding.code] = shown.get(finding.code, 0) + 1
        if finding.severity != "note" and shown[finding.code] <= SHOWN:
            remedy = f"; {finding.remedy}" if finding.remedy else ""
            _show(f"  {finding.severity}: {_one_line(finding.message + remedy)}")
    _show(f"Results in {out}: open map.html or report.html there.\n{CAUTION}")


def _set_out(block: Block, count: int, rows: Rows, index: int, units: str) -> str:
    """Say in a line how a block is set out."""
    from setout.units import show_length

    own, pattern = rows.block == index, block.pattern
    if pattern.kind == "points":
        return f"{count:,} single trees"
    lines = f"{int(own.sum())} {'line' if pattern.kind == 'screen' else 'row'}{'' if own.sum() == 1 else 's'}"
    said = f"{count:,} trees in {lines}, {pattern.kind}, step {show_length(pattern.step_m, units)}"
    if pattern.kind == "screen":
        return said
    between = show_length(pattern.row_distance_m, units)
    if pattern.row_distance_max_m < float("inf"):
        between += f" to {show_length(pattern.row_distance_max_m, units)}"
    bent = {"contour": "along the contour", "guide": "along a guide line"}.get(str(block.direction), "")
    way = bent or (f"bearing {rows.bearing_deg[own][0]:.1f} deg" if own.any() else "bearing none")
    return f"{said}, rows {between} apart, {way}"


def _check(args: argparse.Namespace) -> int:
    from setout import run

    judged = run.check(args.plan, args.trees, say=None if args.quiet else _progress)
    short = len({f.tree_id for f in judged.findings})
    if args.json:
        _show(
            json.dumps(
                {"trees": judged.trees, "short": short, "findings": [f.told() for f in judged.findings]},
                indent=1,
            )
        )
    else:
        _show(f"{judged.trees:,} trees looked at, {short:,} fall short")
        for finding in judged.findings[:200]:
            measured = f": {finding.measured}" if finding.measured else ""
            _show(_one_line(f"  {finding.message}{measured} (required {finding.required}); {finding.remedy}"))
        if len(judged.findings) > 200:
            _show(f"  and {len(judged.findings) - 200:,} more; --json gives all")
    return 1 if short else 0


def _compare(args: argparse.Namespace) -> int:
    from setout import run
    from setout.write import comparison

    out = Path(args.out) if args.out else Path(args.plan).parent / "out"
    limits = run.Limits(args.hours_per_week, args.trees)
    say = None if args.quiet else _progress
    result = run.compare(args.plan, out, steps=args.steps, block=args.block, limits=limits, say=say)
    args.written = True
    if args.json:
        _show(json.dumps(comparison.record(result), indent=1, allow_nan=False))
        return 0
    for line in comparison.table_lines(result):
        _show(_one_line(line))
    _show(f"Results in {out}: open compare.html there.\n{CAUTION}")
    return 0


def _plants(args: argparse.Namespace) -> int:
    from setout.errors import SetoutError as Error
    from setout.tables import catalogue
    from setout.write import plant_tables

    plants, units = catalogue.entries(), args.units or "us"
    if args.plan:
        from setout.read import plan_file

        own, plan_units = plan_file.read_own_plants(Path(args.plan))
        plants, units = catalogue.entries(own.values()), args.units or plan_units
    word = " ".join(args.word.split()).casefold()
    found = [entry for entry in plants if word in f"{entry.name} ({entry.note})".casefold()]
    if not found:
        raise Error(f'no plant has "{args.word}" in its name', "setout plants", "leave the word out to see them all")
    if args.json:
        _show(json.dumps([plant_tables.plant_record(entry) for entry in found], indent=1))
        return 0
    lines = [line for entry in found for line in (*plant_tables.plant_sheet(entry, units), "")]
    if not word:
        lines = [
            *plant_tables.plant_list(found, units),
            "",
            'All figures of a plant, with sources: "setout plants WORD".',
            "",
        ]
    for line in (*lines, *plant_tables.source_list(found)):
        _show(_one_line(line))
    return 0
