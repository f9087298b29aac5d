"""Rows that are not straight, in whole plans over an invented DEM: step, distance, ground, fall and row distance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from invented import Property, Sheet, field, hills, objects, plan_of
from setout.errors import SetoutError
from setout.geometry.lines.parallels import prolonged
from setout.model import Bed, Block, Pattern
from setout.stages import curve
from setout.words.findings import told
from setout.words.refusals import in_words

FOOT = 0.3048
UTM = CRS.from_epsg(32610)


def planned(block: dict[str, Any], seed: int = 5) -> Any:
    x, y = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    dem = Sheet(hills(seed, size=300), (1.0, 0.0, x - 150, 0.0, -1.0, y + 150), UTM)
    line = shapely.LineString([(-70, -30), (-20, -10), (20, -18), (70, 5)])
    prop = Property(field(3, 230.0), {"line": objects(line), "well": objects(shapely.Point(20, 30))}, {})
    limits = {"setback": [{"from": "well", "distance": "30 ft"}], "ground": {"max_slope": "20 %"}}
    return plan_of(prop.survey(UTM, dem), {"name": "A"} | block, **limits)


GUIDE = {"pattern": "rectangular", "step": "14 ft", "row_distance": "18 ft", "direction": "guide:line"}
CONTOUR = {"pattern": "contour rows", "step": "12 ft", "row_distance": "14 ft", "row_distance_max": "24 ft", "fall": {"most": "4 %"}}
SCREEN = {"pattern": "screen", "step": "10 ft", "line": "line", "purpose": "hide"}


@pytest.mark.parametrize("block", [GUIDE, CONTOUR, SCREEN], ids=["guide", "contour", "screen"])
def test_what_holds_for_straight_rows_holds_for_curved_ones(block: dict[str, Any]) -> None:
    plan = planned(block)
    points = shapely.points(plan.trees.x, plan.trees.y)
    assert len(points) >= 8
    assert shapely.distance(plan.site.boundary, points).max() <= 1e-6
    assert shapely.distance(plan.site.setbacks[0].geometry[0], points).min() >= 30 * FOOT - 1e-6
    assert plan.trees.slope_pct.max() <= 20 + 1e-4
    assert plan.trees.nearest_m.min() >= plan.site.blocks[0].pattern.nearest_m - 1e-3
    assert not [f for f in plan.findings if f.tree_id]
    assert plan.rows.trees.sum() == len(points)


def test_screen_stands_along_its_line() -> None:
    plan = planned(SCREEN)
    line = plan.site.blocks[0].line
    assert shapely.distance(line, shapely.points(plan.trees.x, plan.trees.y)).max() < 1e-6
    assert plan.trees.nearest_m.min() / FOOT == pytest.approx(10.0, abs=1e-6)


def test_contour_rows_fall_no_more_than_the_limit() -> None:
    """Fall of every row over stretches of at least 30 m, from the trees' own elevations on the DEM."""
    plan = planned(CONTOUR)
    trees, z = plan.trees, np.asarray(plan.trees.elevation_m, float)
    worst = 0.0
    for row in np.unique(trees.row):
        own = np.flatnonzero(trees.row == row)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(trees.x[own]), np.diff(trees.y[own])))])
        length = np.abs(along[:, None] - along)
        fall = np.abs(z[own][:, None] - z[own])
        long = length >= 30.0
        if long.any():
            worst = max(worst, float((fall[long] / length[long]).max()))
    assert 0 < worst <= 0.04 + 1e-3


# What the stage itself promises, looked at with other means than its own: shapely (GEOS), scipy's bilinear look-up and
# k-d tree, and closed forms.

QUICK = settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
SEEDS = st.integers(0, 300)
CONTOURS = Pattern("contour rows", 4.0, 6.0, row_distance_max_m=9.0, fall=(0.0, 0.03))


def block_of(pattern: Pattern, line: Any = None, **more: Any) -> Block:
    way = "guide" if line is not None else "contour"
    return Block("A", None, pattern, way, (), line=line, **more)


