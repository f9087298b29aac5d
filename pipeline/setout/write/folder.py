"""All or nothing: results are written aside and moved into place together, once they are whole.

Everything goes into a hidden folder beside the output folder (inside it where the folder is a file system
of its own or its parent is closed). When all is written, a list of moves is laid down and the files change
places by renames alone. A run that fails or is killed before that leaves the earlier result as it was; one
killed during the renames is brought to its end by the next run. Files that setout does not write stay.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import signal
import tempfile
import threading
import warnings
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from setout.errors import Fault, Interrupted, SetAside, SetoutError
from setout.write import leftover
from setout.write.leftover import MOVES, NEW, OLD
from setout.write.products import MANAGED, is_product

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import TracebackType

_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_LOCK: Final = "lock"


def check_writable(folder: Path) -> None:
    """Check that results can be written into a folder, before any work is done."""
    place = folder.absolute()
    remedy = "choose another folder with --out"
    try:
        str(place).encode()
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            place.lstat()
    except (OSError, ValueError) as error:  # a name that is too long, or that is not text in UTF-8
        reason = error.strerror if isinstance(error, OSError) else "its name is not text in UTF-8"
        raise SetoutError(f"there can be no such folder ({reason})", str(folder), remedy) from None
    while not os.path.lexists(place) and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise SetoutError(f"{place} is not a folder", str(folder), remedy)
    try:
        probe = tempfile.mkdtemp(prefix=".setout-", dir=place)
    except OSError as error:
        if error.errno in _FULL:
            raise _no_room(folder) from error
        raise SetoutError(f"cannot write there: {error.strerror or error}", str(folder), remedy) from error
    with suppress(OSError):  # another run took it for what a killed one had left
        Path(probe).rmdir()


class OutputFolder:
    """A folder whose contents change all at once, or not at all.

    >>> import tempfile
    >>> place = Path(tempfile.mkdtemp())
    >>> with OutputFolder(place / "out") as out:
    ...     _ = (out.path / "run.json").write_text("{}")
    ...     (place / "out").exists()
    False
    >>> sorted(p.name for p in (place / "out").iterdir()), sorted(p.name for p in place.iterdir())
    (['run.json'], ['out'])
    """

    def __init__(self, folder: Path, managed: tuple[str, ...] = MANAGED, placed: Callable[[], None] | None = None) -> None:
        self.folder = folder.absolute().resolve()
        self.managed = managed
        self.placed = placed
        self._staging: Path | None = None
        self._lock = -1

    @property
    def path(self) -> Path:
        """Return the folder to write into while the context is open."""
        if self._staging is None:
            raise RuntimeError("the output folder is not open")
        return self._staging / NEW

    def __enter__(self) -> Self:
        """Finish or clear what earlier runs left, and make the folder to write into."""
        check_writable(self.folder)
        with _full_is_interrupted(self.folder):
            for place, prefix in self._places():
                _tidy(place, prefix, self.folder)
            place, prefix = self._places()[0 if self._beside() else 1]
            place.mkdir(parents=True, exist_ok=True)
            self._staging = Path(tempfile.mkdtemp(prefix=prefix, dir=place))
            self._lock = _hold(self._staging / _LOCK)
            self.path.mkdir()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Move everything into place, or clear it away when the work failed."""
        try:
            if error is None:
                with _full_is_interrupted(self.folder):
                    self._commit()
            elif isinstance(error, Exception) and _is_full(error, self.path):
                raise _no_room(self.folder) from error
        finally:
            self._clear()

    def _places(self) -> tuple[tuple[Path, str], tuple[Path, str]]:
        return (self.folder.parent, f".{self.folder.name}.setout-"), (self.folder, ".setout-")

    def _beside(self) -> bool:
        parent = self.folder.parent
        if not parent.is_dir():
            return True
        same = not self.folder.exists() or self.folder.stat().st_dev == parent.stat().st_dev
        try:
            check_writable(parent)
        except SetoutError:
            return False
        return same

    def _commit(self) -> None:
        staging = self.path.parent
        new = sorted(p.relative_to(self.path).as_posix() for p in self.path.rglob("*") if not p.is_dir())
        for name in new:
            if not is_product(name):  # the next run would not bring its move to an end
                raise RuntimeError(f"{name} is not among FILES")
            _sync(self.path / name)
        gone = [name for name in self._earlier() if name not in new and not leftover.in_the_way(self.folder, name)]
        standing = dict.fromkeys(filter(None, (leftover.in_the_way(self.folder, name) for name in new)))
        if standing:
            faults = tuple(Fault(what, str(self.folder), "move it away") for what in standing)
            raise SetoutError("", faults=faults)
        (staging / OLD).mkdir()
        self._exchange(staging, new, gone)

    def _exchange(self, staging: Path, new: list[str], gone: list[str]) -> None:
        with _no_signals():
            marker = staging / (MOVES + ".part")
            marker.write_text(json.dumps({"new": new, "gone": gone}), encoding="utf-8")
            _sync(marker)
            marker.replace(staging / MOVES)
            try:
                _move(staging, self.folder, new, gone)
            except OSError:
                _undo(staging, self.folder, new, gone)
                raise
            (staging / MOVES).unlink()
            if self.placed is not None:
                self.placed()

    def _earlier(self) -> list[str]:
        """Return the managed files by name, those with a star as they are found in the folder."""
        found: list[str] = []
        for name in self.managed:
            if "*" in name:
                found += sorted(p.relative_to(self.folder).as_posix() for p in self.folder.glob(name))
            else:
                found.append(name)
        return found

    def _clear(self) -> None:
        if self._lock >= 0:
            os.close(self._lock)
        # where neither the moves nor their undoing came to an end, the next run does it
        if self._staging is not None and not (self._staging / MOVES).exists():
            shutil.rmtree(self._staging, ignore_errors=True)
        self._staging, self._lock = None, -1


