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
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from setout.cli import summary
from setout.cli.arguments import CAUTION, parser
from setout.cli.progress import listening
from setout.cli.summary import one_line
from setout.errors import Interrupted, SetAside, SetoutError

_WARNED = warnings.showwarning


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command."""
    args = argparse.Namespace(written=False, many=False)
    try:
        _get_ready()
        return _run(argv, args)
    except SetoutError as error:
        for fault in error.faults:
            _say(f"setout: {one_line(str(fault))}")
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
        said = one_line(" ".join(str(error).split())[:300])
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
        _say(f"setout: note: {one_line(str(message))}")
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
        print(text, file=sys.stderr, flush=True)  # noqa: T201 - the one way to the user


def _show(text: str) -> None:
    _unwritten(lambda: print(text))  # noqa: T201 - as above


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


def _results(args: argparse.Namespace, record: Callable[[], Any], lines: Iterable[str]) -> None:
    """Show results: as lines, or as JSON where that is asked for."""
    for line in [json.dumps(record(), indent=1, allow_nan=False)] if args.json else lines:
        _show(line)


def _demo(args: argparse.Namespace) -> int:
    from setout import demo

    folder = Path(args.folder)
    args.plan, args.out, args.only = demo.write_demo(folder), folder / "out", None
    return _plan(args)


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
    _results(args, lambda: {"plan": str(path)}, [f"{path}\nRead it through, then: setout plan {path}"])
    return 0


def _plan(args: argparse.Namespace) -> int:
    from setout import run

    out = Path(args.out) if args.out else Path(args.plan).parent / "out"
    products = run.PRODUCTS if args.only is None else tuple(args.only)
    with listening(quiet=args.quiet) as say:
        planting = run.plan(args.plan, out, products=products, say=say, placed=_noting(args))
    _results(args, lambda: summary.plan_record(planting, out), summary.plan_lines(planting, out, products))
    return 0


def _check(args: argparse.Namespace) -> int:
    from setout import run

    with listening(quiet=args.quiet) as say:
        judged = run.check(args.plan, args.trees, args.out, say=say, placed=_noting(args))
    _results(args, lambda: summary.check_record(judged), summary.check_lines(judged, args.out))
    # trees that a survey cannot tell are none that are right
    return 1 if judged.short or (judged.built is not None and judged.built.set_up.coarse) else 0


def _compare(args: argparse.Namespace) -> int:
    from setout import run
    from setout.write.compare import page

    out = Path(args.out) if args.out else Path(args.plan).parent / "out"
    limits = run.Limits(args.hours_per_week, args.trees)
    with listening(quiet=args.quiet) as say:
        result = run.compare(args.plan, out, steps=args.steps, block=args.block, limits=limits, say=say, placed=_noting(args))
    lines = map(one_line, page.table_lines(result))
    _results(args, lambda: page.record(result), [*lines, f"Results in {out}: open compare.html there.\n{CAUTION}"])
    return 0


def _batch(args: argparse.Namespace) -> int:
    from setout import run

    args.many = True  # each is written by a process of its own
    with listening(quiet=args.quiet) as say:
        done = run.batch(args.plans, scheduler=args.scheduler, say=say)
    for one in done:
        for fault in one.faults:
            _say(one_line(f"setout: {one.plan}: {fault}"))
    _results(args, lambda: summary.batch_record(done), summary.batch_lines(done))
    return 3 if any(one.lost for one in done) else 2 if any(one.faults for one in done) else 0


def _plants(args: argparse.Namespace) -> int:
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
        raise SetoutError(f'no plant has "{args.word}" in its name', "setout plants", "leave the word out to see them all")
    lines = [line for entry in found for line in (*plant_tables.plant_sheet(entry, units), "")]
    if not word:
        lines = [*plant_tables.plant_list(found, units), "", 'All figures of a plant, with sources: "setout plants WORD".', ""]
    lines += plant_tables.source_list(found)
    _results(args, lambda: [plant_tables.plant_record(entry) for entry in found], map(one_line, lines))
    return 0


def _keys(args: argparse.Namespace) -> int:
    from setout.planfile import keys, schema
    from setout.words import keys as key_words

    if args.schema or args.markdown:
        _show((schema.schema_text() if args.schema else key_words.reference()).removesuffix("\n"))
        return 0
    found = key_words.with_word(keys.every_key(), args.word)
    if not found:
        raise SetoutError(f'no key has "{args.word}" in its name or meaning', "setout keys", "leave the word out to see them all")
    if args.json:
        _show(json.dumps([key_words.key_record(key) for key in found], indent=1))
        return 0
    for line in key_words.key_lines(found):
        _show(line)
    return 0


_WORK = {"demo": _demo, "new": _new, "plan": _plan, "check": _check, "compare": _compare, "batch": _batch, "plants": _plants, "keys": _keys}
"""What each command does."""