def heights_on(z: np.ndarray, x0: float, y0: float) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Bilinear look-up in 1 m cells whose upper left corner lies at (x0, y0)."""
    return lambda x, y: map_coordinates(z, [y0 - np.asarray(y) - 0.5, np.asarray(x) - x0 - 0.5], order=1, mode="constant", cval=np.nan)


def rows_of(curved: curve.Curved) -> list[np.ndarray]:
    xy = np.column_stack([curved.x, curved.y])
    return [xy[curved.row == number] for number in np.unique(curved.row)]


def look_at(curved: curve.Curved, pattern: Pattern, ground: shapely.Geometry) -> None:
    """What holds for all rows that are not straight."""
    xy = np.column_stack([curved.x, curved.y])
    assert shapely.distance(ground, shapely.points(xy)).max() == 0
    assert cKDTree(xy).query(xy, k=2)[0][:, 1].min() >= pattern.nearest_m - 1e-3
    assert np.unique(curved.row).tolist() == list(range(1, int(curved.row.max()) + 1)) == sorted(curved.row_line)
    assert (np.diff(curved.row) >= 0).all()
    for number, row in enumerate(rows_of(curved), 1):
        assert curved.position[curved.row == number].tolist() == list(range(1, len(row) + 1))
        steps = np.hypot(*np.diff(row, axis=0).T)
        assert (steps >= pattern.step_m - 1e-3).all()
        assert shapely.distance(curved.row_line[number], shapely.points(row)).max() < 0.02


def falls(row: np.ndarray, height: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> tuple[float, float]:
    """Greatest fall over any stretch of 30 m and more (of a shorter row: from end to end), and mean fall."""
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(row, axis=0).T)))
    z = height(row[:, 0], row[:, 1])
    length = along - along[:, None]
    counts = length >= min(30.0, along[-1]) - 1e-9
    rise = np.abs(z - z[:, None])[counts] / length[counts]
    return float(rise.max()), float((z[0] - z[-1]) / along[-1])


def row_distances(curved: curve.Curved) -> np.ndarray:
    """Distance of every tree from the nearest other row's line."""
    lines = np.array([curved.row_line[k] for k in sorted(curved.row_line)], object)
    points = shapely.points(curved.x, curved.y)
    near, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=30.0)
    other = line + 1 != curved.row[near]
    out = np.full(len(points), np.inf)
    np.minimum.at(out, near[other], shapely.distance(points[near[other]], lines[line[other]]))
    return out[np.isfinite(out)]


def look_at_contours(curved: curve.Curved, pattern: Pattern, ground: shapely.Geometry, height: Callable[..., np.ndarray]) -> None:
    look_at(curved, pattern, ground)
    rows = rows_of(curved)
    assert min(map(len, rows)) >= 3
    assert max(falls(row, height)[0] for row in rows) <= pattern.fall[1]
    apart = row_distances(curved)
    assert apart.min() >= 0.98 * pattern.row_distance_m
    assert pattern.row_distance_m - 0.02 <= np.median(apart) <= pattern.row_distance_max_m
    assert (apart <= pattern.row_distance_max_m).mean() > 0.9
    mean = [height(*row.T).mean() for row in rows]
    assert (np.diff(mean) >= -2e-3).all()


@QUICK
@given(SEEDS, st.sampled_from([0.02, 0.03, 0.05]))
def test_contour_rows_on_hills(seed: int, most: float) -> None:
    height, ground = heights_on(hills(seed, size=300), -150.0, 150.0), field(seed, 200.0)
    pattern = replace(CONTOURS, fall=(0.0, most))
    curved = curve.rows_along(block_of(pattern), ground, height)
    look_at_contours(curved, pattern, ground, height)
    assert len(curved) > 0.6 * ground.area / 24


