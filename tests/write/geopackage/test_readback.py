"""What is read back is compared with what was written: damage done with SQLite is named, by either reader."""

from __future__ import annotations

import sqlite3
import sys

import pytest

from setout.errors import SetoutError
from setout.write.geopackage.readback import check_file, remember
from write.gpkg_sample import small_layers, tree_layer, written

LAYERS = (*small_layers(), tree_layer(300))


@pytest.fixture(params=["fiona", "pyogrio"])
def reader(request, monkeypatch):
    if request.param == "pyogrio":
        monkeypatch.setitem(sys.modules, "fiona", None)
    return request.param


@pytest.mark.usefixtures("reader")
def test_a_sound_file_is_as_it_was_written(tmp_path):
    check_file(written(tmp_path, list(LAYERS)), [remember(layer) for layer in LAYERS], "EPSG:2269")


@pytest.mark.usefixtures("reader")
@pytest.mark.parametrize(
    ("damage", "said"),
    [
        ("DELETE FROM land_account WHERE fid = 2", '"land_account".*2 features where there should be 3'),
        ("UPDATE trees SET nearest_m = 5.5 WHERE fid = 300", 'feature 300, column "nearest_m": 5.5 where'),
        ("UPDATE trees SET tree_id = NULL WHERE fid = 1", 'feature 1, column "tree_id": None where'),
        ("ALTER TABLE trees DROP COLUMN sun_h", "its columns are"),
        ("UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'boundary'", '"boundary".*its CRS is'),
        ("UPDATE trees SET geom = (SELECT geom FROM trees WHERE fid = 9) WHERE fid = 1", "feature 1 stands at .* where"),
    ],
)
def test_damage_is_named(tmp_path, damage, said):
    path = written(tmp_path, list(LAYERS))
    with sqlite3.connect(path) as db:
        for (trigger,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{trigger}"')
        db.execute(damage)
    db.close()
    with pytest.raises(SetoutError, match=said) as caught:
        check_file(path, [remember(layer) for layer in LAYERS], "EPSG:2269")
    assert all(fault.where == "plan.gpkg" for fault in caught.value.faults)


@pytest.mark.usefixtures("reader")
def test_a_missing_layer_is_named(tmp_path):
    path = written(tmp_path, list(LAYERS[:-1]))
    with pytest.raises(SetoutError, match='layer "trees" does not read back as it was written: is missing'):
        check_file(path, [remember(layer) for layer in LAYERS], "EPSG:2269")
