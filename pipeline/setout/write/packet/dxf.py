"""The stake-out as a drawing, DXF R2010 (AC1024): layers, blocks, text, and the unit in the header.

Written by ezdxf, with one tree drawn by ezdxf as the pattern for all: 100,000 block inserts made one by one through its
objects take minutes, their text takes a second. ``$INSUNITS`` is 6 for metres, 2 for international feet and 21 for US
survey feet (the DXF reference of 2017 and later; older programs take 21 for no unit, so that the unit stands in words on
the drawing too).
"""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.units import FOOT, US_SURVEY_FOOT
from setout.write.packet.stakeout import ROWS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from setout.model import Floats, Planting
    from setout.model.staking import StakeSet

INSUNITS: Final = {1.0: 6, FOOT: 2, US_SURVEY_FOOT: 21}
SYMBOL_M: Final = 0.15
"""Radius of a tree's mark [m]."""
TEXT_M: Final = 0.35
"""Height of a tree's id [m]."""


def write_dxf(path: Path, stakes: StakeSet, planting: Planting) -> None:
    """Write boundary, monuments, baselines, rows, works and trees as a drawing in the plane CRS and its unit."""
    from ezdxf import options  # type: ignore[attr-defined]  # public, though not listed
    from ezdxf.filemanagement import new

    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # the same plan gives the same file
    try:
        doc = new("R2010")
        drawing = _Drawing(doc, doc.modelspace(), stakes)
        drawing.head()
        drawing.control()
        drawing.works(planting)
        layers = drawing.tree_layers()
        handles = drawing.pattern_tree() if len(stakes.trees) else None
        doc.classes.add_required_classes(doc.dxfversion)
        classes = sorted(doc.classes.classes.items())  # ezdxf takes them from a set, in another order each time
        doc.classes.classes.clear()
        doc.classes.classes.update(classes)
        stream = io.StringIO()
        doc.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = fixed
    _write_with_trees(path, stream.getvalue(), stakes, layers, handles)


