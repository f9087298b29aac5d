"""Many properties at once: each plan in a process of its own, on this machine or on a cluster."""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from setout.errors import Fault, SetoutError

if TYPE_CHECKING:
    from collections.abc import Iterator


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
    units : what people read in its plan, us or si
    """

    plan: str
    out: str
    trees: int | None
    net_m2: float
    stops: int = 0
    faults: tuple[Fault, ...] = ()
    units: str = "us"


def batch(
    plans: Sequence[str | Path],
    *,
    scheduler: str | None = None,
    workers: int | None = None,
    say: Callable[[str], None] | None = None,
) -> tuple[Done, ...]:
    """Plan many properties; one that cannot be planned does not hold up the others.

    Parameters
    ----------
    plans : Sequence of str or Path
        Plan files; results go into ``out`` beside each.
    scheduler : str, optional
        Address of a Dask cluster, such as ``"tcp://10.0.0.5:8786"``; its workers have to see the same files.
    workers : int, optional
        Processes on this machine; as many as there are processors when absent.
    say : callable, optional
        Takes a line of progress for people.

    Returns
    -------
    tuple of Done
        In the order of the plans.

    Raises
    ------
    SetoutError
        Two plans share a folder of results, or there is no such cluster.
    """
    paths = [Path(plan).absolute() for plan in plans]
    _apart(paths)
    found: dict[Path, Done] = {}
    with _executor(scheduler, min(workers or len(paths), len(paths)) if workers else None) as pool:
        waiting = {pool.submit(plan_one, str(path)): path for path in dict.fromkeys(paths)}
        for future in as_completed(waiting):
            path = waiting[future]
            found[path] = future.result()
            if say is not None:
                done = found[path]
                say(f"{path}: {f'{done.trees:,} trees' if done.trees is not None else 'cannot be planned'}")
    return tuple(found[path] for path in paths)


def plan_one(path: str) -> Done:
    """Plan one property; whatever is wrong with it is in the result.

    Parameters
    ----------
    path : str
        The plan file.

    Returns
    -------
    Done
        Plain values, so that it can come back from another process.
    """
    from setout.run.order import plan

    out = Path(path).parent / "out"
    try:
        planting = plan(path, out)
    except SetoutError as error:
        return Done(path, str(out), None, float("nan"), faults=tuple(error.faults))
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
                f"{other.name} and {path.name} share the folder of results {path.parent / 'out'}", str(path.parent),
                "put each plan file into a folder of its own",
            )  # fmt: skip


def _executor(scheduler: str | None, workers: int | None) -> AbstractContextManager[Executor]:
    if scheduler is None:
        return ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn"))
    return _cluster(scheduler)


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    """Give the work to a Dask cluster."""
    try:
        from distributed import Client  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        raise SetoutError(
            "a cluster needs the package distributed",
            "--scheduler",
            "pip install distributed, or leave --scheduler out",
        ) from None
    _answers(address)
    client: Any = Client(address, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call,unused-ignore]
    with client, client.get_executor() as pool:
        yield pool


def _answers(address: str) -> None:
    """Refuse an address that nothing answers at."""
    place = urlsplit(address)
    try:
        socket.create_connection((place.hostname or "", place.port or 0), timeout=5).close()
    except (OSError, ValueError) as error:
        raise SetoutError(
            f'no cluster answers at "{address}" ({type(error).__name__})', "--scheduler",
            "check its address, as tcp://host:8786",
        ) from None  # fmt: skip
