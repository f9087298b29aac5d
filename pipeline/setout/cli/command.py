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
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from setout.cli.arguments import CAUTION, parser
from setout.errors import Interrupted, SetAside, SetoutError

if TYPE_CHECKING:
    from setout.model import Block, Planting, Rows
    from setout.words.grouped import Kind

SHOWN = 12
"""Lines of findings of one code shown on the screen; all are in the report."""
_WARNED = warnings.showwarning


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command."""
    args = argparse.Namespace(written=False, many=False)
    try:
        _get_ready()
        return _run(argv, args)
    except SetoutError as error:
        for fault in error.faults:
            _say(f"setout: {_one_line(str(fault))}")
        return error.exit_code
    except (KeyboardInterrupt, _Stopped):
        left = "the results are written" if args.written else "earlier results are as they were"
        left = "each property has its earlier results or whole new ones" if args.many else left
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
        _say(
            f"setout: something went wrong that setout did not expect ({type(error).__name__}: {said}); {left}; "
            "please report it, with what SETOUT_TRACEBACK=1 in the environment adds"
        )
        return 3 if args.written else 2


def _noting(args: argparse.Namespace) -> Callable[[], None]:
    """Return what notes that the results of a command are in place."""
    return lambda: setattr(args, "written", True)


def _run(argv: Sequence[str] | None, args: argparse.Namespace) -> int:
    """Parse the arguments and do what they ask for."""
    made = parser()
    try:
        made.parse_args(argv, args)
        if args.command is None:
            made.print_help()
            return 0
        code: int = _WORK[args.run](args)
        return code
    finally:
        _unwritten(lambda: sys.stdout.flush() if sys.stdout is not None else None)


def _get_ready() -> None:
    """Let polite kills end the work as Ctrl-C does, and names that the terminal cannot show be shown another way."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) is not signal.SIG_IGN:  # as nohup asks
            signal.signal(getattr(signal, name), _stop)
    sys.unraisablehook = _not_raised
    warnings.showwarning = _warned


def _warned(message: Warning | str, category: type[Warning], filename: str, lineno: int, file: Any = None, line: str | None = None) -> None:
    """Show what was set aside in a line of its own, and other warnings as ever."""
    if issubclass(category, SetAside):
        _say(f"setout: note: {_one_line(str(message))}")
    else:
        _WARNED(message, category, filename, lineno, file, line)


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


def _say(text: str) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more
        print(text, file=sys.stderr, flush=True)  # noqa: T201


def _one_line(text: str) -> str:
    """Show signs that end a line, or that a terminal obeys, as what they are; names in files may hold any."""
    return "".join(sign if sign >= " " and not "\x7f" <= sign <= "\x9f" else repr(sign)[1:-1] for sign in text)


def _show(text: str) -> None:
    _unwritten(lambda: print(text))  # noqa: T201


def _unwritten(work: Callable[[], None]) -> None:
    """Say so where the standard output takes no more: a full disk, say; what is still held back is thrown away."""
    try:
        work()
    except BrokenPipeError:
        raise
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise Interrupted(
            f"what the command has to show cannot be written ({error.strerror})",
            "standard output",
            "free some space there, or send it elsewhere; results that are written stay",
        ) from None


def _demo(args: argparse.Namespace) -> int:
    from setout import demo, run

    folder = Path(args.folder)
    path = demo.write_demo(folder)
    planting = run.plan(path, folder / "out", say=None if args.quiet else _progress, placed=_noting(args))
    _report(planting, folder / "out", run.PRODUCTS, as_json=args.json)
    return 0


def _new(args: argparse.Namespace) -> int:
    from setout.run import newplan

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
    planting = run.plan(args.plan, out, products=products, say=None if args.quiet else _progress, placed=_noting(args))
    _report(planting, out, products, as_json=args.json)
    return 0


def _progress(text: str) -> None:
    _say(f"  {text} ...")


def _report(planting: Planting, out: Path, products: Sequence[str], *, as_json: bool) -> None:
    """Show the summary of a finished plan, and which of its files to open first."""
    from setout.units import show_area
    from setout.words.findings import all_told
    from setout.words.grouped import kinds_of, stops_of, stops_said

    site, account = planting.site, planting.usable.account
    counts = {block.name: int((planting.trees.block == k).sum()) for k, block in enumerate(site.blocks)}
    if as_json:
        record = {
            "out": str(out),
            "name": site.name,
            "trees": len(planting.trees),
            "trees_by_block": counts,
            "gross_m2": account[0].remaining_m2,
            "net_m2": account[-1].remaining_m2,
            "stops": stops_of(planting.findings),
            "findings": [f.record() for f in all_told(planting.findings, site.units)],
        }
        _show(json.dumps(record, indent=1))
        return
    gross, net = (show_area(account[0].remaining_m2, site.units), show_area(account[-1].remaining_m2, site.units))
    stops = stops_said(planting.findings)
    short = f"; to be put right before planting: {stops}" if stops else ""
    _show(f"{_one_line(site.name)}: {len(planting.trees):,} trees on {net} of usable ground ({gross} in all){short}")
    for k, block in enumerate(site.blocks):
        _show(f"  {_one_line(block.name)}: {_set_out(block, counts[block.name], planting.rows, k, site.units)}")
    _show_kinds([kind for kind in kinds_of(all_told(planting.findings, site.units), planting.trees.ids) if kind.worst.severity != "note"])
    pages = [file for product, file in (("map", "map.html"), ("report", "report.html")) if product in products]
    open_first = " or ".join(pages) or ("packet/README.txt" if "packet" in products else "")
    _show(f"Results in {out}{f': open {open_first} there' if open_first else ''}.\n{CAUTION}")


