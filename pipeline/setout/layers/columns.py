"""Columns and geometry handed over a slice at a time, so that no writer holds a second copy of a layer.

Geometry leaves here as ISO well-known binary (OGC 06-103r4), many geometries end to end, as Arrow takes it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.errors import SetoutError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from setout.model import Geometries

ROWS: Final = 50_000
"""Rows that are made, packed and written at a time."""


def texts(values: Iterable[str]) -> Geometries:
    """Return texts as a column that keeps each as it is, however long.

    >>> texts(["A", "longer"]).tolist()
    ['A', 'longer']
    """
    listed = list(values)
    out = np.empty(len(listed), object)
    out[:] = listed
    return out


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


@dataclass(frozen=True, slots=True)
class Coded:
    """A text column as a code a row and the few texts that the codes stand for; a negative code is null.

    >>> import numpy as np
    >>> Coded(("north", "south"), np.array([1, -1, 0]))[0:3].tolist()
    ['south', '', 'north']
    """

    labels: Sequence[str]
    codes: NDArray[np.integer[Any]]

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.codes)

    def __getitem__(self, part: slice) -> NDArray[Any]:
        """Return the texts of a slice, empty for null."""
        table = np.array([*self.labels, ""], dtype=object)
        texts: NDArray[Any] = table[np.maximum(self.codes[part], -1)]
        return texts


@dataclass(frozen=True, slots=True)
class WalkIds:
    """Ids block-row-position out of codes and numbers, each number as wide as the greatest of its block.

    >>> import numpy as np
    >>> ids = WalkIds(("A", "B"), np.array([0, 1, 0]), np.array([1, 2, 10]), np.array([7, 7, 7]))
    >>> ids[0:3].tolist()
    ['A-01-7', 'B-2-7', 'A-10-7']
    """

    labels: Sequence[str]
    codes: NDArray[np.integer[Any]]
    row: NDArray[np.integer[Any]]
    position: NDArray[np.integer[Any]]
    _widths: tuple[list[int], list[int]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Find how wide the numbers of each block are."""
        greatest = np.zeros((2, len(self.labels)), np.int64)
        for part in (slice(k, k + ROWS) for k in range(0, len(self.codes), ROWS)):
            for code in np.unique(self.codes[part]).tolist():
                own = self.codes[part] == code
                for of, numbers in enumerate((self.row, self.position)):
                    greatest[of, code] = max(greatest[of, code], int(numbers[part][own].max()))
        rows, positions = ([len(str(n)) for n in numbers] for numbers in greatest.tolist())
        object.__setattr__(self, "_widths", (rows, positions))

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.codes)

    def __getitem__(self, part: slice) -> NDArray[Any]:
        """Return the ids of a slice."""
        (heads, which), (tails, last) = self.halves(part)
        pairs = zip(which.tolist(), last.tolist(), strict=True)
        return np.array([heads[k] + tails[n] for k, n in pairs], dtype=object)

    def halves(self, part: slice) -> list[tuple[list[str], NDArray[np.intp]]]:
        """Return the different "block-row-" of a slice with which of them each id begins; ends likewise."""
        codes = self.codes[part].astype(np.int64)
        found = []
        for of, numbers in enumerate((self.row[part], self.position[part])):
            span = int(numbers.max(initial=0)) + 1
            different, which = np.unique(codes * span + numbers, return_inverse=True)
            widths, texts = self._widths[of], []
            for code, number in zip((different // span).tolist(), (different % span).tolist(), strict=True):
                text = f"{number:0{widths[code]}d}"
                texts.append(text if of else f"{self.labels[code]}-{text}-")
            found.append((texts, which))
        return found


Values = NDArray[Any] | Chunked | Coded | WalkIds


def several(rows: int, names: Sequence[str], make: Callable[[slice], Mapping[str, NDArray[Any]]]) -> dict[str, Chunked]:
    """Return columns that come out of one computation, such as easting, northing, lon and lat of a slice.

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

    return {name: Chunked(rows, partial(part_of, name)) for name in names}


Binary = tuple[NDArray[np.uint8], NDArray[np.int32], NDArray[np.bool_] | None, bool]
"""ISO well-known binary of several geometries end to end, where each ends (from 0), which there are (None: all), and
whether a point among them has no height."""


@dataclass(frozen=True, slots=True)
class Points:
    """Points as arrays: x and y finite; z NaN where unknown, None for none at all.

    A point whose z is unknown is written without it, never with a made-up one.
    """

    x: Values
    y: Values
    z: Values | None = None

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.x)

    def wkb(self, part: slice) -> Binary:
        """Return the points of a slice."""
        x, y = np.asarray(self.x[part], float), np.asarray(self.y[part], float)
        finite = np.isfinite(x) & np.isfinite(y)
        if not finite.all():
            at = int(np.flatnonzero(~finite)[0])
            raise SetoutError(f"point ({x[at]}, {y[at]}) is not finite", f"row {part.start + at}")
        z = np.full(x.size, np.nan) if self.z is None else np.asarray(self.z[part], float)
        known = np.isfinite(z)
        record = np.zeros(x.size, [("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8"), ("z", "<f8")])
        record["order"], record["kind"] = 1, np.where(known, 1001, 1)
        record["x"], record["y"], record["z"] = x, y, np.where(known, z, 0.0)
        matrix, lengths = record.view(np.uint8).reshape(x.size, record.itemsize), np.where(known, 29, 21)
        used = np.arange(record.itemsize) < lengths[:, None]
        flat = matrix.ravel() if known.all() else matrix[used]
        return flat, _ends(lengths), None, not known.all()


@dataclass(frozen=True, slots=True)
class Segments:
    """Straight lines as arrays of both ends, finite."""

    x0: Values
    y0: Values
    x1: Values
    y1: Values

    def __len__(self) -> int:
        """Return the number of lines."""
        return len(self.x0)

    def wkb(self, part: slice) -> Binary:
        """Return the lines of a slice."""
        ends = np.column_stack([np.asarray(v[part], float) for v in (self.x0, self.y0, self.x1, self.y1)])
        if not np.isfinite(ends).all():
            at = int(np.flatnonzero(~np.isfinite(ends).all(axis=1))[0])
            raise SetoutError(f"line {ends[at].tolist()} is not finite", f"row {part.start + at}")
        record = np.zeros(len(ends), [("order", "u1"), ("kind", "<u4"), ("points", "<u4"), ("ends", "<f8", 4)])
        record["order"], record["kind"], record["points"], record["ends"] = 1, 2, 2, ends
        return record.view(np.uint8), _ends(np.full(len(ends), record.itemsize)), None, False


@dataclass(frozen=True, slots=True)
class Shapes:
    """Geometries of shapely, 2D; None or empty for null. ``multi`` makes every polygon a multipolygon."""

    geometry: Geometries
    multi: bool = False

    def __len__(self) -> int:
        """Return the number of geometries."""
        return len(self.geometry)

    def wkb(self, part: slice) -> Binary:
        """Return the geometries of a slice."""
        shapes = np.asarray(self.geometry[part], dtype=object)
        shapes = multipolygons(shapes) if self.multi else shapely.force_2d(shapes)
        shapes[shapely.is_empty(shapes)] = None
        present = ~shapely.is_missing(shapes)
        if not np.isfinite(shapely.bounds(shapes[present])).all():
            raise SetoutError("a geometry has coordinates that are not finite", f"rows from {part.start}")
        made = [body or b"" for body in shapely.to_wkb(shapes, byte_order=1, flavor="iso", output_dimension=2)]
        lengths = np.array([len(body) for body in made], np.int64)
        return np.frombuffer(b"".join(made), np.uint8), _ends(lengths), None if present.all() else present, False


def _ends(lengths: NDArray[np.integer[Any]]) -> NDArray[np.int32]:
    """Return where pieces that lie end to end begin, and where the last one ends."""
    return np.concatenate(([0], np.cumsum(lengths))).astype(np.int32)


def multipolygons(shapes: Geometries) -> Geometries:
    """Return the polygons of each geometry as one multipolygon; None where it has none.

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
