"""Cold air on invented ground: a bowl, a valley, and what stands there."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from dem_in_memory import Memory, site_on
from setout.model import Block, Ground, Pattern, Plant, Site, Trees
from setout.stages import coldair, terrain

EARLY = Plant("apricot", species="apricot", bloom="early", frost_tenderness="bloom at risk", spread_m=4.0, height_m=4.0)
LATE = Plant("apple", species="apple", bloom="late", frost_tenderness="hardy", spread_m=4.0, height_m=4.0)


def bowl(size: int = 240) -> Any:
    """A slope of 3 % down to the south with a bowl 2 m deep in it, 60 m through."""
    y, x = np.mgrid[0:size, 0:size].astype(float)
    far = np.hypot(x - size / 2, y - size / 2)
    return 100.0 + 0.03 * (size - y) - np.where(far < 30, 2.0 * (1 - (far / 30) ** 2), 0.0)


def valley(size: int = 240) -> Any:
    """A valley down to the south, its sides 10 %, its foot 3 %."""
    y, x = np.mgrid[0:size, 0:size].astype(float)
    return 100.0 + 0.1 * np.abs(x - size / 2) + 0.03 * (size - y)


def ground_of(z: Any) -> tuple[Site, Ground]:
    dem = Memory(z)
    size = len(z)
    site = site_on(dem, (4, size - 4), (4, size - 4))
    return site, terrain.survey_ground(site, dem, max_slope=np.inf, allow_blank=False)


def planted(site: Site, plant: Plant, x: Any, y: Any, kind: str = "square", line: Any = None) -> tuple[Site, Trees]:
    block = Block("A", None, Pattern(kind, 4.0, 4.0), 0.0, (plant,), line=line)
    x, y = np.asarray(x, float), np.asarray(y, float)
    one = np.ones(len(x), np.int32)
    return replace(site, blocks=(block,)), Trees(0 * one, one, np.arange(1, len(x) + 1, dtype=np.int32), x, y, 0 * one)


def square(half: float, step: float = 4.0) -> tuple[Any, Any]:
    x, y = np.meshgrid(np.arange(-half, half + 1, step), np.arange(-half, half + 1, step))
    return x.ravel(), y.ravel()


def test_a_bowl_is_a_hollow_as_deep_as_it_stands_below_its_spill() -> None:
    """By hand, along the bowl's axis (s up the slope from its middle): the ground lies at 0.03 s - 2 (1 - (s / 30)^2), the
    spill is its southern rim at s = -30, and the hollow is as deep as the lowest place lies below that."""
    z = bowl()
    site, ground = ground_of(z)
    cold = coldair.cold_air(*_args(planted(site, EARLY, *square(20)), ground))
    assert cold is not None
    (hollow,) = cold.hollows
    s = np.linspace(-30, 30, 60_001)
    profile = 0.03 * s - 2.0 * (1 - (s / 30) ** 2)
    by_hand = float(profile[0] - profile.min())
    assert hollow.depth_m == pytest.approx(by_hand, abs=0.06)
    assert hollow.upslope_m2 > hollow.area.area
    assert hollow.area.contains(shapely.Point(0.0, -5.0))
    assert shapely.distance(hollow.spill, shapely.Point(0.0, -30.0)) < 6.0


def _args(made: tuple[Site, Trees], ground: Ground) -> tuple[Site, Ground, Trees]:
    return made[0], ground, made[1]


def test_early_plants_in_a_hollow_are_found_and_late_ones_and_those_up_the_slope_are_not() -> None:
    site, ground = ground_of(bowl())
    x, y = square(60)
    cold = coldair.cold_air(*_args(planted(site, EARLY, x, y), ground))
    assert cold is not None
    (finding,) = cold.findings
    inside = shapely.contains_xy(cold.hollows[0].area, x, y).sum()
    assert finding.code == "cold_hollow"
    assert finding.figures["plants"] == inside
    for plant, place in ((LATE, square(60)), (EARLY, (x[y > 50], y[y > 50]))):
        other = coldair.cold_air(*_args(planted(site, plant, *place), ground))
        assert other is not None
        assert not other.findings


def test_a_screen_across_a_valley_dams_it_and_one_along_it_does_not() -> None:
    site, ground = ground_of(valley())
    along = np.arange(-60.0, 61.0, 4.0)
    for x, y, dams in ((along, np.full(31, -40.0), True), (np.full(31, 45.0), along, False)):
        line = shapely.LineString(np.column_stack([x, y]))
        cold = coldair.cold_air(*_args(planted(site, LATE, x, y, "screen", line), ground))
        assert cold is not None
        assert not cold.hollows
        assert [f.code for f in cold.findings] == (["cold_air_dammed"] if dams else [])


def test_a_valley_s_way_runs_along_its_foot() -> None:
    site, ground = ground_of(valley())
    cold = coldair.cold_air(*_args(planted(site, LATE, [0.0, 4.0], [0.0, 0.0]), ground))
    assert cold is not None
    longest = max(cold.paths, key=lambda path: path.length)
    assert np.abs(shapely.get_coordinates(longest)[:, 0]).max() < 2.5
    assert longest.length > 180
    assert cold.upslope_m2.max() == pytest.approx(240 * 240, rel=0.12)


def test_nothing_is_looked_at_without_plants_or_a_dem() -> None:
    site, ground = ground_of(valley())
    nameless = Plant("", spread_m=4.0)
    assert coldair.cold_air(*_args(planted(site, nameless, [0.0], [0.0]), ground)) is None
    none = terrain.survey_ground(site, None, max_slope=np.inf, allow_blank=False)
    assert coldair.cold_air(*_args(planted(site, EARLY, [0.0], [0.0]), none)) is None


def test_a_large_dem_is_looked_at_in_few_cells() -> None:
    z = np.kron(valley(260), np.ones((4, 4)))
    site, ground = ground_of(z)
    cold = coldair.cold_air(*_args(planted(site, LATE, [0.0, 4.0], [0.0, 0.0]), ground))
    assert cold is not None
    assert cold.cell_m >= np.sqrt(z.size / coldair.MOST_CELLS)
