"""Mutants of a toy: what is changed and what is not, which tests run, and what is said of the share."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import mutants

TOY = '''"""A toy: 1 < 2."""
from typing import TYPE_CHECKING, Final

__all__ = ["grown", 5]
WIDTH: Final = 3
if TYPE_CHECKING:
    SIZE = 7


def grown(age: "int < 9", most: int = 0) -> bool:
    """Return whether age >= 18."""
    if most:
        raise ValueError(f"{age + 4} of {WIDTH}")
    return age >= 18


def half(length):
    return length / 2
'''
GROWN = """from setout.geometry.toy import grown


def test_grown():
    assert grown(18)
    assert not grown(17)
"""
ABOUT = "from setout import say\n\n\ndef test_said():\n    assert say.said(6) == 'long'\n"
SAY = "def said(x):\n    from setout.geometry import toy\n    return 'long' if toy.half(x) > 2 else 'short'\n"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return a tree with one module, one that imports it, and a test of each."""
    (tmp_path / "pipeline/setout/geometry").mkdir(parents=True)
    (tmp_path / "tests/geometry").mkdir(parents=True)
    package = tmp_path / "pipeline/setout"
    for empty in (package, package / "geometry"):
        (empty / "__init__.py").write_text("")
    (package / "geometry/toy.py").write_text(TOY)
    (package / "say.py").write_text(SAY)
    (tmp_path / "tests/geometry/test_toy.py").write_text(GROWN)
    (tmp_path / "tests/test_about.py").write_text(ABOUT)
    (tmp_path / "tests/test_else.py").write_text("def test_nothing():\n    assert True\n")
    return tmp_path


def changes(source: str, words: frozenset[str] = frozenset()) -> set[tuple[str, str]]:
    found = mutants.mutants("toy.py", source.encode(), words)
    return {(mutant.was, mutant.now) for mutant in found if mutants.differs(mutant, source.encode())}


def test_code_is_changed_and_text_types_and_messages_are_not() -> None:
    assert mutants.words_only([TOY.encode()]) == {"WIDTH"}
    assert changes(TOY, frozenset({"WIDTH"})) == {
        ("0", "1"),
        ("most", "(not most)"),
        ("age >= 18", "None"),
        ("age >= 18", "(age > 18)"),
        ("age >= 18", "(age <= 18)"),
        ("18", "19"),
        ("18", "(-18)"),
        ("length / 2", "None"),
        ("length / 2", "(length * 2)"),
        ("2", "3"),
        ("2", "(-2)"),
    }


@pytest.mark.parametrize(
    ("line", "instead"),
    [
        ("a and b", {"(a or b)"}),
        ("not a", {"(a)"}),
        ("-a", {"(a)"}),
        ("a[b:]", {"(b + 1)"}),
        ("min(a)", {"max"}),
        ("a.argmin()", {"a.argmax"}),
        ("a * 0.5", {"(a / 0.5)", "0.55", "(-0.5)"}),
        ("a is None", {"(a is not None)"}),
        ("a & b", {"(a | b)"}),
        ("True", {"False"}),
        ("'a' + b", set()),
        ("zip(a, b, strict=True)", set()),
        ("isinstance(a, int | float)", set()),
    ],
)
def test_every_kind_of_change(line: str, instead: set[str]) -> None:
    assert {now for _, now in changes(f"x = {line}\n")} == instead


def test_a_loop_goes_on_where_it_ended() -> None:
    assert ("break", "continue") in changes("for a in b:\n    break\n")


def test_what_compiles_to_the_same_is_no_mutant() -> None:
    source = b"x = 1\n"
    same = mutants.Mutant("toy.py", 1, 4, 5, "1", "(0x1)", "x = 1")
    assert not mutants.differs(same, source)


def test_the_nearest_tests_come_first(root: Path) -> None:
    imports = mutants.Imports(root)
    assert imports.tests_of("pipeline/setout/geometry/toy.py") == ["tests/geometry/test_toy.py", "tests/test_about.py"]
    assert imports.tests_of("pipeline/setout/say.py") == ["tests/test_about.py"]


def test_a_boundary_that_a_test_stands_on_is_killed_and_a_length_nobody_measures_survives(
    root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    boundary, length = (
        next(m for m in mutants.drawn(root, ["geometry"], seed=1, count=99) if m.now == now) for now in ("(age > 18)", "(length * 2)")
    )
    monkeypatch.setattr(mutants, "drawn", lambda *_, **__: [boundary, length])
    toy, found = root / "pipeline/setout/geometry/toy.py", root / "found.json"
    mutants.main(["--root", str(root), "--seconds", "20", "--json", str(found)])
    killed, survived = json.loads(found.read_text())
    assert (killed["killed"], survived["killed"]) == (True, False)
    assert killed["tests"] == ["tests/geometry/test_toy.py"]
    assert "test_grown" in killed["how"]
    assert capsys.readouterr().out.splitlines() == [
        "pipeline/setout/geometry/toy.py:18: length / 2 -> (length * 2)",
        "        return length / 2",
        "        passed: tests/geometry/test_toy.py, tests/test_about.py",
        "1 killed, 1 survived: 50.0% killed (95 %: 9.5% to 90.5%)",
    ]
    assert toy.read_text() == TOY


def test_a_loop_without_end_runs_out_of_time_and_a_failing_test_is_left_out(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (root / "tests/test_else.py").write_text("def test_endless():\n    while True:\n        pass\n")
    code, took, _ = mutants.pytest_in(root, "tests/test_else.py", seconds=2.0)
    assert code is None
    assert took >= 2.0
    (root / "tests/geometry/test_toy.py").write_text("from setout.geometry import toy\n\n\ndef test_wrong():\n    assert not toy\n")
    (root / "copy").mkdir()
    bench = mutants.Bench(root, root / "copy", jobs=1, seconds=20.0, files=1)
    length = next(m for m in mutants.drawn(root, ["geometry"], seed=1, count=99) if m.now == "(length * 2)")
    assert bench.outcome(length).tests == ["tests/test_about.py"]
    assert "fails on the code as it is: tests/geometry/test_toy.py" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("of", "lower", "upper"), [((81, 263), 0.2553, 0.3662), ((15, 148), 0.0624, 0.1605), ((0, 20), 0.0, 0.1611), ((1, 29), 0.0061, 0.1718)]
)
def test_the_interval_of_a_share(of: tuple[int, int], lower: float, upper: float) -> None:
    """Newcombe (1998), Statistics in Medicine 17, 857-872, table I, score method (figures from memory)."""
    assert mutants.wilson(*of) == pytest.approx((lower, upper), abs=5e-5)
