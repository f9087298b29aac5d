"""One plan file with every planting system, through the command, held against an independent calculation.

Nothing of setout is imported: results are read with geopandas, positions are taken to level ground metres about the middle
of the site (azimuthal equidistant, raised to the site's height), rooms come from GEOS' Voronoi cells, neighbours from
scipy's k-d tree, levels from the formula of the ground, counts and materials from arithmetic.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from functools import cached_property
from math import ceil, floor
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree
from shapely.ops import substring

import inspector
import mixedfarm
from command import cold
from inspector import FOOT, Look, Truth, si

MM = 1e-3
HAND_FT = {
    "offset": 14.422,
    "square": 30.0,
    "equilateral": 16.0,
    "wide": 20.0,
    "quincunx": 19.799,
    "hedgerow": 5.0,
    "double": 3.606,
    "dwarfhedge": 3.0,
    "vines": 8.0,
    "beds": 5.0,
    "contour": 12.0,
    "guided": 12.0,
    "bentvines": 8.0,
    "pairs": 2.0,
    "small": 6.0,
    "counted": 16.0,
    "hide": 10.0,
    "shade": 7.810,
}
"""True nearest distances by hand [ft]: hypot(8, 12), 28 / sqrt 2, hypot(2, 3), hypot(5, 6), and the step elsewhere."""
LINED_UP = ("offset", "square", "equilateral", "wide", "quincunx", "double", "pairs", "small", "counted")
FREE = {"hedgerow": (12.0, 0.0), "dwarfhedge": (0.0, 0.0), "vines": (0.0, 10.0)}
"""Blocks whose every row starts where it fits: headland from the edge of the block, and room for post and anchor at every end [ft]."""


class Farm(Look):
    """What the command left of the mixed farm, in level ground metres."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder / "plan.toml", folder / "out", Truth())
        self.xy = shapely.get_coordinates(self.points)

    def block(self, name: str) -> tuple[np.ndarray, Any]:
        own = self.mine(name)
        return self.xy[own], self.trees.iloc[own]

    def area(self, name: str) -> shapely.Geometry:
        where = list(mixedfarm.SYSTEMS).index(name)
        return self.ground(gpd.GeoDataFrame(geometry=[mixedfarm.ground_of(where)], crs=mixedfarm.EPSG))[0]

    @cached_property
    def taken(self) -> shapely.Geometry:
        """Ground that is kept clear: along the property line, round the well, the pond."""
        parts = [
            shapely.buffer(shapely.boundary(self.land), mixedfarm.LINE_M, quad_segs=64),
            shapely.buffer(self.ground(self.source("survey/features.gpkg:well"))[0], mixedfarm.WELL_M, quad_segs=256),
            self.ground(self.source("survey/features.gpkg:pond"))[0],
        ]
        return shapely.union_all(parts)

    def own_ground(self, name: str) -> shapely.Geometry:
        return shapely.difference(self.area(name), self.taken)

    def rows_of(self, name: str) -> list[np.ndarray]:
        xy, trees = self.block(name)
        return [xy[(trees["row"] == row).to_numpy()] for row in range(1, int(trees["row"].max()) + 1)]

    def turned(self, name: str) -> tuple[np.ndarray, np.ndarray, float]:
        """Return how far along the rows and to their left the trees stand, and the rows' bearing [rad]."""
        longest = max(self.rows_of(name), key=lambda row: np.hypot(*(row[-1] - row[0])))
        way = longest[0::2][-1] - longest[0] if name == "pairs" else longest[-1] - longest[0]
        angle = float(np.arctan2(*way))
        return *self.along(self.block(name)[0], angle), angle

    @staticmethod
    def along(xy: np.ndarray, angle: float) -> tuple[np.ndarray, np.ndarray]:
        sin, cos = np.sin(angle), np.cos(angle)
        return xy @ [sin, cos], xy @ [-cos, sin]

    def feet(self, name: str, key: str) -> float:
        return si(self.blocks[name][key])


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    folder = tmp_path_factory.mktemp("mixed")
    plan = mixedfarm.write(folder)
    ran = cold("plan", plan)
    assert ran.code == 0, ran.err
    return Farm(folder)


def test_what_holds_for_every_plan(farm: Farm) -> None:
    looks = (inspector.counts, inspector.names, inspector.places, inspector.layers, inspector.account, inspector.record, inspector.files)
    assert [text for look in looks for text in look(farm)] == []


