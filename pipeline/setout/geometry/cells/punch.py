"""Taking very many patches of cells out of an area, most of them without any overlay.

A patch that lies wholly inside the area is a hole in it, and what the patch's own holes hold is area again; patches
that hang together at corners are holes that touch, as long as no chain of them closes and cuts ground off. Only
patches that cross the area's edge, or close such a chain, or stand in each other's holes, need an overlay; they are
few.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.overlay import parts_of

Geometries = NDArray[np.object_]


def punched(area: BaseGeometry, patches: Geometries) -> BaseGeometry:
    """Return an area without patches.

    Parameters
    ----------
    area : BaseGeometry
        Polygon or multipolygon.
    patches : ndarray of shapely polygons
        Outlines of cells, their corners in whole numbers: they meet each other at corners at most.

    Returns
    -------
    BaseGeometry
        The same as their difference.

    Examples
    --------
    >>> whole, patch = shapely.box(0, 0, 10, 10), shapely.box(2, 2, 5, 5)
    >>> punched(whole, np.array([patch, shapely.box(9, 9, 12, 12)])).area
    90.0
    """
    if area.is_empty or not len(patches):
        return area
    shapely.prepare(area)
    patches = patches[shapely.intersects(area, patches)]
    inside = shapely.contains_properly(area, patches)
    simple = ~_entangled(patches, inside)
    rest = patches[~simple]
    if len(rest):
        area = overlay.difference(area, np.asarray(shapely.multipolygons(rest), object).item(), None)
    return _with_holes(area, patches[simple])


def _entangled(patches: Geometries, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which patches are no plain holes, alone or in a chain that does not close."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    size = len(patches)
    xy, owner = shapely.get_coordinates(patches, return_index=True)
    place = (xy[:, 0].astype(np.int64) << 32) + xy[:, 1].astype(np.int64)
    order = np.argsort(place)
    place, owner = place[order], owner[order]
    meet = np.flatnonzero((place[1:] == place[:-1]) & (owner[1:] != owner[:-1]))
    links = coo_matrix((np.ones(len(meet)), (owner[meet], owner[meet + 1])), shape=(size, size))
    chains, chain = connected_components(links, directed=False)
    members = np.bincount(chain, minlength=chains)
    touches = np.bincount(chain[owner[meet]], minlength=chains)
    bad = touches >= members
    bad[chain[~inside]] = True
    out: NDArray[np.bool_] = bad[chain]
    # what stands in a hole of a patch that goes to the overlay is a plain hole of the ground left there
    holed = np.flatnonzero(~out & (shapely.get_num_interior_rings(patches) > 0))
    if len(holed):
        filled = shapely.polygons(shapely.get_exterior_ring(patches[holed]))
        outer, within = shapely.STRtree(patches).query(filled, "intersects")
        nested = holed[outer] != within
        bad[chain[holed[outer[nested]]]] = bad[chain[within[nested]]] = True
        out = bad[chain]
    return out


def _with_holes(area: BaseGeometry, patches: Geometries) -> BaseGeometry:
    """Return an area with lone patches as holes, and the ground inside their own holes."""
    if not len(patches):
        return area
    parts = parts_of(area)
    if len(parts) == 1:
        part, patch = np.zeros(len(patches), np.int64), np.arange(len(patches))
    else:
        firsts = shapely.get_point(shapely.get_exterior_ring(patches), 0)
        shapely.prepare(parts)
        part, patch = shapely.STRtree(firsts).query(parts, "contains_properly")
    outlines = shapely.get_exterior_ring(patches[patch])
    order = np.argsort(part, kind="stable")
    bounds = np.searchsorted(part[order], np.arange(len(parts) + 1))
    out: list[BaseGeometry] = [
        shapely.polygons(
            shapely.get_exterior_ring(polygon), np.concatenate([shapely.get_rings(polygon)[1:], outlines[order[bounds[k] : bounds[k + 1]]]])
        )
        if bounds[k] < bounds[k + 1]
        else polygon
        for k, polygon in enumerate(parts)
    ]
    rings, owner = shapely.get_rings(patches, return_index=True)
    inner = rings[np.append(False, owner[1:] == owner[:-1])]
    islands = shapely.polygons(inner) if len(inner) else np.empty(0, object)
    whole: BaseGeometry = np.asarray(shapely.multipolygons(np.concatenate([out, islands])), object).item()
    return whole
