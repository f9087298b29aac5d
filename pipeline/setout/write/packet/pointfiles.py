"""What is set out as files for every instrument and program: a CSV with a full header, GeoJSON and KML.

GeoJSON as RFC 7946 has it: WGS 84, longitude first, rings by the right-hand rule, no third coordinate, for that would
be a height above the ellipsoid and ours is the DEM's. KML 2.2 (OGC 07-147r2): folders by block and plant; colours are
alpha, blue, green, red.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.model import WGS84
from setout.words.staking import kind_label
from setout.write.packet.stakeout import ROWS, all_xml, cell_text, xml

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from setout.model.staking import Leg, StakeSet

KML: Final = "http://www.opengis.net/kml/2.2"
HEADER: Final = (
    "point",
    "kind",
    "block",
    "row",
    "position",
    "plant",
    "variety",
    "role",
    "northing_{u}",
    "easting_{u}",
    "elevation_{u}",
    "lat_deg",
    "lon_deg",
    "note",
)
CONTROL: Final = (
    "line",
    "kind",
    "from",
    "to",
    "grid_distance_{u}",
    "ground_distance_{u}",
    "bearing_true_deg",
    "from_northing_{u}",
    "from_easting_{u}",
    "to_northing_{u}",
    "to_easting_{u}",
)
SHORT_UNIT: Final = {"US survey foot": "US_survey_ft", "international foot": "international_ft", "metre": "m"}


def write_full(path: Path, stakes: StakeSet) -> None:
    """Write all points in one CSV whose first line names every column and its unit."""
    unit, size, n = SHORT_UNIT.get(stakes.unit, cell_text(stakes.unit).replace(" ", "_")), stakes.size, stakes.decimals
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(HEADER).format(u=unit) + "\r\n")
        m = stakes.monuments
        places = zip(m.tree_id, m.northing.tolist(), m.easting.tolist(), m.lat.tolist(), m.lon.tolist(), m.description, strict=True)
        for name, north, east, lat, lon, said in places:
            at = f"{north:.{n}f},{east:.{n}f},,{lat:.8f},{lon:.8f}"
            file.write(f"{cell_text(name)},monument,,,,,,,{at},{cell_text(said)}\r\n")
        heads = [cell_text(name) for name in stakes.blocks]
        words = [",".join(cell_text(word) for word in (k.plant, k.variety, k.role)) for k in stakes.kinds]
        t = stakes.trees
        for start in range(0, len(t), ROWS):
            part = slice(start, start + ROWS)
            z = [f"{v:.{n}f}" if math.isfinite(v) else "" for v in (t.elevation_m[part] / size).tolist()]
            numbers = (v[part].tolist() for v in (stakes.block, stakes.row, stakes.position, stakes.kind))
            where = (v[part].tolist() for v in (t.northing, t.easting, t.lat, t.lon))
            rows = zip([cell_text(name) for name in t.tree_id[part]], *numbers, *where, z, strict=True)
            file.write(
                "".join(
                    f"{name},tree,{heads[b]},{r},{p},{words[k]},{north:.{n}f},{east:.{n}f},{up},{lat:.8f},{lon:.8f},\r\n"
                    for name, b, r, p, k, north, east, lat, lon, up in rows
                )
            )


def write_control(path: Path, stakes: StakeSet) -> None:
    """Write the distances to measure before the first stake is set, between monuments and along baselines."""
    unit, n = SHORT_UNIT.get(stakes.unit, cell_text(stakes.unit).replace(" ", "_")), stakes.decimals
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(CONTROL).format(u=unit) + "\r\n")
        for kind, legs in (("monuments", stakes.legs), ("baseline", stakes.baselines)):
            for leg in legs:
                (e0, n0), (e1, n1) = leg.plane
                names = ",".join(cell_text(word) for word in (leg.name, kind, leg.start, leg.end))
                far = f"{leg.grid:.{n}f},{leg.ground:.{n}f},{leg.bearing_deg:.4f}"
                file.write(f"{names},{far},{n0:.{n}f},{e0:.{n}f},{n1:.{n}f},{e1:.{n}f}\r\n")


def _lonlat(stakes: StakeSet, shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, lambda xy: np.column_stack(stakes.frame.to(WGS84, xy[:, 0], xy[:, 1])))


def write_geojson(path: Path, stakes: StakeSet, boundary: BaseGeometry) -> None:
    """Write boundary, monuments, baselines and trees as one GeoJSON feature collection."""
    outline = _lonlat(stakes, boundary)
    west, south, east, north = shapely.bounds(outline).tolist()
    with path.open("w", encoding="utf-8", newline="\n") as file:
        box = ",".join(f"{v:.8f}" for v in (west, south, east, north))
        file.write(f'{{"type":"FeatureCollection","bbox":[{box}],"features":[\n')
        first = True
        for lines in _geojson_features(stakes, outline):
            file.write(("" if first else ",\n") + ",\n".join(lines))
            first = False
        file.write("\n]}\n")


def _geojson_features(stakes: StakeSet, outline: BaseGeometry) -> Iterator[list[str]]:
    parts = [shapely.orient_polygons(part) for part in shapely.get_parts(outline)]
    rings = [[_ring(part.exterior), *(_ring(hole) for hole in part.interiors)] for part in parts]
    said = {
        "kind": "boundary",
        "name": stakes.name,
        "plane_crs": stakes.crs_label,
        "unit": stakes.unit,
        "grid_to_ground": round(stakes.factor, 9),
    }
    yield [_feature("boundary", said, "MultiPolygon", rings)]
    m, places = stakes.monuments, zip(stakes.monuments.lon.tolist(), stakes.monuments.lat.tolist(), strict=True)
    monuments = [
        _feature(name, {"kind": "monument", "name": name, "note": text}, "Point", [round(x, 8), round(y, 8)])
        for name, text, (x, y) in zip(m.tree_id, m.description, places, strict=True)
    ]
    lines = [_geojson_leg(leg, kind, stakes) for kind, legs in (("control", stakes.legs), ("baseline", stakes.baselines)) for leg in legs]
    yield from (group for group in (monuments, lines) if group)
    heads = [json.dumps(name) for name in stakes.blocks]
    words = [f'"plant":{json.dumps(k.plant)},"variety":{json.dumps(k.variety)},"role":{json.dumps(k.role)}' for k in stakes.kinds]
    t = stakes.trees
    for start in range(0, len(t), ROWS):
        part = slice(start, start + ROWS)
        z = [f"{v:.3f}" if math.isfinite(v) else "null" for v in t.elevation_m[part].tolist()]
        numbers = (v[part].tolist() for v in (stakes.block, stakes.row, stakes.position, stakes.kind, t.lon, t.lat))
        rows = zip([json.dumps(name) for name in t.tree_id[part]], *numbers, z, strict=True)
        yield [
            f'{{"type":"Feature","id":{name},"geometry":{{"type":"Point","coordinates":[{x:.8f},{y:.8f}]}},"properties":'
            f'{{"kind":"tree","tree_id":{name},"block":{heads[b]},"row":{r},"position":{p},{words[k]},"elevation_m":{up}}}}}'
            for name, b, r, p, k, x, y, up in rows
        ]


def _ring(ring: BaseGeometry) -> list[list[float]]:
    return [[round(x, 8), round(y, 8)] for x, y in shapely.get_coordinates(ring).tolist()]


def _feature(name: str, properties: dict[str, object], kind: str, coordinates: object) -> str:
    geometry = {"type": kind, "coordinates": coordinates}
    made = {"type": "Feature", "id": name, "geometry": geometry, "properties": properties}
    return json.dumps(made, separators=(",", ":"), allow_nan=False)


def _geojson_leg(leg: Leg, kind: str, stakes: StakeSet) -> str:
    n = stakes.decimals
    said: dict[str, object] = {
        "kind": kind,
        "name": leg.name,
        "from": leg.start,
        "to": leg.end,
        "grid": round(leg.grid, n),
        "ground": round(leg.ground, n),
        "unit": stakes.unit,
        "ground_m": round(leg.ground_m, 4),
        "bearing_deg": round(leg.bearing_deg, 4),
    }
    places = [[round(x, 8), round(y, 8)] for x, y in leg.place]
    return _feature(f"{kind} {leg.name}", said, "LineString", places)


def write_kml(path: Path, stakes: StakeSet, boundary: BaseGeometry) -> None:
    """Write boundary, control and trees as KML, a folder for every block and in it one for every plant."""
    plants = list(dict.fromkeys((k.plant, k.variety, k.role) for k in stakes.kinds))
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(f'<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="{KML}">\n<Document>\n')
        file.write(f"<name>{xml(stakes.name)}</name>\n<description>{xml(_kml_note(stakes))}</description>\n")
        file.writelines(_kml_styles(len(plants)))
        file.write(_kml_control(stakes, _lonlat(stakes, boundary)))
        for block in stakes.blocks:
            own = [number for number, kind in enumerate(stakes.kinds) if kind.block == block]
            if not own:
                continue
            file.write(f"<Folder>\n<name>{xml(f'Block {block}')}</name>\n")
            for number in own:
                kind = stakes.kinds[number]
                style = plants.index((kind.plant, kind.variety, kind.role))
                file.write(f"<Folder>\n<name>{xml(f'{kind_label(kind)}, {kind.trees:,}')}</name>\n")
                file.writelines(_kml_trees(stakes, np.flatnonzero(stakes.kind == number), f"p{style}", kind_label(kind)))
                file.write("</Folder>\n")
            file.write("</Folder>\n")
        file.write("</Document>\n</kml>\n")


def _kml_note(stakes: StakeSet) -> str:
    return (
        f"{len(stakes.trees):,} trees. Distances of the control lines: grid in {stakes.crs_label}, unit {stakes.unit}; "
        f"ground = grid x {stakes.factor:.8f}. Good to find a tree, not to stake one."
    )


def _abgr(colour: str, alpha: str = "ff") -> str:
    """Return a colour as KML writes it.

    >>> _abgr("#102030")
    'ff302010'
    """
    return alpha + colour[5:7] + colour[3:5] + colour[1:3]


def _kml_styles(count: int) -> Iterator[str]:
    line = '<Style id="{}"><LineStyle><color>{}</color><width>{}</width></LineStyle><PolyStyle><fill>0</fill></PolyStyle></Style>\n'
    yield line.format("boundary", _abgr(palette.INK), 3)
    yield line.format("control", _abgr(palette.ATTENTION), 2)
    yield f'<Style id="monument"><IconStyle><color>{_abgr(palette.ATTENTION)}</color><scale>1.1</scale></IconStyle></Style>\n'
    for number in range(count):
        colour = _abgr(palette.tree_colour(number))
        icon = f"<IconStyle><color>{colour}</color><scale>0.6</scale></IconStyle>"
        yield f'<Style id="p{number}">{icon}<LabelStyle><scale>0.7</scale></LabelStyle></Style>\n'


def _kml_control(stakes: StakeSet, outline: BaseGeometry) -> str:
    def ring(tag: str, line: BaseGeometry) -> str:
        return f"<{tag}><LinearRing>{_kml_line(shapely.get_coordinates(line).tolist())}</LinearRing></{tag}>"

    polygons = "".join(
        f"<Polygon>{ring('outerBoundaryIs', p.exterior)}{''.join(ring('innerBoundaryIs', h) for h in p.interiors)}</Polygon>"
        for p in shapely.get_parts(outline)
    )
    out = ["<Folder>\n<name>Control: check before the first stake</name>\n"]
    shape = f"<MultiGeometry>{polygons}</MultiGeometry>"
    out.append(f"<Placemark><name>Boundary</name><styleUrl>#boundary</styleUrl>{shape}</Placemark>\n")
    m = stakes.monuments
    for name, text, x, y in zip(m.tree_id, m.description, m.lon.tolist(), m.lat.tolist(), strict=True):
        head = f"<name>{xml(name)}</name><description>{xml(text)}</description><styleUrl>#monument</styleUrl>"
        out.append(f"<Placemark>{head}<Point><coordinates>{x:.8f},{y:.8f}</coordinates></Point></Placemark>\n")
    n = stakes.decimals
    for leg in (*stakes.legs, *stakes.baselines):
        name = f"Baseline {leg.name}: {leg.start} to {leg.end}" if leg.block else leg.name
        far = f"grid {leg.grid:.{n}f}, ground {leg.ground:.{n}f} {stakes.unit}; bearing {leg.bearing_deg:.4f} deg from true north"
        head = f"<name>{xml(name)}</name><description>{xml(far)}</description><styleUrl>#control</styleUrl>"
        out.append(f"<Placemark>{head}<LineString>{_kml_line(leg.place)}</LineString></Placemark>\n")
    return "".join([*out, "</Folder>\n"])


def _kml_line(places: Sequence[Sequence[float]]) -> str:
    return f"<coordinates>{' '.join(f'{x:.8f},{y:.8f}' for x, y in places)}</coordinates>"


def _kml_trees(stakes: StakeSet, own: np.ndarray[tuple[int], np.dtype[np.int64]], style: str, label: str) -> Iterator[str]:
    t, said = stakes.trees, f"<description>{xml(label)}</description><styleUrl>#{style}</styleUrl>"
    for start in range(0, len(own), ROWS):
        part = own[start : start + ROWS]
        names = all_xml([t.tree_id[k] for k in part.tolist()])
        rows = zip(names, t.lon[part].tolist(), t.lat[part].tolist(), strict=True)
        yield "".join(
            f"<Placemark><name>{name}</name>{said}<Point><coordinates>{x:.8f},{y:.8f}</coordinates></Point></Placemark>\n"
            for name, x, y in rows
        )
