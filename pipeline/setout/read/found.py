"""What a format's reader finds in a file before its CRS is settled, and the checks all formats share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from setout.errors import SetoutError
from setout.model import Finding, Geometries
from setout.model.text import is_blank
from setout.read.reference import Reference, did_you_mean, values_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

    from setout.read.crs import Box


@dataclass(frozen=True, slots=True)
class Found:
    """Features of one layer of one file.

    Attributes
    ----------
    geometry : shapely geometries, 2D
    columns : attribute columns, each as long as geometry
    crs : what the file says itself; None if it does not
    standard : the format fixes WGS 84
    findings : what was noticed
    """

    geometry: Geometries
    columns: Mapping[str, NDArray[Any]]
    crs: CRS | None = None
    standard: bool = False
    findings: tuple[Finding, ...] = ()

    def take(self, keep: NDArray[Any]) -> Found:
        """Return some of the features, by mask or index."""
        return replace(self, geometry=self.geometry[keep], columns={k: v[keep] for k, v in self.columns.items()})


@dataclass(frozen=True, slots=True)
class LayerInfo:
    """A layer of a file: name, geometry type ("Unknown" if mixed or unsaid), features, what to open it by."""

    name: str
    kind: str
    count: int
    opener: str = ""

    def __str__(self) -> str:
        """Return the layer as a message shows it."""
        count = f"{self.count} {self.kind}" if self.count >= 0 else self.kind
        return f"{self.name} ({count})"


class LayerLine(NamedTuple):
    """A layer as a list shows it: name, geometry type ("Unknown" if mixed), number of features."""

    name: str
    kind: str
    features: int


def objects(items: list[Any]) -> NDArray[np.object_]:
    """Return a one-dimensional object array of any items, geometries among them."""
    out = np.empty(len(items), dtype=object)
    out[:] = items
    return out


def named_in_utf8(path: Path, source: str) -> None:
    """Refuse a path that is not text in UTF-8: the libraries that read survey files cannot open it."""
    try:
        str(path.absolute()).encode()
    except UnicodeEncodeError:
        raise SetoutError(
            "lies in a folder, or has a name, that is not text in UTF-8", source, "give the folder or the file another name"
        ) from None


def exists(path: Path, source: str) -> None:
    """Refuse a file that is missing, empty or no file."""
    named_in_utf8(path, source)
    try:
        if not path.exists():
            beside = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
            remedy = did_you_mean(path.name, sorted(beside)) if beside else f"there is no folder {path.parent}"
            raise SetoutError("there is no such file", source, remedy)
        if path.is_file() and path.stat().st_size == 0:
            raise SetoutError("the file is empty", source, "get the file again from where it came")
    except OSError as error:
        raise SetoutError(f"cannot be read: {error.strerror}", source, "check the name and the permissions") from None


def text_of(path: Path, source: str) -> str:
    """Read a text file: UTF-8 with or without byte order mark, UTF-16 with one, else Latin-1."""
    exists(path, source)
    if not path.is_file():
        raise SetoutError("is a folder, not a file", source, "name the file in it")
    data = path.read_bytes()
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\0" in data:
        raise SetoutError("is no text file", source, "name a text file, or give the file its right extension")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def filtered(found: Found, ref: Reference) -> Found:
    """Take the features that a reference's [column=value] asks for; SetoutError where there are none."""
    return found if ref.where is None else found.take(chosen(found.columns, ref))


def chosen(columns: Mapping[str, NDArray[Any]], ref: Reference) -> NDArray[np.bool_]:
    """Tell which features a reference's [column=value] asks for."""
    name, value = ref.where or ("", "")
    names = {c.casefold(): c for c in reversed(list(columns))}
    column = name if name in columns else names.get(name.casefold())
    if column is None:
        raise SetoutError(f'there is no column "{name}"', ref.text, did_you_mean(name, columns))
    whole = _equal(columns[column], value)
    keeps = {value: whole} if whole.any() else {one: _equal(columns[column], one) for one in values_of(value)}
    for one, keep in keeps.items():
        if not keep.any():
            shown = list(dict.fromkeys(str(v) for v in columns[column].tolist() if v is not None))
            raise SetoutError(f'no feature has {column} = "{one}"', ref.text, did_you_mean(one, shown))
    return np.asarray(np.logical_or.reduce(list(keeps.values())), bool)


def _equal(column: NDArray[Any], value: str) -> NDArray[np.bool_]:
    if not value:
        return np.array([is_blank(v) for v in column.tolist()], bool)
    if column.dtype.kind in "iuf":
        try:
            return np.asarray(column == float(value), bool)
        except ValueError:
            return np.zeros(column.shape, bool)
    if column.dtype.kind == "b":
        truth = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}.get(value.casefold())
        return np.asarray(column == truth, bool) if truth is not None else np.zeros(column.shape, bool)
    return np.array([v is not None and str(v).strip() == value for v in column.tolist()], bool)


def solid(found: Found, source: str) -> Found:
    """Refuse coordinates that are no numbers; drop features without geometry, saying how many."""
    geometry = found.geometry
    if geometry.size == 0:
        raise SetoutError("holds no features", source, "export the layer again, or name another")
    xy, of = shapely.get_coordinates(geometry, return_index=True)
    bad = ~np.isfinite(xy).all(axis=1)
    if bad.any():
        first = int(np.flatnonzero(bad)[0])
        x, y = xy[first].tolist()
        raise SetoutError(
            f"feature {int(of[first]) + 1} has the coordinate ({x}, {y})",
            source,
            f"mend its geometry ({int(bad.sum())} coordinates of the layer are no numbers)",
        )
    blank = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    if blank.all():
        raise SetoutError("none of its features has a geometry", source, "export the layer again, or name another")
    if not blank.any():
        return found
    at = np.flatnonzero(blank) + 1
    shown = ", ".join(str(i) for i in at[:5].tolist()) + (" ..." if at.size > 5 else "")
    finding = Finding(
        "feature_empty",
        "warn",
        f"{source}: {at.size} of {geometry.size} features have no geometry, left out (number {shown})",
        str(at.size),
        "0",
        "draw them, or delete them from the layer",
    )
    return replace(found.take(~blank), findings=(*found.findings, finding))


def box_of(geometry: Geometries) -> Box:
    """Return the bounds of all geometries."""
    x0, y0, x1, y1 = shapely.total_bounds(geometry).tolist()
    return x0, y0, x1, y1
