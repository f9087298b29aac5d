"""The rows of a layer on their way into an SQLite table: one by one, or laid down as finished pages."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from . import packed_rtree, records, table_pages
from .chunks import ROWS, Coded, Packed, Points, Segments, Shapes, Values, WalkIds

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from setout.layers import Column

    from .records import Bytes, Lengths
    from .table_pages import PageFile


@dataclass(frozen=True, slots=True)
class Table:
    """What is to be written: columns in the table's order, their values, the geometry and its srs_id.

    Attributes
    ----------
    bounds : minx, miny, maxx, maxy of the rows packed so far, exact; NaN before the first
    boxes : the box of each row for the index (minx, maxx, miny, maxy), NaN where there is no geometry
    """

    name: str
    rows: int
    columns: tuple[Column, ...]
    values: Mapping[str, Values | None]
    geometry: Points | Segments | Shapes | None
    srs_id: int
    bounds: NDArray[np.float64] = field(init=False)
    boxes: packed_rtree.Boxes = field(init=False)

    def __post_init__(self) -> None:
        """Make room for what the rows will tell of their boxes."""
        object.__setattr__(self, "bounds", np.full(4, np.nan))
        object.__setattr__(self, "boxes", np.empty((self.rows if self.geometry is not None else 0, 4), np.float32))

    def parts(self) -> Iterator[slice]:
        """Yield the slices in which rows are made and written."""
        for start in range(0, self.rows, ROWS):
            yield slice(start, min(self.rows, start + ROWS))

    def note(self, part: slice, boxes: NDArray[np.float64]) -> None:
        """Keep the boxes of a slice."""
        self.boxes[part] = packed_rtree.outward(boxes)
        np.fmin(self.bounds[:2], np.fmin.reduce(boxes[:, :2]), out=self.bounds[:2])
        np.fmax(self.bounds[2:], np.fmax.reduce(boxes[:, 2:]), out=self.bounds[2:])

    def tree(self) -> packed_rtree.PackedTree:
        """Return the spatial index of all rows that have a geometry; ids count from 1."""
        finite = np.isfinite(self.boxes[:, 0])
        ids = np.flatnonzero(finite) + 1
        return packed_rtree.pack(ids, self.boxes if finite.all() else self.boxes[finite])


def listed(column: Column, values: NDArray[Any]) -> list[Any]:
    """Return values as SQLite takes them: text, int, float or None.

    Parameters
    ----------
    column : Column
        What they are.
    values : array
        The values.

    Returns
    -------
    list
        As many; NaN, infinity and empty text as None.
    """
    values = np.asarray(values)
    result: list[Any]
    if column.kind == "text":
        result = [text or None for text in values.tolist()]
    elif values.dtype.kind == "f":
        known = np.isfinite(values)
        plain = values.astype(float) if column.kind == "real" else np.where(known, values, 0).astype(np.int64)
        result = plain.tolist()
        if not known.all():
            result = [value if k else None for value, k in zip(result, known.tolist(), strict=True)]
    else:
        result = values.astype(float if column.kind == "real" else np.int64).tolist()
    return result


def insert(db: sqlite3.Connection, table: Table) -> None:
    """Insert rows one by one, as statements."""
    filled = [(column, values) for column in table.columns if (values := table.values.get(column.name)) is not None]
    names = ["fid", *(["geom"] if table.geometry is not None else []), *(column.name for column, _ in filled)]
    quoted = ", ".join(f'"{name}"' for name in names)
    statement = f'INSERT INTO "{table.name}" ({quoted}) VALUES ({", ".join("?" * len(names))})'
    for part in table.parts():
        lists: list[Sequence[Any]] = [range(part.start + 1, part.stop + 1)]
        if table.geometry is not None:
            packed = table.geometry.pack(part, table.srs_id)
            blobs, boxes = (packed.blobs(), packed.boxes) if isinstance(packed, Packed) else packed
            table.note(part, boxes)
            lists.append(blobs)
        lists.extend(listed(column, values[part]) for column, values in filled)
        db.executemany(statement, zip(*lists, strict=True))


def insert_index(db: sqlite3.Connection, name: str, tree: packed_rtree.PackedTree) -> None:
    """Fill an R-tree whose node table is empty."""
    for first, run, above in tree.nodes():
        numbers = range(first, first + len(run))
        nodes = zip(numbers, run.view(f"V{run.itemsize}").tolist(), strict=True)
        db.executemany(f'INSERT INTO "{name}_node" VALUES (?, ?)', nodes)
        if first > 1:
            parents = zip(numbers, above.tolist(), strict=True)
            db.executemany(f'INSERT INTO "{name}_parent" VALUES (?, ?)', parents)
    ids = np.sort(tree.ids)
    db.executemany(f'INSERT INTO "{name}_rowid" VALUES (?, ?)', zip(ids.tolist(), tree.leaf_of().tolist(), strict=True))


def lay(file: PageFile, roots: Mapping[str, int], table: Table) -> None:
    """Lay rows and their index down as pages.

    Parameters
    ----------
    file : PageFile
        The file.
    roots : Mapping
        Root pages of the table and of the R-tree's own tables, by name; all empty.
    table : Table
        The rows; every one has a geometry.

    Raises
    ------
    RowTooLongError
        A row does not fit into a page; nothing is changed once the file is abandoned.
    """
    file.fill(roots[table.name], _row_pages(table))
    tree, name = table.tree(), f"rtree_{table.name}_geom"
    file.fill(roots[f"{name}_node"], _node_pages(tree))
    file.fill(roots[f"{name}_parent"], _parent_pages(tree))
    file.fill(roots[f"{name}_rowid"], _rowid_pages(tree))


def _row_pages(table: Table) -> Iterator[tuple[Bytes, Lengths]]:
    if not isinstance(table.geometry, Points | Segments):
        raise TypeError(f"{table.name} is no layer of points or segments")
    for part in table.parts():
        packed = table.geometry.pack(part, table.srs_id)
        table.note(part, packed.boxes)
        fields = [records.NULL, records.blobs(packed.matrix, packed.lengths)]
        fields += [_field(column, table.values.get(column.name), part) for column in table.columns]
        yield table_pages.leaves(part.start + 1, part.stop - part.start, fields)


def _field(column: Column, values: Values | None, part: slice) -> records.Field:
    if values is None:
        return records.NULL
    if column.kind == "text":
        if isinstance(values, Coded):
            codes = np.maximum(values.codes[part], -1)
            return records.labels(codes, [*(text or None for text in values.labels), None])
        if isinstance(values, WalkIds):
            return records.joined(_id_pieces(values, part))
        texts = values[part]
        plain = records.ascii_bytes(texts) if texts.dtype.kind == "U" else None
        if plain is not None:
            return records.joined([plain])
        return records.texts([text or None for text in texts.tolist()])
    numbers = np.asarray(values[part])
    if column.kind == "real":
        return records.reals(numbers.astype(np.float64))
    if numbers.dtype.kind == "f":
        known = np.isfinite(numbers)
        return records.integers(np.where(known, numbers, 0).astype(np.int64), known)
    return records.integers(numbers.astype(np.int64))


def _id_pieces(ids: WalkIds, part: slice) -> list[records.Piece]:
    """Return heads and tails of ids as bytes; each different one is made into text only once."""
    pieces = []
    for texts, which in ids.halves(part):
        pieces.append(records.picked(records.utf8(texts), which))
    return pieces


def _node_pages(tree: packed_rtree.PackedTree) -> Iterator[tuple[Bytes, Lengths]]:
    for first, run, _ in tree.nodes():
        data = records.blobs(run.view(np.uint8).reshape(len(run), run.itemsize))
        yield table_pages.leaves(first, len(run), [records.NULL, data])


def _parent_pages(tree: packed_rtree.PackedTree) -> Iterator[tuple[Bytes, Lengths]]:
    for first, run, above in tree.nodes():
        if first > 1:
            yield table_pages.leaves(first, len(run), [records.NULL, records.integers(above)])


def _rowid_pages(tree: packed_rtree.PackedTree) -> Iterator[tuple[Bytes, Lengths]]:
    leaf = tree.leaf_of()
    for start in range(0, len(leaf), ROWS):
        some = leaf[start : start + ROWS]
        yield table_pages.leaves(start + 1, len(some), [records.NULL, records.integers(some)])
