"""Survey files that are none but name other files, or a server, to read from: nothing is asked of either.

A server on this machine counts what comes to it; a file outside of the survey holds what would show where it was read.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import threading
import zipfile
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import SimpleNamespace

import pytest
import rasterio

from bad import proper
from farm import FIELD, write_dem, write_vector


@pytest.fixture(scope="module")
def server():
    """A server that knows nothing, and what it was asked."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_POST = do_GET  # noqa: N815 - the library's names

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as serving:
        threading.Thread(target=serving.serve_forever, daemon=True).start()
        yield SimpleNamespace(address=f"http://127.0.0.1:{serving.server_port}", asked=asked)
        serving.shutdown()


WFS = "<OGRWFSDataSource><URL>SERVER/wfs</URL></OGRWFSDataSource>"
OGR_VRT = '<OGRVRTDataSource><OGRVRTLayer name="field"><SrcDataSource>CANARY</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'


def points(crs: str = '"name": "a"', crs_of_geometry: str = '"bbox": null') -> str:
    return (
        f'{{"type": "FeatureCollection", {crs}, "features": [{{"type": "Feature", "properties": {{}}, "geometry": '
        f'{{"type": "Point", {crs_of_geometry}, "coordinates": [-122.9, 45.05]}}}}]}}'
    )


LINK = '"crs": {"type": "link", "properties": {"href": "SERVER/link"}}'
ESCAPED = '"\\u0063rS" : {"properties": {"url": "SERVER/url"}, "type": "\\u0075RL"}'
PIPELINE = '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read /vsicurl/SERVER/x.json ! write -"}'
ENTITIES = """<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x SYSTEM "SERVER/x">]><kml xmlns="http://www.opengis.net/kml/2.2">
<Placemark><name>&x;</name><Point><coordinates>1,2</coordinates></Point></Placemark></kml>"""
VECTORS = {
    "WFS as GeoJSON": ("a.geojson", WFS, "no vector file of a known format"),
    "WFS as GeoPackage": ("a.gpkg", WFS, "no GeoPackage but a text file"),
    "WFS as Shapefile": ("a.shp", WFS, "is missing"),
    "WFS as KML": ("a.kml", WFS, "no vector file of a known format"),
    "WFS as FlatGeobuf": ("a.fgb", WFS, "no vector file of a known format"),
    "WFS under no known name": ("a.wfs", WFS, "no vector file of a known format"),
    "WFS without extension": ("field", WFS, "no vector file of a known format"),
    "VRT of vectors": ("a.vrt", OGR_VRT, "no vector file of a known format"),
    "VRT of vectors as GeoJSON": ("a.json", OGR_VRT, "no vector file of a known format"),
    "VRT of vectors as XML": ("a.xml", OGR_VRT, "no vector file of a known format"),
    "pipeline": ("a.json", PIPELINE, "a command for a program"),
    "pipeline by name": ("a.gdalg.json", PIPELINE.replace("_", "\\u005f", 1), "a command for a program"),
    "linked CRS": ("a.geojson", points(LINK), "by a link"),
    "linked CRS, escaped": ("a.geojson", points(ESCAPED), "by a link"),
    "linked CRS of a geometry": ("a.geojson", points(crs_of_geometry=LINK), "by a link"),
    "entities": ("a.kml", ENTITIES, "a document type declaration"),
}


@pytest.mark.parametrize("which", list(VECTORS))
def test_vectors(farm, refused, server, tmp_path, which):
    name, text, said = VECTORS[which]
    canary = write_vector(tmp_path / "canary.gpkg", [FIELD])
    (farm.survey / name).write_text(text.replace("SERVER", server.address).replace("CANARY", str(canary)))
    farm.sections["site"]["boundary"] = f"survey/{name}"
    refused(f"survey/{name}", said)
    assert server.asked == []
    if name.endswith(("geojson", "kml", "fgb")):  # the same in a zip file
        with zipfile.ZipFile(farm.survey / "a.zip", "w") as archive:
            archive.write(farm.survey / name, name)
        farm.sections["site"]["boundary"] = "survey/a.zip"
        refused("survey/a.zip", said)
        assert server.asked == []


