"""Invented properties as survey files in many dialects: one surface and one set of features, laid out anywhere on the earth."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from pyproj import CRS, Transformer
from rasterio.enums import ColorInterp

FIELD = shapely.Polygon(
    [(-130, -95), (-20, -110), (15, -60), (60, -105), (135, -80), (120, 95), (20, 110), (-15, 70), (-110, 100)],
    [[(-70, 10), (-45, 12), (-50, 38), (-72, 30)]],
)
"""Concave, with a pond; metres about its middle."""
FEATURES = {
    "house": [shapely.box(60, 20, 76, 31)],
    "road": [shapely.LineString([(-140, -40), (-40, -30), (30, -45), (140, -30)])],
    "well": [shapely.Point(-95, -70), shapely.Point(100, 70)],
    "line": [shapely.LineString([(-10, -130), (5, 130)])],
    "pond": [shapely.Polygon(FIELD.interiors[0])],
    "riser": [shapely.Point(-30, -60), shapely.Point(40, 60)],
    "wall": [shapely.LineString([(-120, 0), (-80, -5), (20, 0), (60, 5)])],
    "sleeve": [shapely.LineString([(-30, -8), (-30, 8)])],
    "blocks": [shapely.box(-140, -120, -5, 120), shapely.box(-5, -120, 140, 120), shapely.box(0, 0, 5, 5)],
}
COLUMNS: dict[str, dict[str, list[Any]]] = {
    "riser": {"name": ["low", "high"], "pressure_psi": [55.0, 38.0], "flow_gpm": [20.0, 15.0]},
    "blocks": {"name": ["west", "east", "shed"], "crop": ["planted", "planted", "none"]},
    "road": {"kind": ["lane"]},
}


@dataclass
class Place:
    """A place on the earth, the CRS that its survey is delivered in, and the height of its ground."""

    folder: Path
    lon: float
    lat: float
    epsg: int
    base: float = 120.0

    @property
    def crs(self) -> CRS:
        return CRS.from_epsg(self.epsg)

    @property
    def local(self) -> CRS:
        """A plane about the place on the survey's own datum, metres on the ellipsoid."""
        plane = CRS.from_proj4(f"+proj=tmerc +lat_0={self.lat} +lon_0={self.lon} +k=1 +datum=WGS84 +units=m")
        return CRS.from_json_dict({**plane.to_json_dict(), "base_crs": self.crs.geodetic_crs.to_2d().to_json_dict()})

    def laid(self, geometry: list[Any], epsg: int | None = None) -> gpd.GeoDataFrame:
        """Return geometries of the local plane in a CRS."""
        return gpd.GeoDataFrame(geometry=geometry, crs=self.local).to_crs(epsg or self.epsg)

    def features(self, epsg: int | None = None) -> None:
        """Write all features to features.gpkg."""
        for name, geometry in FEATURES.items():
            data = self.laid(geometry, epsg)
            for column, values in COLUMNS.get(name, {}).items():
                data[column] = values
            data.to_file(self.folder / "features.gpkg", layer=name)

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return the height of the ground [m]; about a sixth of it is steeper than 15 %."""
        return self.base + 0.05 * x + 9 * np.sin(x / 80 + 0.3) * np.cos(y / 70)

    def dem(self, name: str = "dem.tif", epsg: int | None = None, cell: float = 1.0, **how: Any) -> Path:
        """Write a DEM; cell in the CRS's unit, other words as `_write_dem` takes them."""
        return _write_dem(self, self.folder / name, CRS.from_epsg(epsg or self.epsg), cell, how)


def _write_dem(place: Place, path: Path, crs: CRS, cell: float, how: dict[str, Any]) -> Path:
    """Lay a grid over the field (how: part, margin, turn, south_up) and fill it (unit, dtype, scale, nodata, gap, said)."""
    part = how.get("part", FIELD.buffer(how.get("margin", 25.0)).envelope)
    there = Transformer.from_crs(place.local, crs, always_xy=True)
    corners = np.column_stack(there.transform(*shapely.get_coordinates(part.segmentize(20)).T))
    (west, south), (east, north) = corners.min(axis=0), corners.max(axis=0)
    turn = np.radians(how.get("turn", 0.0))
    middle, size = np.array([(west + east) / 2, (south + north) / 2]), np.array([east - west, north - south])
    if turn:
        size = np.full(2, float(np.hypot(*size)))
    columns, lines = (int(v) for v in np.ceil(size / cell))
    down = cell if how.get("south_up") else -cell
    a, b, d, e = cell * np.cos(turn), -down * np.sin(turn), cell * np.sin(turn), down * np.cos(turn)
    origin = np.floor(middle) if not crs.is_geographic else middle
    c, f = origin - np.array([a * columns + b * lines, d * columns + e * lines]) / 2
    col, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(lines) + 0.5)
    x, y = there.transform(a * col + b * row + c, d * col + e * row + f, direction="INVERSE")
    unit, scale = how.get("unit", 1.0), how.get("scale", 1.0)
    z = place.height(np.asarray(x), np.asarray(y)) / unit / scale
    dtype, nodata = how.get("dtype", "float32"), how.get("nodata")
    stored = np.rint(z).astype(dtype) if np.dtype(dtype).kind in "iu" else z.astype(dtype)
    gap = shapely.contains_xy(how["gap"], x, y) if "gap" in how else np.zeros(z.shape, bool)
    if gap.any() and how.get("fill", nodata) is not None:
        stored[gap] = how.get("fill", nodata)
    profile = {
        "driver": "GTiff",
        "width": columns,
        "height": lines,
        "count": 1,
        "dtype": dtype,
        "crs": crs.to_wkt(),
        "transform": rasterio.Affine(a, b, c, d, e, f),
        "nodata": nodata,
    }
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(path, "w", **profile) as raster:
        raster.write(stored, 1)
        raster.colorinterp = [ColorInterp.gray]
        if "said" in how:
            raster.set_band_unit(1, how["said"])
        if scale != 1.0:
            raster.scales = (scale,)
        if how.get("mask"):
            raster.write_mask(~gap)
    return path


