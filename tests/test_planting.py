"""Layers as GeoDataFrames are the layers of plan.gpkg, read back by geopandas."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

import setout
from farm import Farm, write_survey
from setout.errors import SetoutError
from setout.planting import Planting


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Planting, Path]:
    folder = tmp_path_factory.mktemp("farm")
    write_survey(folder / "sound")
    path = Farm(folder / "plan", folder / "sound").write()
    return setout.plan(path, products=("geopackage",)), path.parent / "out" / "plan.gpkg"


def test_every_layer_and_table_is_that_of_the_file(planned: tuple[Planting, Path]) -> None:
    planting, file = planned
    names = [name for name in pyogrio.list_layers(file)[:, 0].tolist() if name != "layer_styles"]
    assert list(planting.layers) == names
    assert {"trees", "rows", "usable", "exclusions", "boundary", "findings", "land_account", "order", "materials"} <= set(names)
    for name in names:
        made, read = planting.layer(name), pyogrio.read_dataframe(file, layer=name)
        assert [c for c in made.columns if c != "geometry"] == [c for c in read.columns if c != "geometry"]
        assert len(made) == len(read)
        for column in (c for c in read.columns if c != "geometry"):
            pd.testing.assert_series_equal(
                made[column].astype(object).where(made[column].notna(), None),
                read[column].astype(object).where(read[column].notna(), None),
                check_dtype=False,
            )
        if isinstance(read, geopandas.GeoDataFrame):
            assert made.crs == read.crs
            assert np.array_equal(shapely.is_missing(made.geometry.to_numpy()), shapely.is_missing(read.geometry.to_numpy()))
            assert np.allclose(made.geometry.bounds, read.geometry.bounds, atol=1e-6, equal_nan=True)


def test_whole_numbers_and_truths_that_may_be_unknown_keep_their_kind(planned: tuple[Planting, Path]) -> None:
    trees = planned[0].layer("trees")
    assert trees["row"].dtype == "int64"
    assert str(trees["watered"].dtype) in {"boolean", "bool"}
    assert trees["nearest_m"].dtype == "float64"
    assert trees["variety"].dtype == object


def test_it_is_shown_in_a_line(planned: tuple[Planting, Path]) -> None:
    planting = planned[0]
    assert repr(planting).startswith(f"<Planting {planting.site.name!r}: {len(planting.trees):,} trees in ")


def test_an_unknown_layer_is_named(planned: tuple[Planting, Path]) -> None:
    with pytest.raises(SetoutError, match=r'no layer "treez".*there are boundary'):
        planned[0].layer("treez")
