"""Layers as GeoDataFrames are the layers of plan.gpkg, read back by geopandas."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
from pyproj import CRS
from shapely import Point

import setout
from invented import Property, field, objects, plan_of
from setout.errors import SetoutError
from setout.layers import plan_layers
from setout.write.geopackage import writer


@pytest.mark.parametrize("layer", ["trees", "rows", "usable", "exclusions", "boundary"])
def test_the_frame_is_the_layer(layer: str, tmp_path: Path) -> None:
    prop = Property(field(4), {"well": objects(Point(0, 40))}, {})
    plan = plan_of(
        prop.survey(CRS.from_epsg(32610)),
        {"name": "A", "pattern": "square", "step": "20 ft", "direction": "north-south"},
        setback=[{"from": "well", "distance": "50 ft"}],
    )
    writer.write(tmp_path / "plan.gpkg", plan_layers(plan), plan.site.frame.survey_crs)
    read = geopandas.read_file(tmp_path / "plan.gpkg", layer=layer)
    made = setout.geodataframe(plan, layer)
    assert made.crs == read.crs
    assert [c for c in read.columns if c != "geometry"] == [c for c in made.columns if c != "geometry"]
    assert len(made) == len(read)
    assert np.allclose(made.geometry.bounds, read.geometry.bounds, atol=1e-6)


def test_an_unknown_layer_is_named() -> None:
    plan = plan_of(Property(field(4), {}, {}).survey(CRS.from_epsg(32610)), {"name": "A", "pattern": "square", "step": "30 ft"})
    with pytest.raises(SetoutError, match='no layer "treez"'):
        setout.geodataframe(plan, "treez")