def test_every_block_stands_on_its_own_ground(farm: Farm) -> None:
    for name in mixedfarm.SYSTEMS:
        xy, _ = farm.block(name)
        assert len(xy) > 35, name
        assert shapely.distance(farm.own_ground(name), shapely.points(xy)).max() < 0.01, name
    for name in mixedfarm.SYSTEMS:  # blocks stand 15 m apart: nothing of one is near another
        assert cKDTree(np.delete(farm.xy, farm.mine(name), axis=0)).query(farm.block(name)[0])[0].min() > 9.0, name


@pytest.mark.parametrize("name", HAND_FT)
def test_nearest_distance_worked_by_hand(farm: Farm, name: str) -> None:
    xy, trees = farm.block(name)
    near = cKDTree(farm.xy).query(xy, k=2)[0][:, 1]
    assert near.min() / FOOT == pytest.approx(HAND_FT[name], abs=2e-3)
    assert trees["nearest_m"].to_numpy() == pytest.approx(near, abs=MM)
    if name not in ("contour", "guided", "bentvines"):
        assert np.median(near) / FOOT == pytest.approx(HAND_FT[name], abs=2e-3)


def lattice(farm: Farm, name: str) -> Iterator[tuple[float, float, float]]:
    """Yield every line of a block's set-out over its ground: place across, phase along, step; found from its first trees."""
    block = farm.blocks[name]
    u, v, _ = farm.turned(name)
    step = farm.feet(name, "step")
    rows = {"square": step, "quincunx": step / 2, "offset": step * 3**0.5 / 2}.get(block["pattern"], np.nan)
    rows = si(block["row_distance"]) if "row_distance" in block else rows
    if name == "pairs":  # partners stand beside the line: its middle is between them
        u, v = (u[0::2] + u[1::2]) / 2, (v[0::2] + v[1::2]) / 2
    shift = 0.5 if block["pattern"] in ("offset", "quincunx") or block.get("lines", 1) > 1 else 0.0
    inner = si(block["line_distance"]) if block.get("lines", 1) > 1 else 0.0
    if inner:  # the first line of a double row has its second 3 ft to the right of it
        rights = np.abs(v[:, None] - v - inner) < 0.01
        first = int(np.flatnonzero(rights.any(axis=1))[0])
    else:
        first = 0
    for k in range(-80, 80):
        yield v[first] - k * rows, u[first] + (0.0 if inner else shift * step * (k % 2)), step
        if inner:
            yield v[first] - k * rows - inner, u[first] + shift * step, step


@pytest.mark.parametrize("name", LINED_UP)
def test_every_place_of_the_lattice_that_has_ground_is_planted(farm: Farm, name: str) -> None:
    """All points of the lattice inside the ground, and none outside it, but for a millimetre at its edge."""
    ground, (_, _, angle) = farm.own_ground(name), farm.turned(name)
    spots = []
    for v, phase, step in lattice(farm, name):
        u = phase + step * np.arange(-400, 400)
        spots.append(np.column_stack([u * np.sin(angle) - v * np.cos(angle), u * np.cos(angle) + v * np.sin(angle)]))
    xy = np.concatenate(spots)
    # both partners of a pair need ground, a foot north and south of their middle
    each = [xy + np.array([0, side]) for side in ((FOOT, -FOOT) if name == "pairs" else (0.0,))]

    def inside(more: float) -> int:
        wider = shapely.buffer(ground, more)
        shapely.prepare(wider)
        return int(np.all([shapely.contains_xy(wider, *points.T) for points in each], axis=0).sum())

    count = len(farm.block(name)[0]) / len(each)
    least, most = inside(-2 * MM if name != "pairs" else -FOOT), inside(2 * MM)
    assert least <= count <= most
    assert most - least <= (0.15 if name == "pairs" else 0.03) * count + 1


