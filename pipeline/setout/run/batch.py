"""Many properties at once: each plan in a process of its own, on this machine or on a cluster.

Every plan is accounted for: done, refused with its faults, or lost with its process. Where a process of this machine is
killed, those that were at work then are planned again, one at a time, so that the one that is killed is known and the rest
goes on.
"""

from __future__ import annotations

import os
import signal
import socket
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, as_completed
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from setout.errors import Fault, SetoutError
from setout.progress import Say, counted, silent

if TYPE_CHECKING:
    from collections.abc import Iterator
    from multiprocessing.connection import Connection


@dataclass(frozen=True, slots=True)
class Done:
    """What became of one plan.

    Attributes
    ----------
    plan : the plan file
    out : folder of its results
    trees : trees planted; None where it could not be planned
    net_m2 : usable ground [m2]; NaN where it could not be planned
    stops : findings that stop
    faults : why it could not be planned
    lost : its process was killed, or ran out of memory
    units : what people read in its plan, us or si
    """

    plan: str
    out: str
    trees: int | None
    net_m2: float
    stops: int = 0
    faults: tuple[Fault, ...] = ()
    units: str = "us"
    lost: bool = False


def batch(plans: Sequence[str | Path], *, scheduler: str | None = None, workers: int | None = None, say: Say = silent) -> tuple[Done, ...]:
    """Plan many properties; one that cannot be planned does not hold up the others."""
    paths = [Path(plan).absolute() for plan in plans]
    _apart(paths)
    found: dict[Path, Done] = {}
    left = list(dict.fromkeys(paths))
    with counted("properties", len(left), say) as more:

        def keep(path: Path, done: Done) -> None:
            found[path] = done
            more(1)

        while left:
            count = min(workers or os.cpu_count() or 1, len(left))
            with _executor(scheduler, count) as pool:
                _round(pool, left, keep)
            left = [path for path in left if path not in found]
            for path in left[:count]:  # those that were at work when a process was killed
                keep(path, _alone(path))
            left = left[count:]
    return tuple(found[path] for path in paths)


def _round(pool: Executor, paths: Sequence[Path], keep: Callable[[Path, Done], None]) -> None:
    """Plan until all are done, or until a process is killed: the pool takes no more work then."""
    waiting = {pool.submit(plan_one, str(path)): path for path in paths}
    for future in as_completed(waiting):
        try:
            done = future.result()
        except BrokenExecutor:
            continue
        except Exception as error:  # noqa: BLE001 - of a cluster, whose workers may be lost in many ways
            done = _lost(waiting[future], f"its worker was lost ({type(error).__name__}: {' '.join(str(error).split())[:200]})")
        keep(waiting[future], done)


def _alone(path: Path) -> Done:
    """Plan one property in a process that nothing else runs in, and say how that ended."""
    from multiprocessing import get_context

    context = get_context("spawn")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_answer, args=(there, plan_one, str(path)))
    process.start()
    there.close()
    try:
        done: Done = here.recv()
    except EOFError:
        process.join()
        code = process.exitcode or 0
        how = f"killed ({signal.Signals(-code).name})" if code < 0 else f"ended (exit code {code})"
        return _lost(path, f"its process was {how}, as the system does where memory runs out")
    else:
        process.join()
        return done
    finally:
        if process.is_alive():
            process.terminate()


def _answer(answer: Connection, work: Callable[[str], Done], path: str) -> None:
    answer.send(work(path))


def _lost(path: Path | str, what: str) -> Done:
    """Return what became of a plan whose process did not live to tell."""
    fault = Fault(what, str(path), "plan it alone; if it is killed again, use a machine with more memory, or a coarser DEM")
    return Done(str(path), str(Path(path).parent / "out"), None, float("nan"), faults=(fault,), lost=True)


def plan_one(path: str) -> Done:
    """Plan one property; whatever is wrong with it is in the result."""
    from setout.run.order import plan

    out = Path(path).parent / "out"
    try:
        planting = plan(path, out)
    except SetoutError as error:
        return Done(path, str(out), None, float("nan"), faults=tuple(error.faults))
    except MemoryError:
        return _lost(path, "there was not enough memory")
    except Exception as error:  # noqa: BLE001 - whatever it is, the other properties go on
        said = " ".join(str(error).split())[:200]
        fault = Fault(
            f"something went wrong that setout did not expect ({type(error).__name__}: {said})",
            path,
            "please report it, with what SETOUT_TRACEBACK=1 in the environment adds to setout plan",
        )
        return Done(path, str(out), None, float("nan"), faults=(fault,))
    stops = sum(finding.count for finding in planting.findings if finding.severity == "stop")
    net = float(planting.usable.account[-1].remaining_m2)
    return Done(path, str(out), len(planting.trees), net, stops, units=planting.site.units)


def _apart(paths: Sequence[Path]) -> None:
    """Refuse plans whose results would overwrite each other."""
    folders: dict[Path, Path] = {}
    for path in dict.fromkeys(paths):
        other = folders.setdefault(path.parent, path)
        if other != path:
            raise SetoutError(
                f"{other.name} and {path.name} share the folder of results {path.parent / 'out'}",
                str(path.parent),
                "put each plan file into a folder of its own",
            )


def _executor(scheduler: str | None, workers: int) -> AbstractContextManager[Executor]:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    if scheduler is None:
        return ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn"))
    return _cluster(scheduler)


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    """Give the work to a Dask cluster."""
    try:
        from distributed import Client  # type: ignore[import-not-found,unused-ignore]  # an extra
    except ImportError:
        raise SetoutError(
            "a cluster needs the package distributed", "--scheduler", "pip install distributed, or leave --scheduler out"
        ) from None
    _answers(address)
    client: Any = Client(address, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call,unused-ignore]  # distributed has no types
    with client, client.get_executor() as pool:
        yield pool


def _answers(address: str) -> None:
    """Refuse an address that nothing answers at."""
    place = urlsplit(address)
    try:
        socket.create_connection((place.hostname or "", place.port or 0), timeout=5).close()
    except (OSError, ValueError) as error:
        raise SetoutError(
            f'no cluster answers at "{address}" ({type(error).__name__})', "--scheduler", "check its address, as tcp://host:8786"
        ) from None
