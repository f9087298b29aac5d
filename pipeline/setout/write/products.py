"""The files that setout writes: their names in an output folder, by product."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

FILES: Final[Mapping[str, tuple[str, ...]]] = {
    # what a database program left beside an older plan.gpkg would be played back into the new one
    "geopackage": ("plan.gpkg", "plan.gpkg-journal", "plan.gpkg-wal", "plan.gpkg-shm"),
    "map": ("map.html",),
    "terrain": ("terrain/slope.tif", "terrain/hillshade.tif"),
    "report": ("report.html",),
    "packet": (
        "packet/README.txt",
        "packet/stakeout.csv",
        "packet/points.csv",
        "packet/control.csv",
        "packet/stakeout.dxf",
        "packet/trees.gpx",
        "packet/gpx/block-*.gpx",
        "packet/trees.kml",
        "packet/trees.geojson",
        "packet/lists.xlsx",
        "packet/plants_to_order.csv",
        "packet/materials.csv",
        "packet/zones.csv",
        "packet/work_order.csv",
        "packet/rows.csv",
        "packet/sheets.pdf",
        "packet/irrigation.inp",
        "packet/irrigation_valves.csv",
    ),
    "run": ("run.json",),
    "asbuilt": ("asbuilt.gpkg", "asbuilt.gpkg-journal", "asbuilt.gpkg-wal", "asbuilt.gpkg-shm", "asbuilt.html", "asbuilt_map.html"),
    "compare": ("compare.html", "compare.csv"),
}
"""The files of each product. What an earlier run wrote of a product and the new one does not is taken away.

A star stands for what the plan's own names make of a file's name.
"""
MANAGED: Final = tuple(name for names in FILES.values() for name in names)
"""The files of all products."""


def managed_by(products: Iterable[str]) -> tuple[str, ...]:
    """Return the files that a run of some products owns; those of other products are left as they are.

    >>> managed_by(["map"])
    ('map.html', 'run.json')
    """
    return tuple(name for product in dict.fromkeys((*products, "run")) for name in FILES[product])


def is_product(name: str) -> bool:
    """Tell whether a path, relative to the output folder and with "/", is of a file that setout writes.

    >>> [is_product(name) for name in ("run.json", "../run.json", "packet/gpx/block-A.gpx", "packet/gpx/block-/../x.gpx")]
    [True, False, True, False]
    """
    return any(known.fullmatch(name) for known in _PATTERNS)


_PATTERNS: Final = tuple(re.compile(re.escape(name).replace(r"\*", r"[^/\\\x00]*")) for name in MANAGED)