@pytest.mark.parametrize("name", FREE)
def test_every_free_row_holds_what_its_length_gives(farm: Farm, name: str) -> None:
    """A clear piece of a row of length l holds 1 + floor((l - both ends) / step) plants."""
    area, (_, v, angle) = farm.area(name), farm.turned(name)
    step, rows = farm.feet(name, "step"), farm.feet(name, "row_distance")
    head, ends = (2 * free * FOOT for free in FREE[name])
    way = np.array([np.sin(angle), np.cos(angle)])
    least = most = 0
    for k in range(-80, 80):
        middle = np.array([-np.cos(angle), np.sin(angle)]) * (v[0] - k * rows)
        for piece in shapely.get_parts(shapely.intersection(shapely.LineString([middle - 900 * way, middle + 900 * way]), area)):
            if piece.length <= head:
                continue
            inner = substring(piece, head / 2, piece.length - head / 2)
            for length in shapely.length(shapely.get_parts(shapely.difference(inner, farm.taken))):
                least += max(1 + floor((length - 2 * MM - ends) / step), 0)
                most += max(1 + floor((length + 2 * MM - ends) / step), 0)
    assert least <= len(v) <= most
    assert most - least <= 2


def test_rows_go_the_way_the_plan_says(farm: Farm) -> None:
    said = {
        "offset": 0.0,
        "equilateral": 20.0,
        "wide": 172.0,
        "quincunx": 90.0,
        "hedgerow": 5.0,
        "double": 0.0,
        "vines": 150.0,
        "beds": 0.0,
        "small": 12.0,
        "counted": 3.0,
    }
    for name, bearing in said.items():
        found = np.degrees(farm.turned(name)[2])
        assert abs((found - bearing + 90) % 180 - 90) < 0.02, name


def test_beds(farm: Farm) -> None:
    """10 ft by 6 ft (common practice): 60 sq ft each, 3 ft apart in the row, 4 ft of path;
    two plants 5 ft apart; 3 in of mulch are 15 cu ft."""
    beds = farm.layer("beds")
    ground = farm.ground(beds)
    assert shapely.area(ground) / FOOT**2 == pytest.approx(60.0, abs=0.02)
    assert beds["area_m2"].to_numpy() / FOOT**2 == pytest.approx(60.0, abs=1e-6)
    assert beds["mulch_m3"].to_numpy() / FOOT**3 == pytest.approx(15.0, abs=1e-6)
    own = farm.own_ground("beds")
    assert shapely.area(shapely.difference(ground, own)).max() < 0.01
    xy, trees = farm.block("beds")
    assert len(trees) == 2 * len(beds)
    inside = shapely.STRtree(ground).query(shapely.points(xy), predicate="within")[1]
    assert np.bincount(inside).tolist() == [2] * len(beds)
    assert shapely.distance(shapely.centroid(ground)[inside], shapely.points(xy)) / FOOT == pytest.approx(2.5, abs=2e-3)
    # along every row, half a bed from the sides: 1 + floor((l - 10) / 13) beds
    _, v, angle = farm.turned("beds")
    inner = shapely.buffer(own, -3 * FOOT, join_style="mitre")
    least = most = 0
    for k in range(-80, 80):
        middle = np.array([-np.cos(angle), np.sin(angle)]) * (v[0] - k * 10 * FOOT)
        way = 900.0 * np.array([np.sin(angle), np.cos(angle)])
        for length in shapely.length(shapely.get_parts(shapely.intersection(shapely.LineString([middle - way, middle + way]), inner))):
            least += max(1 + floor((length - 0.02 - 10 * FOOT) / (13 * FOOT)), 0)
            most += max(1 + floor((length + 0.02 - 10 * FOOT) / (13 * FOOT)), 0)
    assert least <= len(beds) <= most
    assert most - least <= 2


def test_contour_rows(farm: Farm) -> None:
    """Fall by the formula of the ground over 30 m and more, and distances from row to row."""
    _, trees = farm.block("contour")
    plane = farm.trees.geometry.iloc[farm.mine("contour")]
    z = mixedfarm.height(plane.x.to_numpy(), plane.y.to_numpy())
    assert trees["elevation_m"].to_numpy() == pytest.approx(z, abs=0.01)
    lines = farm.layer("rows")
    drawn = farm.ground(lines)[(lines["block"] == "contour").to_numpy()]
    for k, row in enumerate(farm.rows_of("contour")):
        own = (trees["row"] == k + 1).to_numpy()
        run = np.append(0.0, np.cumsum(np.hypot(*np.diff(row, axis=0).T)))
        length, fall = np.abs(run[:, None] - run), np.abs(z[own][:, None] - z[own])
        far = length >= min(30.0, run[-1]) - 1e-9
        assert (fall[far] / length[far]).max() <= 0.02 + 5e-4
        others = np.delete(drawn, k)
        assert min(shapely.distance(other, shapely.points(row)).min() for other in others) >= 16 * FOOT - 0.02
    gaps = [
        min(shapely.distance(other, shapely.points(row)).min() for j, other in enumerate(drawn) if j != k)
        for k, row in enumerate(farm.rows_of("contour"))
    ]
    assert max(gaps) <= 26 * FOOT


