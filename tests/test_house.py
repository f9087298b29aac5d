"""The house guards itself: layers, docstrings, what ships, what start-up may import, what the README says."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from reachable import unreached

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "pipeline" / "setout"
MODULES = sorted(SOURCE.rglob("*.py"))
WHEEL_FILES = Path(__file__).with_name("wheel_files.txt")
HEAVY = {"geopandas", "pandas", "rasterio", "fiona", "folium", "scipy", "numba", "matplotlib"}
PACKAGE_PATH = {**os.environ, "PYTHONPATH": str(ROOT / "pipeline"), "PYTHONDONTWRITEBYTECODE": "1"}


def needs(module: str, extra: str) -> pytest.MarkDecorator:
    absent = importlib.util.find_spec(module) is None
    return pytest.mark.skipif(absent, reason=f'{module} is not installed; pip install -e ".[{extra}]"')


def run(*command: str, cwd: Path = ROOT, text_in: str | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=cwd, input=text_in, env=PACKAGE_PATH, capture_output=True, text=True, check=False)


def module_name(path: Path) -> str:
    return str(path.relative_to(SOURCE))


# ------------------------------------------------------------------------------------------------ layout


def test_top_level_holds_what_it_should_and_nothing_else() -> None:
    listed = run("git", "ls-files")
    if listed.returncode:
        pytest.skip("not a git work tree: what is committed cannot be listed")
    top = {line.split("/", 1)[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "pipeline",
        "data",
        "maps",
        "tests",
    }


def test_pipeline_is_a_source_root_with_one_package() -> None:
    assert not (ROOT / "pipeline" / "__init__.py").exists()
    packages = [path for path in (ROOT / "pipeline").iterdir() if (path / "__init__.py").exists()]
    assert [path.name for path in packages] == ["setout"]


@needs("hatchling", "test")
def test_the_wheel_holds_exactly_the_files_listed(tmp_path: Path) -> None:
    options = ("-q", "--no-deps", "--no-build-isolation", "--wheel-dir", str(tmp_path))
    built = run(sys.executable, "-m", "pip", "wheel", *options, ".")
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("setout-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = sorted(n for n in archive.namelist() if ".dist-info/" not in n)
        terms = [archive.read(n) for n in archive.namelist() if n.endswith(".dist-info/licenses/LICENSE")]
        about = next(archive.read(n).decode() for n in archive.namelist() if n.endswith(".dist-info/METADATA"))
    assert names == WHEEL_FILES.read_text(encoding="utf-8").split()
    assert terms == [(ROOT / "LICENSE").read_bytes()]
    assert "License-Expression: MIT\n" in about


@needs("hatchling", "test")
def test_the_source_archive_holds_the_licence_and_what_the_documents_lead_to(tmp_path: Path) -> None:
    """The terms of the MIT licence (opensource.org/license/mit) ask for themselves in every copy."""
    built = run(sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(tmp_path))
    assert built.returncode == 0, built.stderr
    (source,) = tmp_path.glob("setout-*.tar.gz")
    with tarfile.open(source) as archive:
        held = {n.partition("/")[2] for n in archive.getnames()}
        led = {path.resolve().relative_to(ROOT).as_posix() for document in DOCUMENTS for path, _ in links_of(document)}
        assert led - held == set()
        (name,) = (n for n in archive.getnames() if n.count("/") == 1 and n.endswith("/LICENSE"))
        file = archive.extractfile(name)
        assert file is not None
        terms = " ".join(file.read().decode().split())
    assert "Copyright (c) 2026 the setout authors" in terms
    assert "this permission notice shall be included in all copies" in terms


def test_every_definition_is_reached_from_a_command_or_a_verb() -> None:
    assert unreached(SOURCE) == {}


def test_what_only_itself_calls_is_found(tmp_path: Path) -> None:
    shutil.copytree(SOURCE, tmp_path / "setout", ignore=shutil.ignore_patterns("__pycache__"))
    with (tmp_path / "setout" / "units.py").open("a", encoding="utf-8") as file:
        file.write("\n\ndef furlongs(n: int) -> int:\n    return furlongs(n - 1) if n else UNUSED\n\n\nUNUSED = 201\n")
    assert list(unreached(tmp_path / "setout")) == ["setout.units.furlongs", "setout.units.UNUSED"]


# --------------------------------------------------------------------------------------------- the linters


@needs("ruff", "dev")
@pytest.mark.parametrize("line", ["import pipeline.setout", "from pipeline.setout import units", "from pipeline import setout"])
def test_importing_through_the_source_root_is_banned(line: str) -> None:
    text = f'"""A module."""\n\n{line}\n'
    found = run(
        sys.executable,
        "-m",
        "ruff",
        "check",
        "--no-cache",
        "--output-format",
        "concise",
        "--stdin-filename",
        "pipeline/setout/example.py",
        "-",
        text_in=text,
    )
    assert found.returncode == 1
    assert "TID251" in found.stdout
    assert "pipeline/ is a source root, not a package" in found.stdout


@needs("importlinter", "dev")
def test_imports_point_downward() -> None:
    found = run(str(Path(sys.executable).with_name("lint-imports")), "--no-cache")
    assert found.returncode == 0, found.stdout


@needs("importlinter", "dev")
def test_the_import_contract_fires(tmp_path: Path) -> None:
    shutil.copytree(SOURCE, tmp_path / "setout", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    with (tmp_path / "setout" / "units.py").open("a", encoding="utf-8") as file:
        file.write("\nfrom setout import planfile\n")
    command = (str(Path(sys.executable).with_name("lint-imports")), "--no-cache")
    environment = {**PACKAGE_PATH, "PYTHONPATH": str(tmp_path)}
    found = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert found.returncode == 1
    assert "setout.units is not allowed to import setout.planfile" in found.stdout


@needs("numpydoc", "dev")
def test_docstrings_follow_the_numpy_standard() -> None:
    found = run(sys.executable, "-m", "numpydoc", "lint", *map(str, MODULES))
    assert found.returncode == 0, found.stdout + found.stderr


@needs("numpydoc", "dev")
def test_the_docstring_check_fires(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    sections = "Returns\n    -------\n    float\n        Twice x.\n"
    bad.write_text(f'"""A module."""\n\n\ndef double(x):\n    """Return twice x.\n\n    {sections}    """\n    return 2 * x\n')
    found = run(sys.executable, "-m", "numpydoc", "lint", "--config", str(ROOT), str(bad))
    assert found.returncode == 1
    assert "PR01" in found.stdout + found.stderr


# ---------------------------------------------------------------------------------------------- the code


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_modules_and_functions_stay_readable(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 600, "one room, not a hall: split this module"
    too_long = [
        f"{node.name} ({lines} lines)"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and (lines := length(node)) > 60
    ]
    assert not too_long


def length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return a function's lines from its name to its end, less its docstring."""
    assert node.end_lineno is not None
    lines = node.end_lineno - node.lineno + 1
    first = node.body[0]
    documented = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    if documented and isinstance(first.value.value, str):  # type: ignore[attr-defined]
        assert first.end_lineno is not None
        lines -= first.end_lineno - first.lineno + 1
    return lines