@pytest.mark.realdata
@pytest.mark.parametrize(("seed", "most"), [(1, 0.03), (2, 0.02), (4, 0.05)])
def test_contour_rows_on_a_real_dtm(testdata, seed: int, most: float) -> None:
    """1 m DTM of a town quarter (momepy's bubenec.gpkg), roads and banks and all; the fall read from its own cells."""
    with rasterio.open(testdata("momepy", "momepy/datasets/bubenec.gpkg")) as raster:
        z = raster.read(1, masked=True).filled(np.nan).astype(float)
    height = heights_on(z, -z.shape[1] / 2, z.shape[0] / 2)
    ground, pattern = field(seed, 330.0), replace(CONTOURS, fall=(0.0, most))
    curved = curve.rows_along(block_of(pattern), ground, height)
    look_at_contours(curved, pattern, ground, height)
    assert len(curved) > 0.55 * ground.area / 24


def test_contour_rows_on_a_plane_are_straight_level_and_one_distance_apart() -> None:
    ground = shapely.Polygon([(-70, -60), (80, -50), (60, 70), (-50, 60)])
    curved = curve.rows_along(block_of(CONTOURS), ground, lambda x, y: 0.06 * x + 0.08 * y)
    look_at(curved, CONTOURS, ground)
    rows = rows_of(curved)
    across = [float((row @ np.array([0.6, 0.8])).mean()) for row in rows]
    assert max(np.ptp(row @ np.array([0.6, 0.8])) for row in rows) < 1e-3
    assert np.diff(across) == pytest.approx(6.0, abs=2e-3)
    assert all(row[-1, 0] > row[0, 0] for row in rows)  # the higher ground is on the left hand
    assert not curved.findings


def test_contour_rows_round_a_cone_are_rings() -> None:
    """Closed form: level lines are circles; n chords of 4 m close round a circle of radius r if n <= pi / asin(2 / r)."""
    hole = shapely.Point(0, 0).buffer(20)
    ground = shapely.box(-90, -90, 90, 90).difference(hole)
    curved = curve.rows_along(block_of(CONTOURS), ground, lambda x, y: 20 - 0.12 * np.hypot(x, y))
    look_at_contours(curved, CONTOURS, ground, lambda x, y: 20 - 0.12 * np.hypot(x, y))
    rings = [row for row in rows_of(curved) if np.hypot(*row.T).max() < 85]
    assert len(rings) >= 9
    for ring in rings:
        radius = np.hypot(*ring.T)
        assert np.ptp(radius) < 1.0
        assert len(ring) in (most := int(np.pi / np.arcsin(2 / radius.mean())), most - 1)


def test_rows_with_a_least_fall_all_fall_the_way_they_are_walked() -> None:
    def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 0.09 * np.asarray(y) + 0.0004 * np.asarray(x) ** 2

    ground, pattern = field(9, 260.0), replace(CONTOURS, fall=(0.002, 0.03))
    curved = curve.rows_along(block_of(pattern), ground, height)
    look_at(curved, pattern, ground)
    measured = np.array([falls(row, height) for row in rows_of(curved)])
    size = np.array([len(row) for row in rows_of(curved)])
    assert measured[:, 0].max() <= 0.03
    # nearly all trees stand in rows that fall by 0.2 % and more; the finding counts the others
    assert size[np.abs(measured[:, 1]) >= 0.002].sum() > 0.97 * size.sum()
    assert size[measured[:, 1] >= 0.002].sum() > 0.9 * size.sum()
    few = int((np.abs(measured[:, 1]) < 0.002).sum())
    small = [(f.figures["n"], f.figures["of"]) for f in curved.findings if f.code == "row_fall_small"]
    assert small == ([(few, len(size))] if few else [])