@pytest.mark.parametrize(("name", "layer", "rows"), [("guided", "terrace", 18.0), ("bentvines", "bank", 10.0)])
def test_rows_along_a_guide_keep_their_distance_to_it(farm: Farm, name: str, layer: str, rows: float) -> None:
    guide = farm.ground(farm.source(f"survey/features.gpkg:{layer}"))[0]
    ends = shapely.MultiPoint(shapely.get_coordinates(guide)[[0, -1]])
    levels = []
    for row in farm.rows_of(name):
        points = shapely.points(row)
        # beyond the guide's ends its parallels go straight on
        beside = shapely.distance(ends, points) > shapely.distance(guide, points) + 0.01
        away = shapely.distance(guide, points[beside])
        if beside.sum() > 1:
            assert np.ptp(away) < 0.02
            levels.append(away.mean())
    assert len(levels) > 8
    apart = np.array(levels)[:, None] / FOOT
    close = np.abs(apart - apart.T) % rows
    mirrored = np.abs(apart + apart.T) % rows  # rows on the other side of the guide
    near = np.minimum(np.minimum(close, rows - close), np.minimum(mirrored, rows - mirrored))
    assert near.max() < 0.06


def posts_of(farm: Farm, name: str) -> tuple[Any, np.ndarray]:
    posts = farm.layer("posts")
    own = (posts["block"] == name).to_numpy()
    return posts[own], shapely.get_coordinates(farm.ground(posts))[own]


@pytest.mark.parametrize("name", ["vines", "bentvines"])
def test_posts_anchors_and_wire(farm: Farm, name: str) -> None:
    """A stretch of n vines: 8 (n - 1) + 2 x 4 ft from end post to end post, ceil(that / 24) spans, 3 wires to both anchors."""
    posts, where = posts_of(farm, name)
    ends = lines = 0
    wire = 0.0
    for number, row in enumerate(farm.rows_of(name), 1):
        steps = np.hypot(*np.diff(row, axis=0).T)
        cuts = np.flatnonzero(steps > 20 * FOOT)
        for stretch in np.split(row, cuts + 1):
            long = np.hypot(*np.diff(stretch, axis=0).T).sum() + 8 * FOOT
            ends, lines = ends + 2, lines + max(ceil(long / (24 * FOOT) - 1e-3), 1) - 1
            wire += 3 * (long + 12 * FOOT)
        own = where[(posts["row"] == number).to_numpy() & (posts["kind"] == "end").to_numpy()]
        assert cKDTree(row).query(own)[0] == pytest.approx(4 * FOOT, abs=0.01)
    kinds = Counter(posts["kind"])
    assert kinds == {"end": ends, "line": lines}
    assert shapely.distance(farm.own_ground(name), shapely.points(where)).max() < 0.01
    bought = materials(farm, name)
    assert (bought["end post"], bought["line post"], bought["anchor"]) == (ends, lines, ends)
    assert bought["wire"] == pytest.approx(1.05 * wire, rel=2e-3)


def materials(farm: Farm, name: str) -> dict[str, float]:
    table = farm.layer("materials")
    own = table[[text.startswith(f"block {name}:") for text in table["where"]]]
    return dict(zip(own["item"], own["quantity"], strict=True))


def test_materials(farm: Farm) -> None:
    """A stake and a guard for every tree; of n beds 15 cu ft of mulch, 40 cu ft of soil (8 in) and 32 ft of edging each."""
    shrubs = {"vines", "bentvines", "beds", "contour"}
    for name in farm.blocks:
        found, count = materials(farm, name), len(farm.mine(name))
        wanted = {} if name in shrubs else {"tree stake": count, "trunk guard": count}
        assert {k: v for k, v in found.items() if k in ("tree stake", "trunk guard")} == wanted, name
    beds = len(farm.layer("beds"))
    found = materials(farm, "beds")
    assert found["mulch"] / FOOT**3 == pytest.approx(15 * beds)
    assert found["bed soil"] / FOOT**3 == pytest.approx(40 * beds)
    assert found["bed edging"] / FOOT == pytest.approx(32 * beds)


