"""How many small faults the tests notice: single-point mutants of the package, each run against the tests nearest to it.

``python tests/mutants.py --seed 1 --count 40 [--rooms geometry,read] [--only TEXT] [--seconds 30] [--files 6]
[--jobs 2] [--json FILE]`` draws points of the code at random, every point alike, changes one at a time in a copy of the
tree and runs the tests that reach it by their imports: first the file named like the module, then those with the fewest
steps between, without a browser, until ``--seconds`` of CPU time are full. Tests that fail on the code as it is are named
and left out. A mutant survives when all of them pass; some survivors change nothing that can be observed.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import queue
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path
from statistics import NormalDist
from types import CodeType
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("stages", "geometry", "hydraulics", "read", "write")
COPIED = ("pipeline", "tests", "data", ".ci", "pyproject.toml", "README.md", "DEVELOPERS.md")
COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt, ast.GtE),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt, ast.LtE),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
CALLED = {
    a: b
    for pair in (("min", "max"), ("minimum", "maximum"), ("argmin", "argmax"), ("any", "all"), ("floor", "ceil"))
    for a, b in (pair, pair[::-1])
}
NO_TESTS = 5
"""What pytest ends with when it has nothing to run."""
NO_VALUE = ("annotation", "returns", "decorator_list", "bases", "ctx")
SAFE_KEYWORDS = ("strict", "indent", "ensure_ascii", "stacklevel")
TEXT = (ast.JoinedStr, ast.Dict, ast.List, ast.ListComp, ast.DictComp)


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one file: what stands in bytes ``start`` to ``end``, and what instead."""

    file: str
    line: int
    start: int
    end: int
    was: str
    now: str
    source_line: str

    def applied(self, source: bytes) -> bytes:
        """Return the file with the change."""
        return source[: self.start] + self.now.encode() + source[self.end :]

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {_flat(self.was)} -> {_flat(self.now)}\n        {self.source_line}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a mutant: killed by failing tests or by time, or survived those files."""

    mutant: Mutant
    killed: bool
    how: str
    tests: Sequence[str]


def _flat(text: str) -> str:
    return " ".join(text.split())


# ---------------------------------------------------------------------------------------------- the mutants


def mutants(file: str, source: bytes, words: frozenset[str] = frozenset()) -> list[Mutant]:
    """Return all changes of a file in order, those that change nothing among them; ``words`` are names left alone."""
    lines = source.splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))
    found = {}
    for node, now in _changes(ast.parse(source), words):
        start, end = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
        first = lines[node.lineno - 1].decode().strip()
        found[start, end, now] = Mutant(file, node.lineno, start, end, source[start:end].decode(), now, first)
    return [found[key] for key in sorted(found)]


def differs(mutant: Mutant, source: bytes) -> bool:
    """Return whether a mutant is a program, and not the same bytecode again."""
    try:
        changed = _essence(compile(mutant.applied(source), mutant.file, "exec"))
    except SyntaxError:
        return False
    return changed != _essence(compile(source, mutant.file, "exec"))


def _essence(code: CodeType) -> tuple[Any, ...]:
    """Return what a code object does, without where it stands."""
    inner = tuple(_essence(c) if isinstance(c, CodeType) else (type(c), repr(c)) for c in code.co_consts)
    return code.co_code, code.co_names, code.co_varnames, code.co_freevars, inner


def _changes(node: ast.AST, words: frozenset[str]) -> Iterator[tuple[Any, str]]:
    """Yield (node, text instead) for a node and all below it that is neither text, type nor message."""
    if _untouched(node, words):
        return
    yield from _here(node)
    for name, value in ast.iter_fields(node):
        if name in NO_VALUE or (name == "args" and _named(node) in ("cast", "TypeVar")):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _changes(child, words)


def _untouched(node: ast.AST, words: frozenset[str]) -> bool:
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert | ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.If):
        return _named(node.test) in ("TYPE_CHECKING", "__name__") or _named(getattr(node.test, "left", None)) == "__name__"
    if isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        return any(_named(target) in words | {"__all__"} for target in targets)
    return isinstance(node, ast.keyword) and node.arg in SAFE_KEYWORDS


def _named(node: ast.AST | None) -> str:
    """Return the last name of a name, an attribute or what a call calls, or nothing."""
    if isinstance(node, ast.Call):
        return _named(node.func)
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def _here(node: ast.AST) -> Iterator[tuple[Any, str]]:
    """Yield the changes of one node itself."""
    match node:
        case ast.Compare():
            for place, operator in enumerate(node.ops):
                for other in COMPARED[type(operator)]:
                    yield (node, _text(ast.Compare(node.left, [*node.ops[:place], other(), *node.ops[place + 1 :]], node.comparators)))
        case ast.BoolOp():
            yield node, _text(ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values))
        case ast.BinOp(op=op) if type(op) in SWAPPED and not (_no_number(node.left) or _no_number(node.right)):
            yield node, _text(ast.BinOp(node.left, SWAPPED[type(op)](), node.right))
        case ast.AugAssign(op=op) if type(op) in SWAPPED and not _no_number(node.value):
            yield node, ast.unparse(ast.AugAssign(node.target, SWAPPED[type(op)](), node.value))
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            yield node, _text(node.operand)
        case ast.If() | ast.IfExp() | ast.While() if isinstance(node.test, ast.Name | ast.Attribute | ast.Call):
            yield node.test, _text(ast.UnaryOp(ast.Not(), node.test))
        case ast.Constant(value=bool()):
            yield node, str(not node.value)
        case ast.Constant(value=int() | float()):
            tiny = isinstance(node.value, float) and abs(node.value) <= 1e-6
            moved = node.value + 1 if isinstance(node.value, int) else node.value * 1.1
            yield from [] if tiny else [(node, repr(moved))]
            yield from [(node, f"(-{node.value!r})")] if node.value else []
        case ast.Name() | ast.Attribute() if isinstance(node.ctx, ast.Load) and _named(node) in CALLED:
            other = CALLED[_named(node)]
            yield node, other if isinstance(node, ast.Name) else ast.unparse(ast.Attribute(node.value, other))
        case ast.Slice():
            for bound in (node.lower, node.upper):
                if bound is not None and not isinstance(bound, ast.Constant):
                    yield bound, _text(ast.BinOp(bound, ast.Add(), ast.Constant(1)))
        case ast.Break() | ast.Continue():
            yield node, "continue" if isinstance(node, ast.Break) else "break"
        case ast.Return(value=ast.expr()) if not isinstance(node.value, ast.Constant):
            yield node.value, "None"
        case _:
            pass


def _text(node: ast.expr) -> str:
    return f"({ast.unparse(node)})"


def _no_number(node: ast.expr) -> bool:
    """Return whether an operand is text, a list or a type, so that another operator can only stop the program."""
    if isinstance(node, ast.Constant):
        return node.value is None or isinstance(node.value, str | bytes)
    name = _named(node)
    return isinstance(node, TEXT) or name in ("int", "float", "str", "bool", "bytes") or (name[:1].isupper() and not name.isupper())


def words_only(sources: Iterable[bytes]) -> frozenset[str]:
    """Return the names that are read in text alone, in all of the files."""
    spoken: set[str] = set()
    reckoned: set[str] = set()

    def look(node: ast.AST, within: set[str]) -> None:
        within = spoken if isinstance(node, ast.JoinedStr) else within
        if isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Load):
            within.add(_named(node))
        for child in ast.iter_child_nodes(node):
            look(child, within)

    for source in sources:
        look(ast.parse(source), reckoned)
    return frozenset(spoken - reckoned)


# ---------------------------------------------------------------------------- what tests import what


class Imports:
    """Which modules of a tree import which, those of the package and those of the tests."""

    def __init__(self, root: Path) -> None:
        self.names: dict[str, Path] = {}
        for top in ("pipeline", "tests"):
            for path in sorted((root / top).rglob("*.py")):
                parts = path.relative_to(root / top).with_suffix("").parts
                self.names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
        self.root = root
        self.importers: dict[str, set[str]] = {name: set() for name in self.names}
        for name, path in self.names.items():
            for used in self._used(name, path):
                self.importers[used].add(name)

    def _used(self, name: str, path: Path) -> Iterator[str]:
        """Yield the modules that one module imports, anywhere but for types."""
        parents = name.split(".") if path.name == "__init__.py" else name.split(".")[:-1]
        waiting: list[ast.AST] = [ast.parse(path.read_bytes())]
        while waiting:
            node = waiting.pop()
            if isinstance(node, ast.If) and _named(node.test) == "TYPE_CHECKING":
                waiting += node.orelse
                continue
            waiting += ast.iter_child_nodes(node)
            if isinstance(node, ast.Import):
                yield from (alias.name for alias in node.names if alias.name in self.names)
            elif isinstance(node, ast.ImportFrom):
                above = parents[: len(parents) - node.level + 1] if node.level else []
                base = ".".join([*above, *([node.module] if node.module else [])])
                for alias in node.names:
                    yield from [n for n in (f"{base}.{alias.name}", base) if n in self.names][:1]
        if path.name.startswith("test_"):
            folders = path.relative_to(self.root / "tests").parts[:-1]
            fixtures = (".".join([*folders[:depth], "conftest"]) for depth in range(len(folders) + 1))
            yield from (fixture for fixture in fixtures if fixture in self.names)

    def tests_of(self, file: str) -> list[str]:
        """Return the test files that reach a file: named like it, then its package, then by steps between.

        The file itself comes first when its docstrings hold examples.
        """
        module = next(name for name, path in self.names.items() if path == self.root / file)
        steps = {module: 0}
        waiting = [module]
        for name in waiting:
            for importer in sorted(self.importers[name] - set(steps)):
                steps[importer] = steps[name] + 1
                waiting.append(importer)
        parts = module.split(".")[::-1]

        def order(name: str) -> tuple[int, int, str]:
            stem = self.names[name].stem.removeprefix("test_")
            return parts.index(stem) if stem in parts else len(parts), steps[name], name

        reached = sorted((n for n in steps if self.names[n].name.startswith("test_")), key=order)
        tests = [str(self.names[name].relative_to(self.root)) for name in reached]
        return [file, *tests] if ">>>" in (self.root / file).read_text(encoding="utf-8") else tests


# ------------------------------------------------------------------------------------------------- running


class Bench:
    """Copies of the tree in which tests run, one a job, and what each test file takes when nothing is changed."""

    def __init__(self, root: Path, scratch: Path, *, jobs: int, seconds: float, files: int) -> None:
        self.seconds, self.files = seconds, files
        self.trees: queue.Queue[Path] = queue.Queue()
        for job in range(jobs):
            tree = scratch / str(job)
            tree.mkdir()
            for name in COPIED:
                if (root / name).is_dir():
                    shutil.copytree(root / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", ".*_cache"))
                elif (root / name).exists():
                    shutil.copy(root / name, tree / name)
            if (root / ".testdata").exists():
                (tree / ".testdata").symlink_to((root / ".testdata").resolve())
            self.trees.put(tree)
        self.imports = Imports(root)
        self._clean: dict[str, float | None] = {}

    def outcome(self, mutant: Mutant) -> Outcome:
        """Return what the nearest tests make of a mutant."""
        tree = self.trees.get()
        path, spent, passed = tree / mutant.file, 0.0, []
        source = path.read_bytes()
        try:
            for test in self.imports.tests_of(mutant.file):
                took = self._takes(tree, test)
                if took is None or (set(passed) - {mutant.file} and spent + took > self.seconds):
                    continue
                path.write_bytes(mutant.applied(source))
                code, _, said = pytest_in(tree, test, seconds=10 + 4 * took)
                path.write_bytes(source)
                passed.append(test)
                if code != 0:
                    failed = [line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))]
                    return Outcome(mutant, killed=True, how="time" if code is None else "".join(failed[:1]), tests=passed)
                spent += took
                if len(set(passed) - {mutant.file}) == self.files or spent > 0.9 * self.seconds:
                    break
        finally:
            path.write_bytes(source)
            self.trees.put(tree)
        return Outcome(mutant, killed=False, how="" if passed else "no test reaches it", tests=passed)

    def _takes(self, tree: Path, test: str) -> float | None:
        """Return the CPU seconds of a test file on the code as it is, or nothing when it cannot serve."""
        if test not in self._clean:
            code, took, said = pytest_in(tree, test, seconds=5 * self.seconds)
            self._clean[test] = took if code == 0 else None
            if code not in (0, NO_TESTS):
                tell(f"left out, {'takes too long' if code is None else 'fails on the code as it is'}: {test}")
                tell("" if code is None else said[-600:])
        return self._clean[test]


def pytest_in(tree: Path, test: str, *, seconds: float) -> tuple[int | None, float, str]:
    """Run a test file in a tree; return exit code (nothing when out of CPU or ten times that of time), CPU seconds, words."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-m", "not browser", "-p", "no:cacheprovider", "--hypothesis-seed=0", test]
    environment = {**os.environ, "PYTHONPATH": str(tree / "pipeline"), "PYTHONDONTWRITEBYTECODE": "1"}
    limited = ["sh", "-c", f'ulimit -t {int(seconds) + 1}; exec "$@"', "sh", *command]
    with tempfile.TemporaryFile() as said:
        running = subprocess.Popen(limited, cwd=tree, env=environment, stdout=said, stderr=said, start_new_session=True)
        ended, took = 0, 0.0
        deadline = time.monotonic() + 10 * seconds
        while not ended and time.monotonic() < deadline:
            time.sleep(0.05)
            ended, status, usage = os.wait4(running.pid, os.WNOHANG)
            took = usage.ru_utime + usage.ru_stime
        if not ended:
            os.killpg(running.pid, signal.SIGKILL)
            _, status, _ = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        late = running.returncode in (-signal.SIGKILL, -signal.SIGXCPU)
        return None if late else running.returncode, took, said.read().decode(errors="replace")


