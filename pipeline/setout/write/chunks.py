"""Columns and geometry that are handed to a writer a slice at a time, so that no writer holds a second copy of a layer.

Geometry leaves here as GeoPackage blobs (OGC 12-128, clause 2.1.3: "GP", version, flags, srs_id, envelope, then ISO
well-known binary) together with its boxes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.errors import SetoutError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from setout.nouns import Floats, Geometries

ROWS: Final = 50_000
"""Rows that are made, packed and written at a time."""


@dataclass(frozen=True, slots=True)
class Chunked:
    """A column made when it is needed: ``make`` gives the values of a slice of its ``rows``.

    >>> import numpy as np
    >>> ids = Chunked(4, lambda part: np.array(["A-1", "A-2", "A-3", "A-4"])[part])
    >>> len(ids), ids[1:3].tolist()
    (4, ['A-2', 'A-3'])
    """

    rows: int
    make: Callable[[slice], NDArray[Any]]

    def __len__(self) -> int:
        """Return the number of rows."""
        return self.rows

    def __getitem__(self, part: slice) -> NDArray[Any]:
        """Return the values of a slice."""
        return self.make(part)


Values = NDArray[Any] | Chunked


def coded(labels: Sequence[str], codes: NDArray[np.integer[Any]]) -> Chunked:
    """Return a text column from a code a row, without making the texts.

    Parameters
    ----------
    labels : Sequence
        The texts.
    codes : array
        Index into labels, one a row; negative for null.

    Returns
    -------
    Chunked
        The column.

    Examples
    --------
    >>> import numpy as np
    >>> coded(("north", "south"), np.array([1, -1, 0]))[0:3].tolist()
    ['south', '', 'north']
    """
    table = np.array([*labels, ""], dtype=object)
    return Chunked(len(codes), lambda part: table[codes[part]])


def several(
    rows: int, names: Sequence[str], make: Callable[[slice], Mapping[str, NDArray[Any]]]
) -> dict[str, Chunked]:
    """Return columns that come out of one computation, such as easting, northing, lon and lat of a slice.

    Parameters
    ----------
    rows : int
        Rows of each.
    names : Sequence
        Names of the columns that make gives.
    make : callable
        Gives all of them for a slice; called once a slice as long as the columns are read side by side.

    Returns
    -------
    dict
        The columns by name.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.arange(3.0)
    >>> both = several(3, ("double", "half"), lambda part: {"double": 2 * x[part], "half": x[part] / 2})
    >>> both["double"][0:2].tolist(), both["half"][0:2].tolist()
    ([0.0, 2.0], [0.0, 0.5])
    """
    last: list[tuple[slice, Mapping[str, NDArray[Any]]]] = []

    def part_of(name: str, part: slice) -> NDArray[Any]:
        if not last or last[0][0] != part:
            last[:] = [(part, make(part))]
        return last[0][1][name]

    return {name: Chunked(rows, lambda part, name=name: part_of(name, part)) for name in names}  # type: ignore[misc]


class Geometry(Protocol):
    """What a layer's geometry can do: tell its length and pack a slice."""

    def __len__(self) -> int:
        """Return the number of rows."""
        ...

    def pack(self, part: slice, srs_id: int) -> tuple[list[bytes | None], Floats]:
        """Return the blobs of a slice and their boxes (minx, miny, maxx, maxy), NaN where there is no geometry."""
        ...


@dataclass(frozen=True, slots=True)
class Points:
    """Points as arrays: x and y finite; z NaN where unknown (such a point is written without z), None for none at all."""

    x: Values
    y: Values
    z: Values | None = None

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.x)

    def pack(self, part: slice, srs_id: int) -> tuple[list[bytes | None], Floats]:
        """Return the blobs of a slice and their boxes."""
        x, y = np.asarray(self.x[part], float), np.asarray(self.y[part], float)
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            at = int(np.flatnonzero(~(np.isfinite(x) & np.isfinite(y)))[0])
            raise SetoutError(f"point ({x[at]}, {y[at]}) is not finite", f"row {part.start + at}")
        flat = _packed_points(x, y, None, srs_id)
        if self.z is None:
            blobs = flat
        else:
            z = np.asarray(self.z[part], float)
            known = np.isfinite(z)
            solid = _packed_points(x, y, z, srs_id)
            blobs = (
                solid if known.all() else [s if k else f for s, f, k in zip(solid, flat, known, strict=True)]
            )
        return blobs, np.column_stack((x, y, x, y))