@dataclass(frozen=True, slots=True)
class _Drawing:
    """A drawing in the making."""

    doc: Any
    space: Any
    stakes: StakeSet

    def head(self) -> None:
        """Say unit, extent and what is what."""
        doc, stakes, size = self.doc, self.stakes, self.stakes.size
        doc.header["$INSUNITS"] = INSUNITS.get(size, 0)
        doc.header["$MEASUREMENT"] = 1 if size == 1.0 else 0
        doc.header["$LUNITS"] = 2
        doc.header["$LUPREC"] = stakes.decimals
        doc.header.custom_vars.append("UNIT", f"{stakes.unit} = {size!r} m")
        doc.header.custom_vars.append("PLANE CRS", stakes.crs_label)
        doc.header.custom_vars.append("GRID TO GROUND", f"{stakes.factor:.8f}")
        for name, colour in (
            ("BOUNDARY", palette.INK),
            ("MONUMENT", palette.ATTENTION),
            ("BASELINE", palette.ATTENTION),
            ("ROW", palette.ROW),
            ("BED", palette.BED_EDGE),
            ("POST", palette.POST),
            ("NOTE", palette.INK),
            ("TREE-TEXT", palette.INK),
        ):
            self._layer(name, colour)
        r, h = SYMBOL_M / size, TEXT_M / size
        tree = doc.blocks.new("TREE")
        tree.add_circle((0, 0), r)
        tree.add_line((-2 * r, 0), (2 * r, 0))
        tree.add_line((0, -2 * r), (0, 2 * r))
        tree.add_attdef("ID", (1.5 * r, 1.5 * r), height=h)
        monument = doc.blocks.new("MONUMENT")
        monument.add_lwpolyline([(0, 6 * r), (5.2 * r, -3 * r), (-5.2 * r, -3 * r)], close=True)
        monument.add_attdef("ID", (6 * r, 0), height=3 * h)

    def _layer(self, name: str, colour: str) -> None:
        layer = self.doc.layers.add(name)
        layer.rgb = tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))

    def control(self) -> None:
        """Draw boundary, monuments and baselines, with the distances to check."""
        stakes, h = self.stakes, TEXT_M / self.stakes.size
        m = stakes.monuments
        corners = list(zip(m.easting.tolist(), m.northing.tolist(), strict=True))
        for name, place in zip(m.tree_id, corners, strict=True):
            mark = self.space.add_blockref("MONUMENT", place, dxfattribs={"layer": "MONUMENT"})
            mark.add_attrib("ID", name, (place[0] + 2 * h, place[1]), dxfattribs={"layer": "MONUMENT", "height": 3 * h})
        for leg in stakes.legs:
            self._told(leg.plane, f"{leg.name}  grid {leg.grid:.3f}  ground {leg.ground:.3f}", "MONUMENT")
        for leg in stakes.baselines:
            self.space.add_line(*leg.plane, dxfattribs={"layer": "BASELINE"})
            said = f"baseline {leg.start} to {leg.end}  grid {leg.grid:.3f}  ground {leg.ground:.3f}"
            self._told(leg.plane, said, "BASELINE")
        east = np.concatenate([stakes.trees.easting, m.easting])
        north = np.concatenate([stakes.trees.northing, m.northing])
        if not len(east):
            return
        low, high = (float(east.min()), float(north.min())), (float(east.max()), float(north.max()))
        self.doc.header["$EXTMIN"], self.doc.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
        self.space.reset_extents((*low, 0.0), (*high, 0.0))
        for k, text in enumerate(self._notes()):
            place = (low[0], low[1] - 8 * h * (k + 2))
            self.space.add_text(text, height=4 * h, dxfattribs={"layer": "NOTE"}).set_placement(place)

    def _notes(self) -> tuple[str, ...]:
        stakes = self.stakes
        return (
            _plain(stakes.name),
            f"UNIT: {stakes.unit} = {stakes.size!r} m.  GRID COORDINATES: {_plain(stakes.crs_label)}",
            f"GROUND DISTANCE = GRID DISTANCE x {stakes.factor:.8f}.  HEIGHT 0 WHERE THE ELEVATION IS UNKNOWN",
            "CHECK TWO MONUMENTS BEFORE THE FIRST STAKE.  HAVE BURIED LINES MARKED BEFORE DIGGING (US: CALL 811)",
        )

    def _told(self, ends: tuple[tuple[float, float], tuple[float, float]], text: str, layer: str) -> None:
        """Write a text along the middle of a line, never upside down."""
        (x0, y0), (x1, y1) = ends
        angle = math.degrees(math.atan2(y1 - y0, x1 - x0))
        angle = angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle
        made = self.space.add_text(_plain(text), height=2 * TEXT_M / self.stakes.size, rotation=angle, dxfattribs={"layer": layer})
        made.set_placement(((x0 + x1) / 2, (y0 + y1) / 2))

    def works(self, planting: Planting) -> None:
        """Draw boundary, rows, beds and posts."""
        site, works, frame = planting.site, planting.works, planting.site.frame

        def plane(shape: Any) -> list[tuple[float, float]]:
            xy: Floats = shapely.get_coordinates(shape)
            east, north = frame.to(frame.plane_crs, xy[:, 0], xy[:, 1])
            return list(zip(east.tolist(), north.tolist(), strict=True))

        for part in shapely.get_parts(site.boundary):
            for ring in (part.exterior, *part.interiors):
                self.space.add_lwpolyline(plane(ring)[:-1], close=True, dxfattribs={"layer": "BOUNDARY"})
        rows, size = planting.rows, self.stakes.size
        for number, line in enumerate(rows.line):
            pieces = [plane(piece) for piece in shapely.get_parts(line)]
            for places in pieces:
                self.space.add_lwpolyline(places, dxfattribs={"layer": "ROW"})
            name = _plain(f"{site.blocks[int(rows.block[number])].name} row {int(rows.row[number])}")
            text = self.space.add_text(name, height=2 * TEXT_M / size, dxfattribs={"layer": "ROW"})
            text.set_placement((pieces[0][0][0], pieces[0][0][1] - 4 * TEXT_M / size))
        for bed in works.bed:
            self.space.add_lwpolyline(plane(shapely.get_parts(bed)[0].exterior)[:-1], close=True, dxfattribs={"layer": "BED"})
        if len(works.post_x):
            for place in plane(shapely.multipoints(np.column_stack([works.post_x, works.post_y]))):
                self.space.add_point(place, dxfattribs={"layer": "POST"})

    def tree_layers(self) -> list[str]:
        """Make a layer for every plant of every block; return their names."""
        names: list[str] = []
        taken: set[str] = set()
        for number, kind in enumerate(self.stakes.kinds):
            words = "_".join(w for w in (_letters(kind.block), _letters(kind.plant), _letters(kind.variety)) if w)
            name = f"TREE_{words}"[:60].rstrip("_-")
            if name in taken:
                name = f"{name[:54]}_{number + 1}"
            taken.add(name)
            names.append(name)
            self._layer(name, palette.tree_colour(number))
        return names

    def pattern_tree(self) -> tuple[str, str, str]:
        """Draw one tree as the last of the drawing; return the handles of its mark, its id and its end."""
        height = TEXT_M / self.stakes.size
        made = self.space.add_blockref("TREE", (1.0, 2.0, 3.0), dxfattribs={"layer": "0"})
        ident = made.add_attrib("ID", "@", (4.0, 5.0, 6.0), dxfattribs={"layer": "TREE-TEXT", "height": height})
        return made.dxf.handle, ident.dxf.handle, made.seqend.dxf.handle