def wilson(killed: int, of: int) -> tuple[float, float]:
    """Return the 95 % score interval of a share (Wilson 1927), lower and upper end."""
    z = NormalDist().inv_cdf(0.975)
    middle = (killed + z * z / 2) / (of + z * z)
    half = z / (of + z * z) * (killed * (of - killed) / of + z * z / 4) ** 0.5
    return middle - half, middle + half


def drawn(root: Path, rooms: Sequence[str], *, seed: int, count: int, only: str = "") -> list[Mutant]:
    """Return mutants drawn without repetition from rooms of the package, every mutant of every file alike."""
    package = next(path.parent for path in sorted((root / "pipeline").glob("*/__init__.py")))
    words = words_only(path.read_bytes() for path in sorted(package.rglob("*.py")))
    files = [path for room in rooms for path in sorted((package / room).rglob("*.py"))]
    names = {str(path.relative_to(root)): path for path in files if only in str(path)}
    every = [mutant for name, path in names.items() for mutant in mutants(name, path.read_bytes(), words)]
    tell(f"{len(every)} mutants in {len(names)} files")
    random.Random(seed).shuffle(every)
    true = (mutant for mutant in every if differs(mutant, names[mutant.file].read_bytes()))
    return list(islice(true, count))


def tell(text: str) -> None:
    """Say how far it is."""
    sys.stderr.write(f"{text}\n" if text else "")
    sys.stderr.flush()