@pytest.mark.parametrize("way", ["contour", "guide"])
def test_same_ground_same_rows_whatever_the_order_and_place(way: str) -> None:
    parts = [field(4, 150.0), shapely.affinity.translate(field(5, 120.0, hole=False), 160.0, 20.0)]
    height = heights_on(hills(4, size=500), -250.0, 250.0)
    line = shapely.LineString([(-60, -20), (0, 10), (90, 0)]) if way == "guide" else None
    pattern = CONTOURS if way == "contour" else Pattern("square", 5.0, 5.0)
    one = curve.rows_along(block_of(pattern, line), shapely.MultiPolygon(parts), height)
    turned = shapely.MultiPolygon([shapely.Polygon(p.exterior.coords[::-1], p.interiors) for p in parts[::-1]])
    other = curve.rows_along(block_of(pattern, line and shapely.reverse(line)), turned, height)
    np.testing.assert_array_equal(one.x, other.x)
    np.testing.assert_array_equal(one.row, other.row)
    moved = curve.rows_along(
        block_of(pattern, line and shapely.affinity.translate(line, 1024.0, -512.0)),
        shapely.affinity.translate(shapely.MultiPolygon(parts), 1024.0, -512.0),
        lambda x, y: height(np.asarray(x) - 1024.0, np.asarray(y) + 512.0),
    )
    assert len(moved) == len(one)
    np.testing.assert_allclose(moved.x - 1024.0, one.x, atol=0.01)
    np.testing.assert_allclose(moved.y + 512.0, one.y, atol=0.01)


@QUICK
@given(SEEDS, st.sampled_from([("square", 5.0, 5.0, 0.0), ("rectangular", 4.0, 6.0, 0.0), ("offset", 4.8768, 3.6576, 0.5)]))
def test_guide_rows_keep_step_distance_and_ground(seed: int, given_pattern: tuple[str, float, float, float]) -> None:
    rng = np.random.default_rng(seed)
    ground = field(seed, 180.0)
    bends = np.column_stack([np.linspace(-80, 80, 5), rng.uniform(-30, 30, 5)])
    line, pattern = shapely.LineString(bends), Pattern(*given_pattern)
    curved = curve.rows_along(block_of(pattern, line), ground, None)
    look_at(curved, pattern, ground)
    longer = shapely.LineString(prolonged(bends, 400.0))
    away = shapely.distance(longer, shapely.points(curved.x, curved.y))
    # every row at one distance from the guide, and these a row distance apart on either side of it
    rows = [away[curved.row == k] for k in np.unique(curved.row)]
    assert max(np.ptp(row) for row in rows) < 0.02
    phase = np.array([row.mean() for row in rows]) % pattern.row_distance_m
    first = phase[0]
    wrapped = np.abs(
        (np.stack([phase - first, phase + first]) + pattern.row_distance_m / 2) % pattern.row_distance_m - pattern.row_distance_m / 2
    ).min(axis=0)
    assert wrapped.max() < 0.02
    apart = row_distances(curved)
    assert apart.min() >= pattern.row_distance_m - 2e-3 or len({round(row.mean(), 2) for row in rows}) < len(rows)


def test_a_straight_guide_gives_the_rows_counted_by_hand() -> None:
    """100 m by 60 m of free ground, trees every 5 m: 12 rows (59.988 m across hold 11 gaps of 5 m and 4.988 m), of 20 trees."""
    ground = shapely.box(-50, -30, 50, 30)
    curved = curve.rows_along(block_of(Pattern("square", 5.0, 5.0), shapely.LineString([(-30, 1), (30, 1)])), ground, None)
    assert (int(curved.row.max()), len(curved)) == (12, 240)
    first = curved.row == 1
    assert curved.y[first] == pytest.approx(curved.y.max())  # row 1 is on the left hand
    assert np.diff(curved.x[first]) == pytest.approx(5.0)
    assert curved.x[first].mean() == pytest.approx(0.0, abs=0.02)
    head = curve.rows_along(block_of(Pattern("square", 5.0, 5.0, headland_m=8.0), shapely.LineString([(-30, 1), (30, 1)])), ground, None)
    assert len(head) == 12 * (int((99.988 - 16) / 5) + 1)