def _form(one: str, handles: tuple[str, str, str]) -> str:
    """Return the text of the pattern tree with places to fill in."""
    places = {"1.0": "{x}", "2.0": "{y}", "3.0": "{z}", "4.0": "{tx}", "5.0": "{ty}", "6.0": "{z}"}
    numbers = dict(zip(handles, ("{h0:X}", "{h1:X}", "{h2:X}"), strict=True))
    lines = one.split("\n")
    for at in range(0, len(lines) - 1, 2):
        code, value = lines[at].strip(), lines[at + 1]
        if code in ("5", "330"):
            lines[at + 1] = numbers.get(value, value)
        elif code in ("10", "20", "30"):
            lines[at + 1] = places[value]
        elif (code, value) == ("8", "0"):
            lines[at + 1] = "{layer}"
        elif code == "1":
            lines[at + 1] = "{id}"
    return "\n".join(lines)


def _write_with_trees(path: Path, text: str, stakes: StakeSet, layers: list[str], handles: tuple[str, str, str] | None) -> None:
    """Write a drawing, with all the trees in the place of the one that it holds."""
    if handles is None:
        path.write_text(text, encoding="utf-8", newline="\n")
        return
    start = text.rindex(f"  0\nINSERT\n  5\n{handles[0]}\n")
    end = text.index("  0\nENDSEC\n", start)
    seed = max(int(number, 16) for number in re.findall(r"\$HANDSEED\n  5\n([0-9A-F]+)\n", text))
    last = seed + len(handles) * len(stakes.trees)
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text[:start].replace(f"$HANDSEED\n  5\n{seed:X}\n", f"$HANDSEED\n  5\n{last:X}\n", 1))
        file.writelines(_tree_texts(stakes, layers, _form(text[start:end], handles), seed))
        file.write(text[end:])


def _tree_texts(stakes: StakeSet, layers: list[str], form: str, seed: int) -> Iterator[str]:
    t, size, n = stakes.trees, stakes.size, stakes.decimals
    aside = 1.5 * SYMBOL_M / size
    for start in range(0, len(t), ROWS):
        part = slice(start, start + ROWS)
        z = np.nan_to_num(np.asarray(t.elevation_m[part], float) / size, nan=0.0).tolist()
        rows = zip(t.tree_id[part], stakes.kind[part].tolist(), t.easting[part].tolist(), t.northing[part].tolist(), z, strict=True)
        fill = form.format
        yield "".join(
            fill(
                h0=h,
                h1=h + 1,
                h2=h + 2,
                layer=layers[kind],
                id=_plain(name),
                x=f"{x:.{n + 1}f}",
                y=f"{y:.{n + 1}f}",
                z=f"{up:.{n}f}",
                tx=f"{x + aside:.{n}f}",
                ty=f"{y + aside:.{n}f}",
            )
            for h, (name, kind, x, y, up) in zip(count(seed + 3 * start, 3), rows)
        )


def _plain(text: str) -> str:
    """Return a text as one line that no program takes for a control code."""
    line = " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]", " ", text).split())
    return line.replace("%%", "% %").replace("^", " ").replace("\\", "/")


def _letters(text: str) -> str:
    return re.sub(r"[^A-Z0-9]+", "-", text.upper().encode("ascii", "ignore").decode()).strip("-")
