"""Write the demo property's survey files and its plan file."""

from __future__ import annotations

import errno
import os
import tempfile
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from setout.demo.property import CELL_FT, CLIMATE, CORNER_MARK, CRS_CODE, DEM_EXTENT, Layer, survey_files
from setout.demo.terrain import heights
from setout.errors import Interrupted, SetoutError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

PLAN_NAME: Final = "plan.toml"
"""Name of the demo's plan file."""
SURVEY_FOLDER: Final = "survey"
"""Folder of the survey files, beside the plan file."""
CLIMATE_NAME: Final = "climate.csv"
"""Name of the climate file in that folder."""
_SURVEY_DATE: Final = "2024-10-15T00:00:00.000Z"


def write_demo(folder: Path) -> Path:
    """Write the demo property: a plan file and the survey files it names."""
    plan = folder / PLAN_NAME
    text = resources.files("setout.demo").joinpath(PLAN_NAME).read_text(encoding="utf-8")
    try:
        _spare_other_plans(plan, text)
        (folder / SURVEY_FOLDER).mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".demo-", dir=folder) as held:
            names = _write_survey(Path(held))
            Path(held, PLAN_NAME).write_text(text, encoding="utf-8")
            for name in names:
                Path(held, name).replace(folder / SURVEY_FOLDER / name)
            Path(held, PLAN_NAME).replace(plan)
    except OSError as error:
        raise _unwritable(folder, error) from error
    return plan


def _spare_other_plans(plan: Path, text: str) -> None:
    """Refuse to write over a plan file that somebody has worked on."""
    if not plan.exists():
        return
    if plan.read_bytes().replace(b"\r\n", b"\n") != text.encode("utf-8"):
        raise SetoutError(
            "a plan file that is not the demo's is already there", str(plan), "choose another folder for the demo, or move that file away"
        )


def _unwritable(folder: Path, error: OSError) -> SetoutError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Interrupted("there is no room left for the demo", str(folder), "free some space and try again")
    reason = os.strerror(error.errno) if error.errno else str(error)
    return SetoutError(f"the demo cannot be written here ({reason})", str(folder), "choose a folder that you may write to")


def _write_survey(folder: Path) -> list[str]:
    """Write every survey file and return their names."""
    files = survey_files()
    with _gdal_options(OGR_CURRENT_DATE=_SURVEY_DATE):
        for name, layers in files.items():
            _write_layers(folder / name, layers)
    _write_dem(folder / "dem.tif")
    (folder / CLIMATE_NAME).write_text(CLIMATE, encoding="utf-8", newline="\n")
    return [*files, "dem.tif", CLIMATE_NAME]


@contextmanager
def _gdal_options(**options: str) -> Iterator[None]:
    """Set GDAL options while the files are written: with a fixed date the same demo has the same bytes."""
    import pyogrio

    before = {key: pyogrio.get_gdal_config_option(key) for key in options}
    pyogrio.set_gdal_config_options(options)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _write_layers(path: Path, layers: Sequence[Layer]) -> None:
    """Write one GeoPackage 1.2, which desktop programs of any age open."""
    import pyogrio.errors
    import pyogrio.raw

    for layer in layers:
        shapes = np.array([shapely.to_wkb(shape) for shape in layer.geometry], dtype=object)
        data = [np.array(values, dtype=_dtype(values)) for values in layer.columns.values()]
        options: dict[str, Any] = {} if path.exists() else {"VERSION": "1.2"}
        try:
            pyogrio.raw.write(
                path,
                shapes,
                data,
                list(layer.columns),
                layer=layer.name,
                driver="GPKG",
                crs=CRS_CODE,
                geometry_type=layer.geometry[0].geom_type,
                **options,
            )
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
            raise OSError(str(error)) from error


def _dtype(values: Sequence[str] | Sequence[float]) -> type[object]:
    return object if isinstance(values[0], str) else np.float64


def _write_dem(path: Path) -> None:
    """Write the DEM: heights in metres, said in the file, to the centimetre; cells in feet."""
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.transform import from_origin

    west, south, east, north = DEM_EXTENT
    width, height = round((east - west) / CELL_FT), round((north - south) / CELL_FT)
    x = west + CELL_FT * (np.arange(width, dtype=float) + 0.5)
    y = north - CELL_FT * (np.arange(height, dtype=float) + 0.5)
    z = np.round(heights(x[None, :], y[:, None]), 2).astype(np.float32)
    place = from_origin(west + CORNER_MARK[0], north + CORNER_MARK[1], CELL_FT, CELL_FT)
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "width": width,
        "height": height,
        "count": 1,
        "dtype": "float32",
        "crs": CRS_CODE,
        "transform": place,
        "nodata": -9999.0,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 9,
    }
    try:
        with rasterio.open(path, "w", **profile) as file:
            file.write(z, 1)
            file.units = ("metre",)
    except RasterioError as error:
        raise OSError(str(error)) from error
