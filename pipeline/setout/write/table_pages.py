"""Rows of an SQLite table laid down as finished pages, many at a time.

Handing a million trees to SQLite row by row costs more time than planning them. This module writes what
SQLite itself would write, a b-tree of table pages, from whole columns with numpy. Source of every number
here is "Database File Format" of the SQLite project (sqlite.org/fileformat2.html): sections 1.3 (header),
1.5 (b-tree pages), 2.1 (record format). The format has been frozen since 2004.

A row is a sequence of pieces (sizes, types, values); a piece is a byte matrix, one line a row, of which
each row uses all columns, or the first few of its own number.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, BinaryIO, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

PAGE: Final = 4096
LEAF_HEAD: Final = 8
INNER_HEAD: Final = 12
LONGEST: Final = PAGE - 35
"""Longest payload that a leaf page keeps whole; longer ones would spill to overflow pages."""
LOCK_PAGE: Final = (1 << 30) // PAGE + 1
"""The page that holds the byte at 1 GiB is for locks and never holds data."""

Bytes = NDArray[np.uint8]
Lengths = NDArray[np.int64]


class RowTooLongError(Exception):
    """A row does not fit into one page; it has to be handed to SQLite itself."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of each row: all of a matrix's line, or its first ``lengths`` ones."""

    matrix: Bytes
    lengths: Lengths | None = None


@dataclass(frozen=True, slots=True)
class Field:
    """One column of some rows in record format: its serial type (one, or one a row) and its bytes."""

    serial: int | Lengths
    pieces: tuple[Piece, ...] = ()


NULL: Final = Field(0)


def reals(values: NDArray[np.floating[Any]]) -> Field:
    """Return floating-point values as a field; NaN and infinity become null.

    Parameters
    ----------
    values : array
        One value a row.

    Returns
    -------
    Field
        Serial type 7 (IEEE 754, big-endian, 8 bytes) or 0 (null).

    Examples
    --------
    >>> import numpy as np
    >>> field = reals(np.array([1.0, np.nan]))
    >>> field.serial.tolist(), field.pieces[0].lengths.tolist()
    ([7, 0], [8, 0])
    """
    matrix = values.astype(">f8").view(np.uint8).reshape(len(values), 8)
    known = np.isfinite(values)
    if known.all():
        return Field(7, (Piece(matrix),))
    return Field(np.where(known, 7, 0), (Piece(matrix, np.where(known, 8, 0)),))


def integers(values: NDArray[np.integer[Any]], known: NDArray[np.bool_] | None = None) -> Field:
    """Return whole numbers as a field, in the fewest bytes that hold them all.

    Parameters
    ----------
    values : array
        One value a row.
    known : array, optional
        False for null.

    Returns
    -------
    Field
        Serial type 1, 2, 4 or 6 (1, 2, 4 or 8 bytes, big-endian) or 0 (null).

    Examples
    --------
    >>> import numpy as np
    >>> integers(np.array([1, 300])).serial
    2
    """
    widest = max(-int(values.min(initial=0)) - 1, int(values.max(initial=0)))
    serial, width = next((s, w) for s, w in ((1, 1), (2, 2), (4, 4), (6, 8)) if widest < 1 << (8 * w - 1))
    matrix = values.astype(f">i{width}").view(np.uint8).reshape(len(values), width)
    if known is None or known.all():
        return Field(serial, (Piece(matrix),))
    return Field(np.where(known, serial, 0), (Piece(matrix, np.where(known, width, 0)),))


def texts(values: Sequence[str | None]) -> Field:
    """Return texts as a field.

    Parameters
    ----------
    values : Sequence
        One text a row; None for null.

    Returns
    -------
    Field
        Serial type 13 + 2 n (UTF-8, n bytes) or 0 (null).

    Examples
    --------
    >>> field = texts(["A-1", None, "Höhe"])
    >>> field.serial.tolist()
    [19, 0, 23]
    """
    piece = utf8(["" if text is None else text for text in values])
    known = np.fromiter((text is not None for text in values), np.bool_, len(values))
    return Field(np.where(known, 13 + 2 * _lengths(piece), 0), (piece,))