def boundary_file(place: Place, dialect: str, field: Any = FIELD) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    """Write the boundary in a dialect; return the keys of the plan's site section and the boundary as written."""
    parts = [shapely.Polygon(field.exterior)] if dialect in {"kml", "gpx", "dxf", "csv", "lonlat", "deed"} else [field]
    return globals()[f"_{dialect}"](place, place.laid(parts))


def _file(place: Place, data: gpd.GeoDataFrame, name: str, **how: Any) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    data.to_file(place.folder / name, **how)
    return {"boundary": name}, data


def _gpkg(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    return _file(place, data, "field.gpkg", layer="field")


def _geojson(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    return _file(place, data.to_crs(4326), "field.geojson", COORDINATE_PRECISION=12)


def _zip(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    folder = place.folder / "parts"
    folder.mkdir()
    data.to_file(folder / "field.shp")
    with zipfile.ZipFile(place.folder / "field.zip", "w") as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, part.name)
    return {"boundary": "field.zip"}, data


def _several(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    """Two parts, one with a hole, as two features of one layer that holds another property too."""
    west, east = (shapely.intersection(FIELD, shapely.box(*b)) for b in ((-200, -200, -8, 200), (8, -200, 200, 200)))
    apart = place.laid([shapely.MultiPolygon(shapely.get_parts([west])), *shapely.get_parts([east]), shapely.box(300, 0, 400, 90)])
    apart["owner"] = ["Wren", "Wren", "Lark"]
    _file(place, apart, "parcels.gpkg", layer="parcels")
    return {"boundary": "parcels.gpkg:parcels[owner=Wren]"}, apart[:2]


def _kml(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    world = data.to_crs(4326)
    ring = " ".join(f"{x:.10f},{y:.10f},0" for x, y in world.geometry.iloc[0].exterior.coords)
    (place.folder / "field.kml").write_text(
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>field</name><Polygon>'
        f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
        "</Document></kml>"
    )
    return {"boundary": "field.kml"}, world


def _gpx(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    world = data.to_crs(4326)
    track = "".join(f'<trkpt lat="{y:.10f}" lon="{x:.10f}"/>' for x, y in world.geometry.iloc[0].exterior.coords)
    (place.folder / "walk.gpx").write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>walk</name>'
        f"<trkseg>{track}</trkseg></trk></gpx>"
    )
    return {"boundary": "walk.gpx"}, world


def _dxf(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    import ezdxf

    unit = place.crs.axis_info[0].unit_name
    drawing = ezdxf.new("R2010")
    drawing.header["$INSUNITS"] = {"metre": 6, "foot": 2, "US survey foot": 21}[unit]  # ezdxf.units: m, ft, US survey ft
    drawing.modelspace().add_lwpolyline(list(data.geometry.iloc[0].exterior.coords)[:-1], close=True, dxfattribs={"layer": "LOT"})
    drawing.modelspace().add_text("LOT 7", dxfattribs={"layer": "NOTES"})
    drawing.saveas(place.folder / "lot.dxf")
    return {"boundary": "lot.dxf:LOT", "crs": f"EPSG:{place.epsg}"}, data


def _csv(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    corners = np.round(shapely.get_coordinates(shapely.get_exterior_ring(data.geometry.iloc[0])), 3)
    lines = [f"P{k},{x:.3f},{y:.3f}" for k, (x, y) in enumerate(corners[:-1], 1)]
    (place.folder / "corners.csv").write_text("\n".join(["point,easting,northing", *lines]) + "\n")
    site = {"boundary": "corners.csv", "crs": f"EPSG:{place.epsg}"}
    return site, gpd.GeoDataFrame(geometry=[shapely.Polygon(corners)], crs=place.crs)


def _lonlat(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    corners = np.round(shapely.get_coordinates(data.to_crs(4326).geometry.iloc[0].exterior), 9)
    lines = [f"{y:.9f},{x:.9f}" for x, y in corners[:-1]]
    (place.folder / "corners.csv").write_text("\n".join(["lat,lon", *lines]) + "\n")
    return {"boundary": "corners.csv"}, gpd.GeoDataFrame(geometry=[shapely.Polygon(corners)], crs=4326)


def _deed(place: Place, data: gpd.GeoDataFrame) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    """Calls in the grid's bearings, distances in its unit to the thousandth."""
    corners = shapely.get_coordinates(data.geometry.iloc[0].exterior)
    unit = {"metre": "m", "foot": "ft", "US survey foot": "US survey ft"}[place.crs.axis_info[0].unit_name]
    calls = []
    for east, north in np.diff(corners, axis=0):
        bearing = np.degrees(np.arctan2(abs(east), abs(north)))
        calls.append(f"{'N' if north > 0 else 'S'} {bearing:.6f} {'E' if east > 0 else 'W'} {np.hypot(east, north):.3f} {unit}")
    (place.folder / "deed.txt").write_text("\n".join(calls) + "\n")
    start = [float(v) for v in corners[0]]
    return {"boundary": "deed.txt", "crs": f"EPSG:{place.epsg}", "start": start}, data
