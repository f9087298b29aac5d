"""A layer's contract: its columns, their units and meaning, and its kind of geometry; and whether columns keep it.

Lengths are metres, areas square metres, pressures kilopascals, flows litres per hour; the unit is in each
column's name. A contract says what a layer *may* hold; a column that a plan gives no input for is null.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from setout.errors import Fault, SetoutError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sized

Kind = Literal["text", "int", "real", "bool"]
GeometryKind = Literal["POINT Z", "POINT", "LINESTRING", "MULTILINESTRING", "MULTIPOLYGON", "GEOMETRY"]

DTYPES: Final[Mapping[str, str]] = {"text": "OUT", "int": "iuf", "real": "fiu", "bool": "bf"}
"""numpy dtype kinds that may fill a column of each kind; NaN in a float array stands for null."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a layer.

    Attributes
    ----------
    name : the column's name, its unit as suffix
    kind : text, int, real or bool
    unit : unit of the values; empty for text, counts and ratios
    meaning : what it says, in the words of the glossary
    required : every row has a value; other columns may be absent or null
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class LayerContract:
    """One layer: its name, kind of geometry (None for a table) and columns in the order they are written."""

    name: str
    geometry: GeometryKind | None
    columns: tuple[Column, ...]
    title: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Return the column names in order.

        >>> from setout.layers import CONTRACTS
        >>> CONTRACTS["land_account"].names
        ('step', 'reason', 'alone_m2', 'newly_m2', 'remaining_m2')
        """
        return tuple(column.name for column in self.columns)


def must(name: str, kind: Kind, unit: str, meaning: str) -> Column:
    """Return a column that every row has a value in."""
    return Column(name, kind, unit, meaning, required=True)


def check(contract: LayerContract, columns: Mapping[str, Sized | None], rows: int | None = None) -> None:
    """Check that columns keep a layer's contract; every fault is reported together.

    >>> import numpy as np
    >>> from setout.layers import CONTRACTS
    >>> check(CONTRACTS["contours"], {"elevation_m": np.array([100.0, 101.0])})
    >>> check(CONTRACTS["contours"], {"height": np.array([1.0])})
    Traceback (most recent call last):
    setout.errors.SetoutError: contours: column "height" is not in the contract; columns are elevation_m
    contours: column "elevation_m" is missing; give a value for every row
    """
    known = {column.name: column for column in contract.columns}
    faults = [
        Fault(f'column "{name}" is not in the contract', contract.name, f"columns are {', '.join(known)}")
        for name in columns
        if name not in known
    ]
    for column in contract.columns:
        values = columns.get(column.name)
        if values is None:
            if column.required and rows != 0:
                what = "is null" if column.name in columns else "is missing"
                faults.append(Fault(f'column "{column.name}" {what}', contract.name, "give a value for every row"))
            continue
        rows = len(values) if rows is None else rows
        fault = _column_fault(column, values, rows)
        if fault:
            faults.append(Fault(f'column "{column.name}" {fault}', contract.name))
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _column_fault(column: Column, values: Sized, rows: int) -> str:
    if len(values) != rows:
        return f"has {len(values)} rows where the layer has {rows}"
    if not isinstance(values, np.ndarray):
        return ""
    if values.ndim != 1:
        return f"has {values.ndim} dimensions instead of one"
    if values.dtype.kind not in DTYPES[column.kind]:
        return f"is {values.dtype} where the contract says {column.kind}"
    return ""