def test_links_in_a_kml_are_not_followed(farm, warm, server):
    """They may be there, as any map program writes them."""
    ring = "-122.875,45.06 -122.874,45.06 -122.874,45.061 -122.875,45.061 -122.875,45.06"
    (farm.survey / "field.kml").write_text(
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>field</name>'
        f"<NetworkLink><Link><href>{server.address}/n.kml</href></Link></NetworkLink><Placemark>"
        f"<styleUrl>{server.address}/s.kml#a</styleUrl><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates>"
        "</LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    )
    path = farm.write(
        site={"boundary": "survey/field.kml"},
        setback=None,
        no_plant=None,
        height_limit=None,
        water=None,
        ground=None,
        block=[{"name": "A", "pattern": "square", "step": "5 m"}],
    )
    ran = warm("plan", path, "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
    assert server.asked == []


VRT = """<VRTDataset rasterXSize="45" rasterYSize="35"><SRS>EPSG:26910</SRS><GeoTransform>509970,4,0,4990115,0,-4</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><UnitType>metre</UnitType><SimpleSource><SourceFilename>{}</SourceFilename></SimpleSource>
</VRTRasterBand></VRTDataset>"""
WMS = """<GDAL_WMS><Service name="TMS"><ServerUrl>{}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service><DataWindow>
<UpperLeftX>509970</UpperLeftX><UpperLeftY>4990115</UpperLeftY><LowerRightX>510150</LowerRightX><LowerRightY>4989975</LowerRightY>
<TileLevel>3</TileLevel></DataWindow><Projection>EPSG:26910</Projection><BandsCount>1</BandsCount></GDAL_WMS>"""


@pytest.mark.parametrize("name", ["dem.tif", "dem.img", "dem.vrt", "dem.asc", "dem"])
@pytest.mark.parametrize("source", ["canary", "relative", "server", "tiles"])
def test_rasters(farm, refused, server, tmp_path, name, source):
    canary = write_dem(tmp_path / "canary.tif")
    shutil.copy(canary, farm.survey / "other.tif")
    (farm.survey / "dem.tif").unlink()
    address = {"canary": str(canary), "relative": "../../canary.tif", "server": f"/vsicurl/{server.address}/d.tif"}.get(source)
    (farm.survey / name).write_text(VRT.format(address) if address else WMS.format(server.address))
    farm.sections["site"]["dem"] = f"survey/{name}"
    refused(f"survey/{name}", "holds no heights: it is a text that names other files, or a server", "name the files themselves")
    assert server.asked == []


@pytest.mark.parametrize("end", [".msk", ".ovr"])
def test_what_lies_beside_a_raster(farm, refused, server, end):
    (farm.survey / f"dem.tif{end}").write_text(VRT.format(f"/vsicurl/{server.address}/d.tif"))
    refused(f"survey/dem.tif: dem.tif{end} beside it is no TIFF")
    assert server.asked == []


def test_what_a_raster_says_of_its_overviews_is_not_looked_up(farm, warm, server):
    with rasterio.open(farm.survey / "dem.tif", "r+") as dem:
        dem.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{server.address}/o.tif")
    (farm.survey / "dem.tif.aux.xml").write_text(
        f'<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/{server.address}/p.tif</MDI></Metadata></PAMDataset>'
    )
    ran = warm("plan", farm.write(), "--quiet")
    assert (ran.code, ran.err) == (0, "")
    assert server.asked == []


@pytest.mark.parametrize("key", ["boundary", "dem"])
@pytest.mark.parametrize("address", ["/vsicurl/{0}/x", "/vsizip/{{/vsicurl/{0}/x.zip}}/x", "{0}/x", "/vsimem/x", "WFS:{0}", "PG:dbname=x"])
def test_addresses_in_the_plan_file(farm, refused, server, key, address):
    farm.sections["site"][key] = address.format(server.address)
    refused(f"plan.toml: site.{key}")
    assert server.asked == []


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid, CAST(NULL AS BLOB) AS geom FROM n WHERE i < 0"


PROGRAM = "INSERT INTO sqlite_master VALUES ('table', 'odd', 'odd', 0, 'CREATE VIRTUAL TABLE odd USING VirtualOGR(''x'')')"


@pytest.mark.parametrize(
    "sql, said",
    [
        ([f"CREATE VIEW odd AS {ENDLESS}"], 'a view, "odd", a question to the database that takes without end'),
        (["CREATE VIEW odd AS SELECT *, zeroblob(900000000) AS z FROM field"], 'a view, "odd", a question to the database that fails'),
        (
            ["ALTER TABLE gpkg_contents RENAME TO c", "CREATE VIEW gpkg_contents AS SELECT * FROM c"],
            "is no GeoPackage but another database",
        ),
        (
            ["DROP TABLE IF EXISTS gpkg_ogr_contents", f"CREATE VIEW gpkg_ogr_contents AS {ENDLESS}"],
            'its table "gpkg_ogr_contents" is no table but a view',
        ),
        (["PRAGMA writable_schema = 1", PROGRAM], 'its table "odd" is made by a program'),
    ],
)
def test_geopackages_that_run(farm, refused, sql, said):
    for number, file in enumerate(("field.gpkg", "features.gpkg")):
        shutil.copy(farm.survey / file, farm.survey / "kept")
        with closing(sqlite3.connect(farm.survey / file)) as database:
            database.execute("CREATE TABLE IF NOT EXISTS field (a)")
            for line in sql:
                database.execute(line)
            database.commit()
        refused(f"survey/{file}", said)
        shutil.move(farm.survey / "kept", farm.survey / file)
        if number == 0 and "fails" in said:
            return


@pytest.mark.parametrize("log", ["wal", "delete"])
def test_geopackages_in_a_zip_that_run(farm, refused, warm, log):
    path = farm.survey / "field.gpkg"
    farm.sections["site"]["boundary"] = "survey/a.zip"
    for sql in (None, f"CREATE VIEW odd AS {ENDLESS}"):
        with closing(sqlite3.connect(path)) as database:
            database.execute(f"PRAGMA journal_mode = {log}")
            database.execute(sql or "SELECT 1")
            database.commit()
        with zipfile.ZipFile(farm.survey / "a.zip", "w") as archive:
            archive.write(path, "field.gpkg")
        if sql:
            refused("survey/a.zip", "takes without end")
        elif log == "delete":
            assert warm("plan", farm.write(), "--quiet", "--only", "packet").code == 0


def test_a_view_that_ends_is_a_layer_like_any_other(farm, warm):
    with closing(sqlite3.connect(farm.survey / "features.gpkg")) as database:
        database.execute("CREATE VIEW wells AS SELECT * FROM well")
        database.execute(
            "INSERT INTO gpkg_contents SELECT 'wells', data_type, 'wells', '', last_change, min_x, min_y, max_x, max_y, srs_id "
            "FROM gpkg_contents WHERE table_name = 'well'"
        )
        database.execute(
            "INSERT INTO gpkg_geometry_columns SELECT 'wells', column_name, geometry_type_name, srs_id, z, m "
            "FROM gpkg_geometry_columns WHERE table_name = 'well'"
        )
        database.commit()
    farm.sections["setback"][2]["from"] = "survey/features.gpkg:wells"
    ran = warm("plan", farm.write(), "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")


def test_another_database_is_no_geopackage(farm, refused):
    with closing(sqlite3.connect(farm.survey / "field.gpkg")) as database:
        database.execute(f"PRAGMA application_id = {int.from_bytes(b'MPBX')}")
    refused("survey/field.gpkg: is no GeoPackage but another database")


def test_a_zip_that_unpacks_to_too_much(farm, refused):
    with (
        zipfile.ZipFile(farm.survey / "field.zip", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("field.geojson", "w", force_zip64=True) as file,
    ):
        for _ in range(1100):
            file.write(bytes(1 << 20))
    farm.sections["site"]["boundary"] = "survey/field.zip"
    refused("survey/field.zip: unpacks to 1.2 GB; unzip it")


def test_other_commands(farm, warm, server):
    """``new`` and ``check`` read by the same doors."""
    (farm.survey / "a.geojson").write_text(WFS.replace("SERVER", server.address))
    dem, field = farm.survey / "dem.tif", farm.survey / "field.gpkg"
    proper(warm("new", farm.folder / "new", "--boundary", farm.survey / "a.geojson", "--dem", dem))
    proper(warm("new", farm.folder / "new", "--boundary", field, "--dem", dem, "--features", farm.survey / "a.geojson"))
    proper(warm("check", farm.write(), "--trees", farm.survey / "a.geojson", "--quiet"))
    dem.write_text(WMS.format(server.address))
    proper(warm("new", farm.folder / "new", "--boundary", field, "--dem", dem))
    assert server.asked == []


def test_a_crs_that_is_named_is_read(farm, warm):
    """As GDAL writes it into a GeoJSON."""
    ring = [list(corner) for corner in FIELD.exterior.coords]
    data = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26910"}},
        "features": [
            {"type": "Feature", "properties": {"crs": "surveyed", "type": "link"}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
        ],
    }
    (farm.survey / "field.geojson").write_text(json.dumps(data))
    farm.sections["site"]["boundary"] = "survey/field.geojson"
    ran = warm("plan", farm.write(), "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