@pytest.mark.parametrize("path", sorted((SOURCE / "stages").rglob("*.py")), ids=module_name)
def test_stages_see_no_path_clock_or_print(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {alias.name.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.Import) for alias in n.names}
    imported |= {n.module.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.module}
    banned = {"pathlib", "os", "io", "time", "datetime", "random", "logging", "rasterio", "fiona", "pyogrio"}
    assert not imported & (banned | {"geopandas", "folium", "tempfile", "shutil", "sys"})
    called = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    assert not called & {"print", "open", "input"}


def test_no_module_keeps_state() -> None:
    """Nothing is reassigned through ``global``: a function's result rests on what it was given."""
    for path in MODULES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert not [n for n in ast.walk(tree) if isinstance(n, ast.Global)], module_name(path)


def declared(*extras: str) -> set[str]:
    """Return the packages that pyproject.toml asks for, or those of some extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    optional = project["optional-dependencies"]
    wanted = [word for extra in extras for word in optional[extra]] if extras else project["dependencies"]
    return {re.split(r"[<>=~! \[]", word)[0] for word in wanted}


FILES_ALONE = {"django-js-lib-leaflet": "js_lib_leaflet", "fontpkg-fira-sans-condensed": "fontpkg_fira_sans_condensed"}
"""Packages that hold files alone are not imported: they are looked up by this name."""


def test_every_dependency_is_used() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in MODULES)
    unused = [
        name for name in sorted(declared()) if not re.search(rf"^\s*(import|from) {name}\b", text, re.MULTILINE) and name not in FILES_ALONE
    ]
    assert unused == []
    assert all(f'"{folder}' in text for folder in FILES_ALONE.values())


def test_the_reason_for_every_dependency_is_written_down() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.partition("## Why each dependency")[2].partition("## ")[0]
    listed = {name for row in re.findall(r"^\| ([^|]+) \|", table, re.MULTILINE) for name in re.findall(r"[a-z][\w-]+", row)}
    listed -= {"package", "test", "dev", "cluster"}
    assert listed == declared() | (declared("test", "dev") - {"pandas-stubs", "types-shapely"})


# ---------------------------------------------------------------------------------------------- start-up


@pytest.mark.parametrize("arguments", [["--help"], ["plan", "--help"], ["new", "--help"], ["plants", "apple"], ["keys", "step"]])
def test_start_up_imports_nothing_heavy(arguments: list[str]) -> None:
    script = (
        "import sys\n"
        "from setout.cli.command import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit:\n"
        "    pass\n"
        f"print('heavy:', sorted({HEAVY!r} & set(sys.modules)))\n"
    )
    found = run(sys.executable, "-c", script)
    assert found.returncode == 0, found.stderr
    assert found.stdout.splitlines()[-1] == "heavy: []"


def test_importing_the_package_is_light() -> None:
    script = f"import sys, setout; print(sorted({HEAVY | {'numpy', 'shapely', 'pyproj', 'pydantic'}!r} & set(sys.modules)))"
    found = run(sys.executable, "-c", script)
    assert found.stdout.strip() == "[]", found.stderr


OF_PRODUCTS = {"folium", "branca", "ezdxf", "reportlab", "pypdf", "xlsxwriter", "gpxpy"}
"""Libraries of single products or of single kinds of file."""
OF_OTHERS = {"rich", "matplotlib", "distributed", "dask", "multiprocessing", "scipy.optimize", "scipy.stats", "scipy.interpolate"}
"""What no plan without a terminal, drawn to its end in one process, has use for."""


def test_the_order_of_the_journey_loads_what_every_plan_needs() -> None:
    banned = OF_PRODUCTS | OF_OTHERS | {"geopandas", "pandas", "fiona", "pyogrio", "rasterio", "scipy", "contourpy", "sunposition"}
    script = f"import sys, setout.run.order; print(sorted({banned!r} & set(sys.modules)))"
    found = run(sys.executable, "-c", script)
    assert found.stdout.strip() == "[]", found.stderr


def test_a_product_that_is_not_asked_for_loads_nothing(tmp_path: Path) -> None:
    """The libraries of maps, drawings, sheets and workbooks stay away where only a GeoPackage is written."""
    from farm import Farm, write_survey

    write_survey(tmp_path / "sound")
    plan = str(Farm(tmp_path / "farm", tmp_path / "sound").write())
    script = (
        "import sys\n"
        "from setout.cli.command import main\n"
        f"code = main(['plan', {plan!r}, '--only', 'geopackage', '--json'])\n"
        f"print('loaded:', sorted({OF_PRODUCTS | OF_OTHERS!r} & set(sys.modules)), code)\n"
    )
    found = run(sys.executable, "-c", script)
    assert found.stdout.splitlines()[-1] == "loaded: [] 0", found.stderr


# ------------------------------------------------------------------------------------------ the documents


def readme_calls() -> list[list[str]]:
    """Return the words of every call of the command in the README."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = "\n".join(re.findall(r"^```sh\n(.*?)^```$", text, re.MULTILINE | re.DOTALL))
    spans = "\n".join(re.findall(r"`(setout [^`]+)`", text))
    return [line.split() for line in re.findall(r"\bsetout ((?:[a-z]+|--).*)", f"{blocks}\n{spans}")]