def _move(staging: Path, folder: Path, new: list[str], gone: list[str]) -> None:
    """Put the new files in place of the old, which are kept aside; may be run again after it was cut short.

    At every moment each file is there, the old or the new one.
    """
    for name in new:
        source, target, aside = staging / NEW / name, folder / name, staging / OLD / name
        if not os.path.lexists(source):
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        if os.path.lexists(target):
            _keep(target, aside)
        source.replace(target)
    for name in gone:
        target = folder / name
        if os.path.lexists(target) and not target.is_dir():
            aside = staging / OLD / name
            aside.parent.mkdir(parents=True, exist_ok=True)
            target.replace(aside)
        if target.parent != folder and target.parent.is_dir() and not any(target.parent.iterdir()):
            target.parent.rmdir()
    _sync(folder)


def _keep(target: Path, aside: Path) -> None:
    aside.parent.mkdir(parents=True, exist_ok=True)
    aside.unlink(missing_ok=True)
    try:
        os.link(target, aside, follow_symlinks=False)
    except OSError:  # a file system without links
        target.replace(aside)


def _undo(staging: Path, folder: Path, new: list[str], gone: list[str]) -> None:
    for name in new:
        if not os.path.lexists(staging / NEW / name) and os.path.lexists(folder / name):
            (folder / name).replace(staging / NEW / name)
    for name in [*gone, *new]:
        if os.path.lexists(staging / OLD / name):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (staging / OLD / name).replace(folder / name)
    (staging / MOVES).unlink(missing_ok=True)


def _tidy(place: Path, prefix: str, folder: Path) -> None:
    """Finish the moves of a run that was killed during them; clear the rest of killed runs."""
    if not place.is_dir():
        return
    for left in leftover.folders(place, prefix):
        try:
            lock = _hold(left / _LOCK) if leftover.is_own(left) else None
        except OSError:
            lock = None
        if lock is None:
            _tell(SetoutError("was not made by this user's runs and was left alone", str(left), "delete it if nobody needs it"))
            continue
        if lock < 0:  # its run is alive
            continue
        try:
            if os.path.lexists(left / MOVES):
                _move(left, folder, *leftover.moves_of(left, folder))
                (left / MOVES).unlink()
        except SetoutError as error:
            _set_aside(left, prefix, error)
            continue
        finally:
            os.close(lock)
        shutil.rmtree(left, ignore_errors=True)


def _set_aside(left: Path, prefix: str, error: SetoutError) -> None:
    """Give what cannot be followed a name that later runs pass over, for it may hold the only copy of a file."""
    aside = left.with_name(prefix.removesuffix("setout-") + "set-aside-" + left.name[len(prefix) :])
    try:
        left.rename(aside)
    except OSError:
        aside = left
    what, where = error.faults[0].what, error.faults[0].where
    remedy = f"take files of an earlier result that you miss out of {aside / OLD}, then delete {aside}"
    _tell(SetoutError(what, where, remedy))


def _tell(error: SetoutError) -> None:
    warnings.warn(SetAside(str(error)), stacklevel=2)


def _hold(path: Path) -> int:
    """Lock a file, no link, for as long as this process lives; -1 when another process holds it."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system: leave what others may be using
        return -1
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return -1
    return handle


def _sync(path: Path) -> None:
    flags = os.O_RDONLY
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in {errno.EINVAL, errno.ENOTSUP}:  # file systems that cannot
            raise
    finally:
        os.close(handle)


@contextmanager
def _no_signals() -> Iterator[None]:
    """Hold back Ctrl-C and a polite kill for the moment of the renames.

    By handlers that only take note: a blocked signal would reach another thread of the process, and through it this one.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    numbers = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    held = {number: handler for number, handler in before.items() if handler not in (None, signal.SIG_IGN)}
    for number in held:
        signal.signal(number, lambda at, _frame: came.append(at))
    try:
        yield
    finally:
        for number, handler in held.items():
            signal.signal(number, handler)
        for number in came[:1]:
            signal.raise_signal(number)


@contextmanager
def _full_is_interrupted(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            raise _no_room(folder) from error
        raise SetoutError(f"cannot write there: {error}", str(folder), "choose another folder with --out") from error


def _is_full(error: BaseException, staging: Path) -> bool:
    """Say whether an error, or what led to it, is want of room; not every library passes the number on."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, OSError) and seen.errno in _FULL:
            return True
        if "no space left" in str(seen).lower() or "disk is full" in str(seen).lower():
            return True
        seen = seen.__cause__ or seen.__context__
    return isinstance(error, OSError) and error.errno is None and shutil.disk_usage(staging).free < 1 << 16


def _no_room(folder: Path) -> Interrupted:
    return Interrupted("no room left to write the results; earlier results are untouched", str(folder), "free some space and run again")
