"""Columns in SQLite's record format: serial types and bytes of many rows at a time, ready to be laid on pages.

Source: "Database File Format" of the SQLite project (sqlite.org/fileformat2.html), section 2.1.

A row is a sequence of pieces (sizes, types, values); a piece is a byte matrix, one line a row, of which
each row uses all columns, or the first few of its own number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

LONGEST: Final = 4096 - 35
"""Longest payload [bytes] that a leaf page keeps whole; longer ones would spill to overflow pages."""

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


def record(rows: int, fields: Sequence[Field]) -> tuple[list[Piece], list[Piece]]:
    """Return a record's header (its own size, then serial types) and body."""
    serials: list[Piece] = []
    for field in fields:
        if isinstance(field.serial, int):
            one = varint(np.array([field.serial], np.int64))
            serials.append(Piece(np.broadcast_to(one.matrix, (rows, one.matrix.shape[1]))))
        else:
            serials.append(varint(field.serial))
    size = total(rows, serials) + 1
    if int(size.max(initial=0)) > 127:
        raise RowTooLongError
    return [varint(size), *serials], [piece for field in fields for piece in field.pieces]


def total(rows: int, pieces: Iterable[Piece]) -> Lengths:
    """Return how many bytes each row has in all pieces."""
    summed = np.zeros(rows, np.int64)
    for piece in pieces:
        summed += piece.matrix.shape[1] if piece.lengths is None else piece.lengths
    return summed