def test_the_order_is_the_trees_and_one_in_twenty_more(farm: Farm) -> None:
    order = farm.layer("order")
    keys = ["block", "plant", "variety", "role"]
    told = {tuple(row): (n, s) for *row, n, s in order[[*keys, "trees", "spares"]].fillna("").itertuples(index=False)}
    stand = Counter(map(tuple, farm.trees[keys].fillna("").itertuples(index=False)))
    assert {key: n for key, (n, _) in told.items()} == dict(stand)
    assert all(spares == ceil(n / 20) for n, spares in told.values())
    notes = {row.variety: row.note for row in order.itertuples() if row.role == "filler" and row.block == "wide"}
    assert notes == {"Elberta": "filler: out in year 12"}


def test_plants_stand_as_the_plan_deals_them(farm: Farm) -> None:
    by = {name: farm.block(name)[1] for name in farm.blocks}
    counted = Counter(by["counted"]["variety"])
    assert (counted["Black Tartarian"], counted["Emperor Francis"]) == (41, 13)
    assert counted["Van"] == len(by["counted"]) - 54
    # rows by turns, two and one: no row is mixed
    hedge = by["hedgerow"].groupby("row")["variety"].agg(["nunique", "first"])
    assert set(hedge["nunique"]) == {1}
    assert Counter(hedge["first"])["Golden Russet"] == pytest.approx(2 * len(hedge) / 3, abs=1)
    # every third tree of every third row
    chosen = by["offset"][by["offset"]["role"] == "pollinizer"]
    assert set(np.diff(np.unique(chosen["row"]))) == {3}
    for _, row in chosen.groupby("row"):
        assert set(np.diff(row["position"])) <= {3}
    # fillers: in a square every second place, so that what stays has sqrt 2 times the step; in a quincunx the middles
    for name, wide in (("wide", 20 * 2**0.5), ("quincunx", 28.0)):
        xy, trees = farm.block(name)
        stays = xy[(trees["role"] != "filler").to_numpy()]
        assert cKDTree(stays).query(stays, k=2)[0][:, 1].min() / FOOT == pytest.approx(wide, abs=2e-3)
        assert (trees["role"] == "filler").sum() == pytest.approx(len(trees) / 2, abs=0.12 * len(trees))


def test_pairs_stand_2_ft_apart_due_north_and_south(farm: Farm) -> None:
    _, trees = farm.block("pairs")
    where = trees.geometry.to_crs(farm.geographic)
    lon, lat = where.x.to_numpy(), where.y.to_numpy()
    azimuth, _, length = farm.geod.inv(lon[1::2], lat[1::2], lon[0::2], lat[0::2])
    assert length * farm.raised / FOOT == pytest.approx(2.0, abs=2e-3)
    assert np.abs(azimuth).max() < 0.1
    assert set(trees["variety"][0::2]) == {"Bartlett"}
    assert set(trees["variety"][1::2]) == {"Bosc"}


@pytest.mark.parametrize("name", ["offset", "contour", "pairs", "counted", "hedgerow"])
def test_distance_to_the_nearest_partner(farm: Farm, name: str) -> None:
    """Another variety of the same species, anywhere on the site; all of a species bloom together in the catalogue."""
    xy, trees = farm.block(name)
    species = str(trees["plant"].iloc[0]).split(",")[0]
    same = farm.trees["plant"].str.startswith(species + ",").fillna(value=False).to_numpy()
    kind = (farm.trees["variety"].fillna("") + "|").to_numpy()
    for variety in np.unique(kind[farm.mine(name)]):
        own = kind[farm.mine(name)] == variety
        other = farm.xy[same & (kind != variety)]
        assert trees["pollinizer_m"].to_numpy()[own] == pytest.approx(cKDTree(other).query(xy[own])[0], abs=MM)