def _packed_points(x: Floats, y: Floats, z: Floats | None, srs_id: int) -> list[bytes | None]:
    ordinates = [("x", "<f8"), ("y", "<f8")] + ([] if z is None else [("z", "<f8")])
    record = np.zeros(
        x.size,
        dtype=[
            ("gp", "S2"),
            ("version", "u1"),
            ("flags", "u1"),
            ("srs", "<i4"),
            ("order", "u1"),
            ("kind", "<u4"),
            *ordinates,
        ],
    )
    record["gp"], record["flags"], record["srs"], record["order"] = b"GP", 1, srs_id, 1
    record["kind"] = 1 if z is None else 1001
    record["x"], record["y"] = x, y
    if z is not None:
        record["z"] = z
    packed: list[bytes | None] = record.view(f"V{record.dtype.itemsize}").tolist()
    return packed


@dataclass(frozen=True, slots=True)
class Segments:
    """Straight lines as arrays of both ends."""

    x0: Values
    y0: Values
    x1: Values
    y1: Values

    def __len__(self) -> int:
        """Return the number of lines."""
        return len(self.x0)

    def pack(self, part: slice, srs_id: int) -> tuple[list[bytes | None], Floats]:
        """Return the blobs of a slice and their boxes."""
        ends = np.stack(
            [
                np.column_stack((self.x0[part], self.y0[part])),
                np.column_stack((self.x1[part], self.y1[part])),
            ],
            axis=1,
        )
        return Shapes(shapely.linestrings(ends)).pack(slice(0, len(ends)), srs_id)


@dataclass(frozen=True, slots=True)
class Shapes:
    """shapely geometries, 2D; None or empty for null. ``multi`` makes every polygon a multipolygon."""

    geometry: Geometries
    multi: bool = False

    def __len__(self) -> int:
        """Return the number of geometries."""
        return len(self.geometry)

    def pack(self, part: slice, srs_id: int) -> tuple[list[bytes | None], Floats]:
        """Return the blobs of a slice and their boxes."""
        shapes = np.asarray(self.geometry[part], dtype=object)
        if self.multi:
            shapes = multipolygons(shapes)
        shapes = np.where(shapely.is_empty(shapes), None, shapes)
        boxes = np.asarray(shapely.bounds(shapes), float)
        wkb = shapely.to_wkb(shapes, byte_order=1, flavor="iso")
        header = np.zeros(
            len(shapes),
            dtype=[("gp", "S2"), ("version", "u1"), ("flags", "u1"), ("srs", "<i4"), ("envelope", "<f8", 4)],
        )
        header["gp"], header["flags"], header["srs"] = (
            b"GP",
            3,
            srs_id,
        )  # 3: little-endian, envelope of x and y
        header["envelope"] = boxes[:, [0, 2, 1, 3]]
        heads = header.view("V40").tolist()
        return [None if body is None else head + body for head, body in zip(heads, wkb, strict=True)], boxes


def multipolygons(shapes: Geometries) -> Geometries:
    """Return the polygons of each geometry as one multipolygon; None where it has none.

    Parameters
    ----------
    shapes : array
        Polygons, multipolygons or collections; lines and points in a collection have no area and are left out.

    Returns
    -------
    array
        Multipolygons, as many as shapes.

    Examples
    --------
    >>> import numpy as np, shapely
    >>> print(multipolygons(np.array([shapely.box(0, 0, 1, 1), None], dtype=object)))
    [<MULTIPOLYGON (((1 0, 1 1, 0 1, 0 0, 1 0)))> None]
    """
    parts, owner = shapely.get_parts(shapes, return_index=True)
    while (shapely.get_type_id(parts) > 3).any():  # collections inside collections
        parts, inner = shapely.get_parts(parts, return_index=True)
        owner = owner[inner]
    keep = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    made = np.full(len(shapes), None, dtype=object)
    if keep.any():
        kept_owner = owner[keep]
        owners, indices = np.unique(kept_owner, return_inverse=True)
        made[owners] = shapely.multipolygons(parts[keep], indices=indices)
    return made
