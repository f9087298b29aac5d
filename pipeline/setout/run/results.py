"""Every product of a plan into one folder, and the record of the run."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path

from setout._version import __version__
from setout.model import Planting
from setout.planfile import Plan
from setout.run.inputs import Input, changed
from setout.run.steps import Steps
from setout.stages import staking, terrain
from setout.words.findings import all_told
from setout.words.plan import CONTOURS_M
from setout.words.refusals import in_words

PRODUCTS = ("geopackage", "map", "terrain", "report", "packet")
STAGES = ("contours", "write plan.gpkg", "write terrain", "write map.html", "write report.html", "write packet")
"""What leads to results, in order."""


def write(planting: Planting, folder: Path, products: Sequence[str], steps: Steps) -> None:
    """Write every product that is asked for into an empty folder."""
    contours = []
    if {"geopackage", "map", "report"} & set(products) and planting.ground.elevations is not None:
        with steps.step("contours"):
            contours = terrain.contour_lines(planting.ground, planting.site, CONTOURS_M[planting.site.units])
    if "geopackage" in products:
        from setout.layers import plan_layers
        from setout.write.geopackage import writer

        with steps.step("write plan.gpkg"):
            writer.write(folder / "plan.gpkg", plan_layers(planting, contours), planting.site.frame.survey_crs)
    if "terrain" in products and planting.ground.elevations is not None:
        from setout.write import terrain as rasters

        with steps.step("write terrain"):
            (folder / "terrain").mkdir()
            rasters.write_terrain(planting.ground, folder / "terrain")
    if "map" in products:
        from setout.write import terrain as rasters
        from setout.write.map import page

        with steps.step("write map.html"):
            shade = rasters.hillshade_picture(planting.ground) if planting.ground.elevations is not None else None
            page.write_map(folder / "map.html", planting, hillshade=shade, contours=contours)
    if "report" in products:
        from setout.write.report import page as report
        from setout.write.report import picture

        with steps.step("write report.html"):
            svg = picture.plan_picture(planting, contours=contours)
            report.write_report(folder / "report.html", planting, picture_svg=svg)
    if "packet" in products:
        from setout.write.packet import contents, irrigation_files
        from setout.write.sheets import write_sheets

        with steps.step("write packet"), in_words(planting.site.units):
            stakes = staking.stake_set(planting)
            contents.write_packet(planting, stakes, folder / "packet", steps.say)
            write_sheets(folder / "packet" / "sheets.pdf", planting, stakes, steps.say)
            irrigation_files.write_irrigation(planting, folder / "packet")


def write_run(path: Path, inputs: Sequence[Input], the_plan: Plan, planting: Planting, folder: Path, steps: Steps) -> None:
    """Write run.json: what went in, with what, and how long each stage took."""
    record = {
        "setout": __version__,
        "plan_file": path.name,
        "inputs": {one.name: one.digest for one in inputs},
        "inputs_changed": changed(inputs),
        "settings": json.loads(the_plan.model_dump_json(by_alias=True)),
        "site": {
            "survey_crs": planting.site.frame.survey_crs.to_string(),
            "plane_crs": planting.site.frame.plane_crs.to_string(),
            "frame": planting.site.frame.crs.to_wkt(),
            "frame_scale": planting.site.frame.scale,
            "frame_height_m": planting.site.frame.height_m,
        },
        "trees": len(planting.trees),
        "trees_by_block": {block.name: int((planting.trees.block == k).sum()) for k, block in enumerate(planting.site.blocks)},
        "findings": [finding.record() for finding in all_told(planting.findings[:1000], planting.site.units)],
        "versions": {
            name: getattr(sys.modules.get(name), "__version__", None) or metadata.version(name)
            for name in ("numpy", "scipy", "shapely", "pyproj", "rasterio", "pyogrio", "geopandas", "folium", "ezdxf", "sunposition")
        },
        "python": sys.version.split()[0],
        "stages": steps.log,
    }
    (folder / "run.json").write_text(json.dumps(record, indent=1, allow_nan=False) + "\n", encoding="utf-8")