def test_crowding_and_overlap(farm: Farm) -> None:
    """Spread over nearest distance, and half the sum of two spreads less their distance; not with the partner of a pair,
    nor of what stays with what comes out again, whose own spread is that of the last year in which it stands, of
    peaches with 95 % of their size in year 5."""
    leaves = (farm.trees["role"] == "filler").to_numpy()
    last = farm.trees["block"].map({"wide": 11, "quincunx": 9}).to_numpy(float)
    spread = farm.trees["spread_m"].to_numpy(float) * np.where(leaves, 1 - 20 ** (-np.nan_to_num(last) / 5), 1.0)
    pair = np.where((farm.trees["block"] == "pairs").to_numpy(), np.arange(len(spread)), -1)
    first = int(farm.mine("pairs")[0])
    partner = np.where(pair >= 0, first + ((np.arange(len(spread)) - first) ^ 1), -1)
    tree = cKDTree(farm.xy)
    depth, near = np.zeros(len(spread)), np.full(len(spread), np.inf)
    for k, others in enumerate(tree.query_ball_point(farm.xy, np.nanmax(spread) + 1)):
        others = np.array([j for j in others if j not in (k, partner[k])], int)
        if not len(others):
            continue
        far = np.hypot(*(farm.xy[others] - farm.xy[k]).T)
        counts = leaves[k] | ~leaves[others]
        near[k] = far[counts].min(initial=np.inf)
        year = (farm.trees["block"].to_numpy()[others] == farm.trees["block"].iloc[k]) & counts
        depth[k] = max(((spread[k] + spread[others]) / 2 - far)[year].max(initial=0.0), 0.0)
    assert farm.trees["overlap_m"].to_numpy(float) == pytest.approx(depth, abs=2 * MM)
    known = np.isfinite(near)
    assert farm.trees["crowding"].to_numpy(float)[known] == pytest.approx((spread / near)[known], rel=1e-4)


@pytest.mark.parametrize("name", ["offset", "square", "equilateral", "guided", "small", "counted"])
def test_room_is_the_voronoi_cell_under_the_canopy(farm: Farm, name: str) -> None:
    xy, trees = farm.block(name)
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(farm.xy), extend_to=farm.land.buffer(50)))
    mine = shapely.STRtree(cells).query(shapely.points(xy), predicate="intersects")
    cell = cells[mine[1][np.argsort(mine[0])]]
    radius = trees["spread_m"].to_numpy(float) / 2
    room = shapely.area(shapely.intersection(cell, shapely.buffer(shapely.points(xy), radius, quad_segs=64)))
    assert trees["room_m"].to_numpy(float) == pytest.approx(np.sqrt(4 / np.pi * room), rel=0.006)
    if name != "small":  # held to 6 ft; the others are left to grow
        load = 1 - room / (np.pi * radius**2)
        assert trees["pruning_load"].to_numpy(float) == pytest.approx(load, abs=0.012)


def test_screens_and_single_trees(farm: Farm) -> None:
    """One line: 1 + floor(l / 10 ft) plants on it; two lines 6 ft apart stand staggered, hypot(5, 6) = 7.81 ft apart."""
    line = farm.ground(farm.source("survey/features.gpkg:roadside"))[0]
    xy, _ = farm.block("hide")
    assert len(xy) == 1 + floor(line.length / (10 * FOOT))
    assert shapely.distance(line, shapely.points(xy)).max() < 2 * MM
    screens = farm.layer("screens").set_index(["block", "row"])
    assert screens["purpose"].to_dict() == {("hide", 1): "hide", ("shade", 1): "shade", ("shade", 2): "shade"}
    edge, yard = (farm.ground(farm.source(f"survey/features.gpkg:{name}"))[0] for name in ("yard_edge", "yard"))
    xy, _ = farm.block("shade")
    assert shapely.distance(edge, shapely.points(xy)) / FOOT == pytest.approx(3.0, abs=5e-3)
    assert 2 * floor(edge.length / (10 * FOOT)) <= len(xy) <= 2 * (1 + floor(edge.length / (10 * FOOT)))
    for row in (1, 2):
        own = xy[(farm.block("shade")[1]["row"] == row).to_numpy()]
        assert screens.loc[("shade", row), "yard_m"] == pytest.approx(shapely.distance(yard, shapely.LineString(own)), abs=0.01)
    given = shapely.get_coordinates(farm.ground(farm.source("survey/features.gpkg:single")))
    far, which = cKDTree(given).query(farm.block("single")[0])
    assert far.max() < MM
    assert sorted(which) == [0, 1, 2]


def test_the_report_says_what_each_spacing_asks(farm: Farm) -> None:
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", (farm.out / "report.html").read_text(encoding="utf-8")))
    for words in (
        "14.42 ft from their nearest neighbour in the next row: canopies overlap by 0.6 ft across rows (4 % of their width)",
        "more than 90 % of last year&#39;s wood comes off (Ohio State University)",
        "The fillers come out in year 12",
        "as they should to close the row",
        "60 sq ft",
    ):
        assert words in text, words