def labels(codes: NDArray[np.integer[Any]], table: Sequence[str | None]) -> Field:
    """Return a text column given as codes into a table of few texts.

    Parameters
    ----------
    codes : array
        Index into table, one a row; negative from its end.
    table : Sequence
        The texts; None for null.

    Returns
    -------
    Field
        As :func:`texts` gives.
    """
    few = texts(table)
    return Field(np.asarray(few.serial)[codes], (picked(few.pieces[0], codes),))


def joined(pieces: Sequence[Piece]) -> Field:
    """Return a text column that is pieces of text one after the other.

    Parameters
    ----------
    pieces : Sequence
        UTF-8 bytes; a row without any is null.

    Returns
    -------
    Field
        Serial type 13 + 2 n (UTF-8, n bytes) or 0 (null).
    """
    lengths = sum(map(_lengths, pieces))
    return Field(np.where(lengths, 13 + 2 * lengths, 0), tuple(pieces))


def utf8(values: Sequence[str]) -> Piece:
    """Return texts as UTF-8 bytes.

    Parameters
    ----------
    values : Sequence
        One text a row.

    Returns
    -------
    Piece
        Their bytes.

    Raises
    ------
    RowTooLongError
        A text is longer than a page.
    """
    coded = [text.encode("utf-8", "replace") for text in values]
    lengths = np.fromiter(map(len, coded), np.int64, len(coded))
    width = max(int(lengths.max(initial=0)), 1)
    if width > LONGEST:
        raise RowTooLongError
    return Piece(np.array(coded, dtype=f"S{width}").view(np.uint8).reshape(len(coded), width), lengths)


def ascii_bytes(values: NDArray[np.str_]) -> Piece | None:
    """Return an array of texts as bytes without making them one by one; None where one is not ASCII."""
    width = values.dtype.itemsize // 4
    if not width or not values.dtype.isnative:
        return None
    points = np.ascontiguousarray(values).view(np.uint32).reshape(len(values), width)
    if points.max(initial=0) > 127:
        return None
    return Piece(points.astype(np.uint8), np.strings.str_len(values).astype(np.int64))


def picked(piece: Piece, rows: NDArray[np.integer[Any]]) -> Piece:
    """Return some rows of a piece, as often and in the order named."""
    return Piece(piece.matrix[rows], None if piece.lengths is None else piece.lengths[rows])


def _lengths(piece: Piece) -> Lengths:
    return np.full(len(piece.matrix), piece.matrix.shape[1]) if piece.lengths is None else piece.lengths


def blobs(matrix: Bytes, lengths: Lengths | None = None) -> Field:
    """Return byte strings as a field.

    Parameters
    ----------
    matrix : array
        Bytes, one line a row.
    lengths : array, optional
        How many of them each row uses; all when absent.

    Returns
    -------
    Field
        Serial type 12 + 2 n.
    """
    serial = 12 + 2 * matrix.shape[1] if lengths is None else 12 + 2 * lengths
    return Field(serial, (Piece(matrix, lengths),))


