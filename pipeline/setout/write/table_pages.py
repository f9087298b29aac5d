"""Rows of an SQLite table laid down as finished pages, many at a time.

Handing a million trees to SQLite row by row costs more time than planning them. This module writes what
SQLite itself would write, a b-tree of table pages, from whole columns with numpy. Source of every number
here is "Database File Format" of the SQLite project (sqlite.org/fileformat2.html): sections 1.3 (header)
and 1.5 (b-tree pages). The format has been frozen since 2004.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from typing import TYPE_CHECKING, BinaryIO, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from .records import LONGEST, Bytes, Field, Lengths, Piece, RowTooLongError, record, total, varint

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

PAGE: Final = 4096
LEAF_HEAD: Final = 8
INNER_HEAD: Final = 12
LOCK_PAGE: Final = (1 << 30) // PAGE + 1
"""The page that holds the byte at 1 GiB is for locks and never holds data."""


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
    head, body = record(rows, fields)
    payload = total(rows, [*head, *body])
    if int(payload.max(initial=0)) > LONGEST:
        raise RowTooLongError
    pieces = _merged(rows, [varint(payload), varint(np.arange(first_rowid, first_rowid + rows)), *head, *body])
    ends = np.cumsum(total(rows, pieces))
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
        ends = np.cumsum(total(len(inner), cells))
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