def test_rows_bend_with_a_curved_guide_and_keep_the_chord() -> None:
    """Round a guide of radius 60 m rows are circles; neighbours stand a straight 4 m apart, so 4.0007 m along the bend."""
    angle = np.linspace(-1.2, 1.2, 200)
    line = shapely.LineString(60 * np.column_stack([np.sin(angle), -np.cos(angle)]))
    ground = shapely.Polygon(
        np.vstack([90 * np.column_stack([np.sin(angle), -np.cos(angle)]), 30 * np.column_stack([np.sin(angle), -np.cos(angle)])[::-1]])
    )
    curved = curve.rows_along(block_of(Pattern("rectangular", 4.0, 6.0), line), ground, None)
    for row in rows_of(curved):
        radius = np.hypot(*row.T)
        assert np.ptp(radius) < 0.02
        assert np.hypot(*np.diff(row, axis=0).T) == pytest.approx(4.0, abs=1e-3)
        assert len(row) == pytest.approx(2.4 / (2 * np.arcsin(2 / radius.mean())), abs=1.2)
    assert -np.diff([np.hypot(*row.T).mean() for row in rows_of(curved)]) == pytest.approx(-6.0, abs=2e-3)


def test_alleys_part_guide_rows() -> None:
    pattern = Pattern("square", 5.0, 5.0, alley_every=3, alley_width_m=9.0)
    ground = shapely.box(-50, -40, 50, 40)
    curved = curve.rows_along(block_of(pattern, shapely.LineString([(-30, 1), (30, 1)])), ground, None)
    gaps = -np.diff([row[0, 1] for row in rows_of(curved)]).round(6)
    assert set(gaps) == {5.0, 9.0}
    assert (np.diff(np.flatnonzero(gaps == 9.0)) == 3).all()


def test_double_hedgerow_stays_staggered_round_a_bend() -> None:
    """Two lines 0.9 m apart at a step of 1.2 m: nearest hypot(0.6, 0.9) = 1.0817 m, and both lines hold alike many."""
    pattern = Pattern("hedgerow", 1.2, 4.0, lines=2, line_distance_m=0.9)
    angle = np.linspace(0.3, 2.8, 100)
    ground = shapely.box(-25, 5, 25, 40)
    line = shapely.LineString(25 * np.column_stack([-np.cos(angle), np.sin(angle)]))
    curved = curve.rows_along(block_of(pattern, line), ground, None)
    look_at(curved, pattern, ground)
    assert pattern.nearest_m == pytest.approx(1.0817, abs=1e-4)
    assert len(curved) > 0.85 * 2 * ground.area / (1.2 * 4.0)


SCREEN_OF = {"kind": "screen", "step_m": 3.048, "row_distance_m": 3.048}


def test_screen_counted_by_hand() -> None:
    """100 ft at 10 ft: 11 plants. A second line 6 ft beside it stands in the gaps: 10 more, hypot(5, 6) = 7.81 ft apart."""
    line = shapely.LineString([(0, 0), (100 * FOOT, 0)])
    ground = shapely.box(-20, -20, 60, 20)
    one = curve.rows_along(block_of(Pattern(**SCREEN_OF), line), ground, None)
    assert len(one) == 11
    (finding,) = one.findings
    assert (finding.code, told(finding, "us").measured) == ("screen_length", "100 ft of 100 ft")
    two = curve.rows_along(block_of(Pattern(**SCREEN_OF, lines=2, line_distance_m=6 * FOOT), line), ground, None)
    assert [len(row) for row in rows_of(two)] == [11, 10]
    xy = np.column_stack([two.x, two.y])
    assert cKDTree(xy).query(xy, k=2)[0][:, 1] / FOOT == pytest.approx(7.8102, abs=1e-4)
    assert rows_of(two)[0][:, 1] == pytest.approx(3 * FOOT, abs=1e-3)  # line 1 is on the left hand
    assert [f.code for f in two.findings] == ["screen_length"]