def main(arguments: Sequence[str] | None = None) -> None:
    """Draw, run and tell."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--rooms", default=",".join(ROOMS), help="folders of the package, with commas between")
    parser.add_argument("--only", default="", help="files whose path holds this text")
    parser.add_argument("--seconds", type=float, default=30.0, help="CPU seconds of tests a mutant, when they pass")
    parser.add_argument("--files", type=int, default=6, help="test files a mutant, at most, beside the examples in its docstrings")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--json", type=Path, default=None)
    parser.add_argument("--root", type=Path, default=ROOT)
    options = parser.parse_args(arguments)
    chosen = drawn(options.root, options.rooms.split(","), seed=options.seed, count=options.count, only=options.only)
    outcomes: list[Outcome] = []
    with tempfile.TemporaryDirectory() as scratch, ThreadPoolExecutor(options.jobs) as pool:
        bench = Bench(options.root, Path(scratch), jobs=options.jobs, seconds=options.seconds, files=options.files)
        for done in as_completed([pool.submit(bench.outcome, mutant) for mutant in chosen]):
            outcomes.append(done.result())
            last = outcomes[-1]
            tell(f"{len(outcomes)}/{len(chosen)} {'killed' if last.killed else 'SURVIVED'} {last.mutant} [{last.how}]")
    outcomes.sort(key=lambda o: (o.mutant.file, o.mutant.start, o.mutant.now))
    if options.json:
        options.json.write_text(json.dumps([asdict(outcome) for outcome in outcomes], indent=1), encoding="utf-8")
    survived = [outcome for outcome in outcomes if not outcome.killed]
    for outcome in survived:
        sys.stdout.write(f"{outcome.mutant}\n        passed: {', '.join(outcome.tests) or outcome.how}\n")
    killed = len(outcomes) - len(survived)
    low, high = wilson(killed, len(outcomes)) if outcomes else (0.0, 1.0)
    share = killed / max(1, len(outcomes))
    sys.stdout.write(f"{killed} killed, {len(survived)} survived: {share:.1%} killed (95 %: {low:.1%} to {high:.1%})\n")


if __name__ == "__main__":
    main()
