"""Survey files for the tests, written with GDAL through pyogrio or as plain text."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio.raw
import shapely

from setout.read import reference
from setout.read.vector import files

SQUARE = shapely.Polygon([(987000, 212000), (987600, 212000), (987600, 212500), (987000, 212500)])
"""600 x 500 ft on Long Island, EPSG:2263 [US survey ft]."""
LONLAT = shapely.Polygon([(-73.99, 40.74), (-73.98, 40.74), (-73.98, 40.75), (-73.99, 40.75)])


def write(path, shapes, crs="EPSG:2263", kind="Polygon", layer=None, append=False, driver=None, encoding=None, **columns):
    """Write shapes with columns as one layer and return the path."""
    kwargs = {"layer": layer} if layer else {}
    if driver:
        kwargs["driver"] = driver
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array(shapes, object)),
        field_data=[np.array(v, object if isinstance(v[0], str) or v[0] is None else None) for v in columns.values()],
        fields=np.array(list(columns), object),
        geometry_type=kind,
        crs=crs,
        append=append,
        encoding=encoding,
        **kwargs,
    )
    return path


def ref(text, base=Path()):
    return reference.parse(str(text), base)


def boundary(text, base=Path(), **kwargs):
    return files.read_boundary(ref(text, base), **kwargs)


def features(text, base=Path(), **kwargs):
    return files.read_vector(ref(text, base), **kwargs)


def codes(layer):
    return [finding.code for finding in layer.findings]