def test_screen_says_where_it_has_a_gap() -> None:
    line = shapely.LineString([(0, 0), (60, 0)])
    ground = shapely.box(-5, -5, 65, 5).difference(shapely.box(20, -6, 32, 6))
    block = block_of(Pattern("screen", 3.0, 3.0), line, purpose="shade", yard=shapely.box(0, 5, 60, 30))
    curved = curve.rows_along(block, ground, None)
    left, right = curved.x[curved.x < 20], curved.x[curved.x > 32]
    assert (len(left), len(right)) == (int(19.994 / 3) + 1, int(27.994 / 3) + 1)
    length, gap = curved.findings
    wide = right.min() - left.max()
    assert gap.code == "screen_gap"
    assert gap.figures["gap_m"] == pytest.approx(wide)
    assert shapely.get_coordinates(gap.geometry)[:, 0] == pytest.approx([left.max(), right.min()])
    assert (length.figures["covered_m"], length.figures["line_m"]) == (pytest.approx(60 - wide), 60.0)
    assert "screen to shade: " in told(length, "si").message


@pytest.mark.parametrize(
    ("block", "height", "what", "remedy"),
    [
        (block_of(CONTOURS), None, "no DEM", "dem ="),
        (block_of(CONTOURS), lambda x, y: 0.001 * np.asarray(x), "level", "longest side"),
        (block_of(CONTOURS), lambda x, y: np.full(np.shape(x), np.nan), "the DEM has none", "covers the block"),
        (block_of(replace(CONTOURS, lines=2, line_distance_m=1.0)), lambda x, y: 0.1 * x, "one line", "lines = 1"),
        (block_of(Pattern("square", 5.0, 5.0), shapely.LineString([(900, 0), (950, 10)])), None, "from its ground", "along or across"),
        (replace(block_of(CONTOURS), direction="guide"), None, "there is none", "guide:"),
        (block_of(Pattern("screen", 3.0, 3.0), shapely.LineString([(300, 0), (350, 0)])), None, "none of the screen", "move the line"),
        (replace(block_of(Pattern("screen", 3.0, 3.0)), direction="guide"), None, "there is none", "line ="),
        (block_of(Pattern("bed", 3.0, 5.0, bed=Bed(3.0, 2.0, 1.0, 0.1)), shapely.LineString([(0, 0), (9, 9)])), None, "beds", "straight"),
    ],
)
def test_what_cannot_be_laid_is_refused_with_a_remedy(block: Block, height: Any, what: str, remedy: str) -> None:
    with pytest.raises(SetoutError, match=what) as refused, in_words("si"):
        curve.rows_along(block, field(1, 100.0), height)
    (fault,) = refused.value.faults
    assert remedy in fault.remedy
    assert fault.where == "block A"


def test_what_is_doubtful_is_a_finding() -> None:
    ground = shapely.box(-60, -60, 60, 60)
    parts = shapely.MultiLineString([[(-50, 0), (-10, 0)], [(0, 1), (50, 1)]])
    joined = curve.rows_along(block_of(Pattern("square", 5.0, 5.0), parts), ground, None)
    assert [f.code for f in joined.findings] == ["guide_joined"]
    assert joined.findings[0].figures["gap_m"] == pytest.approx(np.hypot(10, 1))
    short = curve.rows_along(block_of(Pattern("square", 5.0, 5.0), shapely.LineString([(-50, 0), (-40, 0)])), ground, None)
    assert [f.code for f in short.findings] == ["guide_short"]
    angle = np.linspace(-0.9, 0.9, 40)
    arc = shapely.LineString(70 * np.column_stack([np.sin(angle), 0.9 - np.cos(angle)]))
    bent = curve.rows_along(block_of(Pattern("offset", 5.0, 4.33, 0.5), arc), ground, None)
    assert "steps_stretched" in [f.code for f in bent.findings]
    alley = replace(CONTOURS, alley_every=4, alley_width_m=12.0)
    plane = curve.rows_along(block_of(alley), ground, lambda x, y: 0.08 * y)
    assert [f.code for f in plane.findings] == ["alley_left_out"]