def _show_kinds(kinds: Sequence[Kind]) -> None:
    """Show findings, a line a kind; of very many of one code the first."""
    shown: dict[str, int] = {}
    for kind in kinds:
        one = kind.worst
        shown[one.code] = shown.get(one.code, 0) + 1
        if shown[one.code] <= SHOWN:
            _show(_one_line(f"  {one.severity}: {kind.line}"))
    if more := sum(max(0, number - SHOWN) for number in shown.values()):
        _show(f"  and {more:,} more lines like these; --json gives all")


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
    from setout.model.asbuilt import WHOLE
    from setout.words.findings import all_told
    from setout.words.grouped import kinds_of, stops_said

    judged = run.check(args.plan, args.trees, args.out, say=None if args.quiet else _progress, placed=_noting(args))
    short = judged.short
    # trees that a survey cannot tell are none that are right
    code = 1 if short or (judged.built is not None and judged.built.set_up.coarse) else 0
    if args.json:
        told = [f.record() for f in all_told(judged.findings, judged.units)]
        _show(json.dumps({"trees": judged.trees, "short": short, **judged.record(), "findings": told}, indent=1))
        return code
    # what is wrong with the whole set-out comes first: it explains many of the rest
    findings = all_told(judged.findings, judged.units)
    whole = [finding for finding in findings if finding.code in WHOLE]
    if whole:
        _show("The set-out as a whole:")
    for finding in whole:
        _show(_one_line(f"  {finding.severity}: {finding.message}; {finding.remedy}"))
    rest = [finding for finding in findings if finding not in whole]
    systematic = judged.built is not None and judged.built.set_up.systematic
    stops = stops_said(rest)
    said = " besides the whole" if systematic else ""
    _show(f"{judged.trees:,} trees looked at, {short:,} fall short{said}{f': {stops}' if stops else ''}")
    if judged.counts:
        _show(
            ("  among each other: " if systematic else "  ")
            + ", ".join(f"{number:,} {word}" for word, number in judged.counts.items() if number)
        )
    _show_kinds(kinds_of(sorted(rest, key=lambda f: bool(f.tree_id) or f.severity == "note")))
    if args.out:
        _show(f"Results in {args.out}: open asbuilt.html there.\n{CAUTION}")
    return code


def _compare(args: argparse.Namespace) -> int:
    from setout import run
    from setout.write.compare import page

    out = Path(args.out) if args.out else Path(args.plan).parent / "out"
    limits = run.Limits(args.hours_per_week, args.trees)
    say = None if args.quiet else _progress
    result = run.compare(args.plan, out, steps=args.steps, block=args.block, limits=limits, say=say, placed=_noting(args))
    if args.json:
        _show(json.dumps(page.record(result), indent=1, allow_nan=False))
        return 0
    for line in page.table_lines(result):
        _show(_one_line(line))
    _show(f"Results in {out}: open compare.html there.\n{CAUTION}")
    return 0


def _batch(args: argparse.Namespace) -> int:
    from setout import run
    from setout.units import show_area

    args.many = True  # each is written by a process of its own
    done = run.batch(args.plans, scheduler=args.scheduler, say=None if args.quiet else _say)
    for one in done:
        for fault in one.faults:
            _say(_one_line(f"setout: {one.plan}: {fault}"))
    if args.json:
        told = [
            {
                "plan": one.plan,
                "out": one.out,
                "trees": one.trees,
                "net_m2": None if one.trees is None else one.net_m2,
                "stops": one.stops,
                "lost": one.lost,
                "faults": [str(fault) for fault in one.faults],
            }
            for one in done
        ]
        _show(json.dumps(told, indent=1, allow_nan=False))
    else:
        for one in done:
            if one.trees is not None:
                stops = f", {one.stops:,} to be put right before planting" if one.stops else ""
                _show(_one_line(f"{one.plan}: {one.trees:,} trees on {show_area(one.net_m2, one.units)}{stops}; results in {one.out}"))
        _show(CAUTION)
    return 3 if any(one.lost for one in done) else 2 if any(one.faults for one in done) else 0


def _plants(args: argparse.Namespace) -> int:
    from setout.errors import SetoutError as Error
    from setout.tables import catalogue
    from setout.words import plants as plant_tables

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
        lines = [*plant_tables.plant_list(found, units), "", 'All figures of a plant, with sources: "setout plants WORD".', ""]
    for line in (*lines, *plant_tables.source_list(found)):
        _show(_one_line(line))
    return 0


_WORK = {"demo": _demo, "new": _new, "plan": _plan, "check": _check, "compare": _compare, "batch": _batch, "plants": _plants}
"""What each command does."""
