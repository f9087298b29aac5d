"""The files of others that the results hold: those that are known, and no others."""

from __future__ import annotations

import base64
import tomllib
from pathlib import Path
from types import SimpleNamespace

import pytest

from setout.draw import carried as module
from setout.draw.carried import FOLDERS, FONT, LEAFLET, SHA256, VERSIONS, carried
from setout.errors import SetoutError

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def spoiled(tmp_path, monkeypatch):
    """Packages whose files are right but for what a test does to them."""
    for package, folder in FOLDERS.items():
        for name in SHA256:
            if name.endswith(".ttf") == (package == FONT):
                (tmp_path / folder / name).parent.mkdir(parents=True, exist_ok=True)
                (tmp_path / folder / name).write_bytes(carried(package, name))
    found = SimpleNamespace(locate_file=lambda name: tmp_path / name)
    monkeypatch.setattr(module.metadata, "distribution", lambda _: found)
    return lambda package, name: tmp_path / FOLDERS[package] / name


def test_sums_are_those_that_leaflet_publishes():
    # leafletjs.com/download.html, Leaflet 1.9.4, the attributes "integrity" of its two elements (from memory)
    assert base64.b64encode(bytes.fromhex(SHA256["leaflet.js"])) == b"20nQCchB9co0qIjJZRGuk2/Z9VM+kNiyxNV1lvTlZBo="
    assert base64.b64encode(bytes.fromhex(SHA256["leaflet.css"])) == b"p4NxAoJBhIIN+hmNHrzRCf9tD/miZyoHS5obTRR9BMY="


def test_the_releases_are_pinned():
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    assert {f"{package}=={version}" for package, version in VERSIONS.items()} <= set(wanted)


@pytest.mark.parametrize(
    "package, name", [(LEAFLET, "leaflet.js"), (LEAFLET, "images/layers.png"), (FONT, "FiraSansCondensed-Regular.ttf")]
)
def test_another_file_under_its_name_is_refused(spoiled, package, name):
    assert carried(package, name)
    spoiled(package, name).write_bytes(carried(package, name) + b"\n")
    with pytest.raises(SetoutError, match=rf'{package}: {name} is not the file that setout knows by this name; pip install .*"{package}=='):
        carried(package, name)
    spoiled(package, name).unlink()
    with pytest.raises(SetoutError, match=rf"{package}: {name}, which the results need, cannot be read"):
        carried(package, name)


def test_a_package_that_is_not_there(monkeypatch):
    def none(name):
        raise module.metadata.PackageNotFoundError(name)

    monkeypatch.setattr(module.metadata, "distribution", none)
    with pytest.raises(SetoutError, match="No package metadata was found"):
        carried(LEAFLET, "leaflet.js")