def help_of(*words: str) -> subprocess.CompletedProcess[str]:
    return run(sys.executable, "-m", "setout", *words, "--help")


def test_every_command_and_option_of_the_readme_exists() -> None:
    calls = readme_calls()
    assert len(calls) > 4
    assert {"demo", "new", "plan", "check", "plants"} <= {call[0] for call in calls}
    helps = {verb: help_of(verb) for verb in {call[0] for call in calls} if not verb.startswith("-")}
    for verb, shown in helps.items():
        assert shown.returncode == 0, f"setout {verb}: {shown.stderr}"
    for call in calls:
        options = [word.split("=")[0] for word in call if word.startswith("--") and word != "--help"]
        shown = helps[call[0]] if call[0] in helps else help_of()
        assert [o for o in options if o not in shown.stdout] == [], " ".join(call)


def test_every_command_is_in_the_readme() -> None:
    verbs = set(re.findall(r"^    ([a-z]+)  ", help_of().stdout, re.MULTILINE))
    assert verbs
    assert verbs == {call[0] for call in readme_calls() if not call[0].startswith("-")}


@pytest.mark.parametrize("name", ["demo", "tests"])
def test_the_readme_has_its_two_commands(name: str) -> None:
    found = run(sys.executable, ".ci/readme_command.py", name)
    assert found.returncode == 0, found.stderr
    assert found.stdout.startswith("python3 -m venv .venv && ")
    assert found.stdout.count("\n") == 1


DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "data/README.md",
    "maps/README.md",
    "pipeline/setout/planfile/GUIDE.md",
    "pipeline/setout/planfile/REFERENCE.md",
)


def links_of(document: str) -> list[tuple[Path, str]]:
    """Return the files that a document's relative links lead to, with the heading in them."""
    text = (ROOT / document).read_text(encoding="utf-8")
    found = re.findall(r"\]\((?!https?:)([^)#]*)(?:#([^)]*))?\)", text)
    return [((ROOT / document).parent / link if link else ROOT / document, heading) for link, heading in found]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_links_in_the_documents_lead_to_files_and_headings(document: str) -> None:
    for path, heading in links_of(document):
        assert path.exists(), path
        if heading:
            heads = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), re.MULTILINE)
            assert heading in {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}, (path, heading)


def test_the_readme_is_short() -> None:
    assert (ROOT / "README.md").stat().st_size <= 8192


def test_the_deed_of_the_survey_page_reads_and_closes(tmp_path: Path) -> None:
    """The four calls close by construction: 660 ft by 495 ft, 7.5 acres less the skew."""
    from setout.read import reference
    from setout.read.vector import files

    text = (ROOT / "data" / "README.md").read_text(encoding="utf-8")
    (deed,) = re.findall(r"^```deed\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    (tmp_path / "field.txt").write_text(deed, encoding="utf-8")
    layer = files.read_boundary(reference.parse("field.txt", tmp_path))
    (field,) = layer.geometry
    assert layer.crs.to_epsg() == 2272
    assert field.area / 43560 == pytest.approx(7.5, rel=0.01)
    assert [finding for finding in layer.findings if finding.severity != "note"] == []


def test_hooks_before_a_commit_run_what_the_checks_run() -> None:
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    entries = re.findall(r"entry: ([^}]+)}", (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert len(entries) > 4
    assert [entry for entry in entries if f".venv/bin/{entry}" not in checks] == []


def test_the_checks_repeat_nothing_but_what_a_registry_gives() -> None:
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    repeated = re.findall(r"^ *twice (.+)$", checks, re.MULTILINE)
    assert len(repeated) > 3
    assert all(re.search(r"apt-get|pip install|\$\{demo% && \*\}", line) for line in repeated)
    demo = run(sys.executable, ".ci/readme_command.py", "demo").stdout.strip().split(" && ")
    assert ["setout demo" in part for part in demo] == [False, False, True]


CODE = re.compile(r'""".*?"""', re.DOTALL)
"""Docstrings, which may speak in any unit."""
NAMES = {
    "WGS 84",
    "World Geodetic System 1984 ensemble",
    "site frame",
    "US survey foot",
    "international foot",  # of coordinate systems
    "ft of water",
    "m of water",  # units as columns of survey files have them
    "trees in the light",
    "manifold lines",  # what a bar counts
    " row ",  # in the name of a point
}
"""Texts with a space that stages hold: names, no sentences."""


def sentences(path: Path) -> Iterator[str]:
    """Yield the texts with a space in a module, but for docstrings, names, and what joins or parts texts."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone:
            text = node.value
            if " " in text and text not in NAMES and any(sign.isalnum() for sign in text):
                yield f"{path.relative_to(SOURCE)}:{node.lineno} {text!r}"


def test_stages_hold_figures_and_no_sentences() -> None:
    """What people read is made in words/; below it there are codes and SI figures."""
    rooms = (SOURCE / "setout" / room for room in ("stages", "geometry", "hydraulics"))
    assert [line for room in rooms for path in sorted(room.rglob("*.py")) for line in sentences(path)] == []


def test_a_sentence_in_a_stage_would_be_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(globals(), "SOURCE", tmp_path)
    (tmp_path / "one.py").write_text('"""A docstring."""\n\nX = f"{1} trees are dry"\nY = ", "\n')
    assert list(sentences(tmp_path / "one.py")) == ["one.py:3 ' trees are dry'"]


@pytest.mark.parametrize("word", ["show_length", "show_area", "show_pressure", '"us"', "site.units"])
def test_stages_know_no_unit_of_a_reader(word: str) -> None:
    rooms = (SOURCE / "setout" / room for room in ("stages", "geometry", "hydraulics"))
    used = [p for room in rooms for p in sorted(room.rglob("*.py")) if word in CODE.sub("", p.read_text(encoding="utf-8"))]
    assert used == []
