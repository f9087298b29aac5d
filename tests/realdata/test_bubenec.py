"""Parcels of a real town on its real ground: momepy's bubenec.gpkg (Prague), planned whole and inspected.

The DTM's CRS is EPSG:5514, but the file names no code and no place on the earth; the vectors are in EPSG:3857, where
areas read 2.43 times too large.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from pyproj import CRS

from inspector import Truth, heights_of
from onfile import codes, look_at
from setout.errors import SetoutError

pytestmark = pytest.mark.realdata
KROVAK = CRS.from_epsg(5514)
BLOCK = {"name": "A", "pattern": "square", "step": "4 m", "direction": "longest side", "spread": "3 m"}


@pytest.fixture(scope="module")
def gpkg(testdata):
    return testdata("momepy", "momepy/datasets/bubenec.gpkg")


@pytest.fixture(scope="module")
def heights(gpkg, tmp_path_factory):
    """The DTM as another reader sees it."""
    with rasterio.open(gpkg) as raster:
        z, transform = raster.read(1, masked=True).filled(np.nan).astype(float), tuple(raster.transform)[:6]
    tif = tmp_path_factory.mktemp("dtm") / "dtm.tif"
    with rasterio.open(
        tif,
        "w",
        driver="GTiff",
        width=z.shape[1],
        height=z.shape[0],
        count=1,
        dtype="float32",
        crs=KROVAK.to_wkt(),
        transform=rasterio.Affine(*transform),
        nodata=-9999,
    ) as raster:
        raster.write(np.nan_to_num(z, nan=-9999).astype("float32"), 1)
    return heights_of(tif)


def plan_of_plot(tmp_path, gpkg, heights, plot, **more):
    boundary = f"{gpkg}:plots[ID_2={plot}]"
    layers = {boundary: gpd.read_file(gpkg, layer="plots").query(f"ID_2 == '{plot}' or ID_2 == {plot}")}
    for layer in ("buildings", "streets"):
        layers[f"{gpkg}:{layer}"] = gpd.read_file(gpkg, layer=layer)
    site = {"boundary": boundary, "dem": [str(gpkg)], "dem_crs": "EPSG:5514"}
    setback = [
        {"from": "boundary", "distance": "1.5 m", "why": "property line"},
        {"from": f"{gpkg}:buildings", "distance": "3 m", "measured_to": "canopy", "why": "building"},
        {"from": f"{gpkg}:streets", "distance": "6 m", "why": "street"},
    ]
    sections = {"site": site, "ground": {"max_slope": "12 %"}, "setback": setback, "block": [BLOCK]} | more
    return look_at(tmp_path, Truth(layers, heights), units="si", **sections)


# the largest, with four holes and more than half of it beyond the DTM; one concave; one compact; one with two courtyards
@pytest.mark.parametrize("plot", [2402104101, 2402121101, 2402371101, 2402632101])
def test_parcels_in_web_mercator_on_krovak_ground(tmp_path, gpkg, heights, plot):
    planting = plan_of_plot(tmp_path, gpkg, heights, plot)
    assert len(planting.trees) > 15
    assert {"grid_stretched", "layer_unused"} <= codes(planting)
    if plot == 2402371101:
        # 7445.28 m2 on the ellipsoid (pyproj.Geod); here raised to the ground's height of about 200 m plus nothing for the geoid
        assert planting.usable.account[0].remaining_m2 == pytest.approx(7445.28 * (1 + 200 / 6.378e6) ** 2, rel=2e-5)


def test_streets_as_barriers(tmp_path, gpkg, heights):
    """Water from a corner of the largest parcel, streets in the way."""
    import shapely

    plots = gpd.read_file(gpkg, layer="plots")
    largest = plots[plots["ID_2"].astype(str) == "2402104101"].geometry.iloc[0]
    riser = gpd.GeoDataFrame({"name": ["riser"], "pressure_kpa": [300.0]}, geometry=[largest.representative_point()], crs=3857)
    riser.to_file(tmp_path / "water.gpkg", layer="points")
    street = gpd.GeoDataFrame(
        geometry=[
            shapely.affinity.translate(
                shapely.LineString([(largest.bounds[0], largest.centroid.y), (largest.centroid.x, largest.centroid.y)]), 0, 25.0
            )
        ],
        crs=3857,
    )
    street.to_file(tmp_path / "wall.gpkg", layer="wall")
    water = {
        "points": "water.gpkg:points",
        "max_run": "120 m",
        "min_pressure": "180 kPa",
        "barriers": [f"{gpkg}:streets", "wall.gpkg:wall"],
    }
    planting = plan_of_plot(tmp_path, gpkg, heights, 2402104101, water=water)
    run = planting.trees.run_m
    assert np.isfinite(run).all()
    assert run.max() > 60


def test_a_dtm_without_a_place_is_refused_until_the_plan_names_its_crs(tmp_path, gpkg, heights):
    site = {"boundary": f"{gpkg}:plots[ID_2=2402371101]", "dem": [str(gpkg)]}
    with pytest.raises(SetoutError, match="does not say its CRS") as refused:
        look_at(tmp_path, Truth(heights=heights), site=site, block=[BLOCK])
    assert "dem_crs" in str(refused.value)
    assert not (tmp_path / "out").exists()