def varint(values: Lengths) -> Piece:
    """Return numbers below 2**35 in SQLite's variable-length form, 7 bits a byte.

    Parameters
    ----------
    values : array
        Numbers, not negative.

    Returns
    -------
    Piece
        Their bytes.

    Examples
    --------
    >>> import numpy as np
    >>> piece = varint(np.array([5, 300]))
    >>> [bytes(m[:n]).hex() for m, n in zip(piece.matrix, piece.lengths)]
    ['05', '822c']
    """
    most = int(values.max(initial=0))
    if most < 128:
        return Piece(values.astype(np.uint8)[:, None])
    width = -(-most.bit_length() // 7)
    lengths = np.ones(len(values), np.int64)
    for bits in range(7, 7 * width, 7):
        lengths += values >= 1 << bits
    matrix = np.empty((len(values), width), np.uint8)
    for column in range(width):
        left = lengths - 1 - column  # groups of 7 bits that still follow
        group = (values >> np.maximum(7 * left, 0)) & 127
        matrix[:, column] = np.where(left > 0, group | 128, group)
    return Piece(matrix, None if (lengths == width).all() else lengths)


def leaves(first_rowid: int, rows: int, fields: Sequence[Field]) -> tuple[Bytes, Lengths]:
    """Return rows as leaf pages.

    Parameters
    ----------
    first_rowid : int
        Row id of the first; the others follow one by one.
    rows : int
        How many.
    fields : Sequence
        The columns in the table's order, the row id's own as ``NULL``.

    Returns
    -------
    tuple
        The pages, shape (pages, 4096), and the last row id on each.

    Raises
    ------
    RowTooLongError
        A row does not fit.
    """
    head, body = _record(rows, fields)
    payload = _total(rows, [*head, *body])
    if int(payload.max(initial=0)) > LONGEST:
        raise RowTooLongError
    pieces = _merged(rows, [varint(payload), varint(np.arange(first_rowid, first_rowid + rows)), *head, *body])
    ends = np.cumsum(_total(rows, pieces))
    cuts = _cuts(ends)
    starts = np.concatenate(([0], cuts[:-1]))
    on_page = np.repeat(np.arange(len(cuts)), cuts - starts)
    before = np.concatenate(([0], ends[:-1]))
    used = ends[cuts - 1] - before[starts]
    offsets = PAGE - used[on_page] + before - before[starts][on_page]  # of each cell on its page
    pages = np.zeros((len(cuts), PAGE), np.uint8)
    _page_heads(pages, 0x0D, cuts - starts, PAGE - used)
    slots = pages.reshape(-1).view(">u2")
    slots[on_page * (PAGE // 2) + LEAF_HEAD // 2 + np.arange(rows) - starts[on_page]] = offsets
    _scatter(pages.reshape(-1), on_page * PAGE + offsets, pieces)
    return pages, first_rowid + cuts - 1


def _record(rows: int, fields: Sequence[Field]) -> tuple[list[Piece], list[Piece]]:
    """Return a record's header (its own size, then serial types) and body."""
    serials: list[Piece] = []
    for field in fields:
        if isinstance(field.serial, int):
            one = varint(np.array([field.serial], np.int64))
            serials.append(Piece(np.broadcast_to(one.matrix, (rows, one.matrix.shape[1]))))
        else:
            serials.append(varint(field.serial))
    size = _total(rows, serials) + 1
    if int(size.max(initial=0)) > 127:
        raise RowTooLongError
    return [varint(size), *serials], [piece for field in fields for piece in field.pieces]


def _total(rows: int, pieces: Iterable[Piece]) -> Lengths:
    total = np.zeros(rows, np.int64)
    for piece in pieces:
        total += piece.matrix.shape[1] if piece.lengths is None else piece.lengths
    return total


def _merged(rows: int, pieces: Sequence[Piece]) -> list[Piece]:
    """Join neighbouring pieces that every row uses whole."""
    merged: list[Piece] = []
    run: list[Bytes] = []
    for piece in [*pieces, None]:
        if piece is not None and piece.lengths is None:
            run.append(piece.matrix)
            continue
        if run:
            merged.append(Piece(np.concatenate(run, axis=1)))
            run = []
        if piece is not None:
            merged.append(piece)
    return merged


def _cuts(ends: Lengths) -> Lengths:
    """Return where each page ends, as many rows a page as fit with their 2-byte pointers."""
    filled = (ends + 2 * np.arange(1, len(ends) + 1)).tolist()
    cuts: list[int] = []
    start = base = 0
    while start < len(filled):
        start = bisect_right(filled, base + PAGE - LEAF_HEAD, start)
        base = filled[start - 1]
        cuts.append(start)
    return np.array(cuts, np.int64)


def _page_heads(pages: Bytes, kind: int, cells: Lengths, content: Lengths) -> None:
    pages[:, 0] = kind
    heads = pages[:, 3:7].copy().view(">u2")
    heads[:, 0], heads[:, 1] = cells, content
    pages[:, 3:7] = heads.view(np.uint8)


def _scatter(out: Bytes, at: Lengths, pieces: Iterable[Piece]) -> None:
    """Write each row's pieces one after the other, from its place on."""
    at = at.copy()
    for piece in pieces:
        if piece.lengths is None:
            width = piece.matrix.shape[1]
            sliding_window_view(out, width, writeable=True)[at] = piece.matrix
            at += width
            continue
        for length in np.flatnonzero(np.bincount(piece.lengths)):
            if length:
                mine = np.flatnonzero(piece.lengths == length)
                window = sliding_window_view(out, int(length), writeable=True)
                window[at[mine]] = piece.matrix[mine, :length]
        at += piece.lengths


def _inner(children: Lengths, keys: Lengths) -> Iterator[tuple[Bytes, int]]:
    """Yield pages that point to children, each with the last row id below it."""
    size = 4 + 5 + 2  # child, longest key, pointer
    fan = (PAGE - INNER_HEAD) // size
    pages = -(-len(children) // fan)
    for some in np.array_split(np.arange(len(children)), pages):
        page = np.zeros((1, PAGE), np.uint8)
        inner, last = some[:-1], some[-1]
        links = children[inner].astype(">u4").view(np.uint8).reshape(-1, 4)
        cells = [Piece(links), varint(keys[inner])]
        ends = np.cumsum(_total(len(inner), cells))
        used = int(ends[-1]) if len(inner) else 0
        offsets = PAGE - used + np.concatenate(([0], ends[:-1])) if len(inner) else np.empty(0, np.int64)
        _page_heads(page, 0x05, np.array([len(inner)]), np.array([PAGE - used]))
        page[0, 8:12] = np.frombuffer(struct.pack(">I", int(children[last])), np.uint8)
        page.reshape(-1).view(">u2")[INNER_HEAD // 2 : INNER_HEAD // 2 + len(inner)] = offsets
        _scatter(page.reshape(-1), offsets, cells)
        yield page[0], int(keys[last])


class PageFile:
    """An SQLite file, not open elsewhere, to whose empty tables finished pages are given.

    What is given is thrown away when the file is closed, unless it was kept before.

    Parameters
    ----------
    path : Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self._file: BinaryIO = path.open("r+b")
        head = self._file.read(100)
        size, reserved = struct.unpack_from(">H", head, 16)[0], head[20]
        vacuum = struct.unpack_from(">I", head, 52)[0]
        self._pages: int = struct.unpack_from(">I", head, 28)[0]
        self.usable = (size, reserved, vacuum) == (PAGE, 0, 0)
        self._first = self._pages
        self._before: dict[int, Bytes] = {}
        self._file.seek(self._pages * PAGE)

    def fill(self, root: int, parts: Iterable[tuple[Bytes, Lengths]]) -> None:
        """Give an empty table its rows.

        Parameters
        ----------
        root : int
            The table's root page, as sqlite_master says.
        parts : Iterable
            Leaf pages with the last row id on each, as :func:`leaves` gives them, in order.
        """
        children: list[Lengths] = []
        keys: list[Lengths] = []
        held: tuple[Bytes, Lengths] | None = None
        for pages, last in parts:
            if held is not None:
                children.append(self._append(held[0]))
                keys.append(held[1])
            held = (pages, last)
        if held is None or not len(held[1]):
            return
        if not children and len(held[1]) == 1:
            self._put(root, held[0][0])
            return
        children.append(self._append(held[0]))
        keys.append(held[1])
        below, last_ids = np.concatenate(children), np.concatenate(keys)
        while True:
            level = list(_inner(below, last_ids))
            if len(level) == 1:
                self._put(root, level[0][0])
                return
            below = self._append(np.stack([page for page, _ in level]))
            last_ids = np.array([key for _, key in level], np.int64)

    def _append(self, pages: Bytes) -> Lengths:
        numbers = np.arange(self._pages + 1, self._pages + 1 + len(pages))
        if self._pages < LOCK_PAGE <= self._pages + len(pages):
            before = LOCK_PAGE - 1 - self._pages
            self._file.write(pages[:before].data)
            self._file.write(bytes(PAGE))
            self._file.write(pages[before:].data)
            numbers[before:] += 1
        else:
            self._file.write(pages.data)
        self._pages = int(numbers[-1])
        return numbers

    def _put(self, number: int, page: Bytes) -> None:
        self._file.seek((number - 1) * PAGE)
        self._before.setdefault(number, np.frombuffer(self._file.read(PAGE), np.uint8))
        self._file.seek((number - 1) * PAGE)
        self._file.write(page.tobytes())
        self._file.seek(self._pages * PAGE)

    def keep(self) -> None:
        """Say in the file's header how long it is now, and that it has changed."""
        self._file.seek(24)
        changes = struct.unpack(">I", self._file.read(4))[0] + 1
        for at, value in ((24, changes), (28, self._pages), (92, changes)):
            self._file.seek(at)
            self._file.write(struct.pack(">I", value))
        self._first, self._before = self._pages, {}

    def close(self) -> None:
        """Close the file, without what was added since it was last kept."""
        with self._file:
            for number, page in self._before.items():
                self._put(number, page)
            self._file.truncate(self._first * PAGE)
