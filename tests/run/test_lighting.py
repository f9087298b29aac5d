"""Light in whole plans: columns, findings, what throws shade, and what cannot be used."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS

from invented import Property, Sheet, objects, plan_of
from setout.errors import SetoutError

UTM = CRS.from_epsg(26910)
FIELD = shapely.box(-60, -60, 60, 60)
SIZED = {"name": "A", "pattern": "square", "step": "5 m", "direction": "north-south", "spread": "4 m", "height": "4 m"}
JUNE = {"days": ["06-21"]}


def planned(block: Any = SIZED, layers: Any = None, columns: Any = None, dem: Any = None, **sections: Any) -> Any:
    prop = Property(FIELD, layers or {}, columns or {})
    return plan_of(prop.survey(UTM, dem), block, **sections)


def test_every_tree_has_its_light_and_the_halves_add_up() -> None:
    plan = planned(light=JUNE)
    facts = plan.trees
    assert plan.light is not None
    assert plan.light.days.date == ("2026-06-21",)
    for name in ("sun_h", "sun_am_h", "sun_pm_h", "sun_open_h"):
        assert np.isfinite(getattr(facts, name)).all()
    assert facts.sun_am_h + facts.sun_pm_h == pytest.approx(facts.sun_h, abs=1e-5)
    middle = np.hypot(plan.trees.x, plan.trees.y) < 20
    edge = np.hypot(plan.trees.x, plan.trees.y) > 75
    assert facts.sun_h[middle].max() <= facts.sun_h.min() + 0.05
    assert np.median(facts.sun_h[middle]) < np.median(facts.sun_h[edge]) - 1.0


def test_without_sizes_nothing_is_reckoned_and_only_who_asks_is_told() -> None:
    bare = {key: value for key, value in SIZED.items() if key not in ("spread", "height")}
    plan = planned(bare)
    assert plan.light is None
    assert plan.trees.sun_h is None
    assert not [f for f in plan.findings if f.code.startswith("light")]
    asked = planned(bare, light={"compute": "always"})
    (finding,) = (f for f in asked.findings if f.code == "light_unknown")
    assert finding.figures["blocks"] == ("A",)


def test_never_means_never() -> None:
    assert planned(light={"compute": "never"}).light is None


def test_a_barn_takes_the_morning_from_the_trees_west_of_it() -> None:
    layers = {"barn": objects(shapely.box(62, -20, 75, 20))}
    free = planned(light=JUNE)
    for columns, height in (({"barn": {"height_ft": np.array([40.0])}}, None), ({}, "40 ft")):
        shade = {"from": "barn"} | ({"height": height} if height else {})
        plan = planned(layers=layers, columns=columns, light=JUNE, shade=[shade])
        loss = free.trees.sun_am_h - plan.trees.sun_am_h
        near = (plan.trees.x > 45) & (np.abs(plan.trees.y) < 15)
        far = plan.trees.x < -30
        assert loss[near].min() > 0.5
        assert np.abs(loss[far]).max() < 0.1
        assert (plan.trees.sun_pm_h <= free.trees.sun_pm_h + 1e-5).all()


def test_existing_trees_throw_shade_and_need_a_spread() -> None:
    layers = {"oaks": objects(shapely.Point(65, 0), shapely.Point(66, 12))}
    columns = {"oaks": {"height_m": np.array([15.0, np.nan])}}
    plan = planned(layers=layers, columns=columns, light=JUNE, shade=[{"from": "oaks", "spread": "40 ft"}])
    (finding,) = (f for f in plan.findings if f.code == "shade_without_height")
    assert (finding.figures["n"], finding.figures["of"]) == (1, 2)
    free = planned(light=JUNE)
    near = (plan.trees.x > 50) & (np.abs(plan.trees.y) < 6)
    assert (plan.trees.sun_am_h < free.trees.sun_am_h - 0.3)[near].all()
    with pytest.raises(SetoutError, match="needs its spread") as caught:
        planned(layers=layers, columns=columns, shade=[{"from": "oaks"}])
    assert "spread_ft" in str(caught.value)


@pytest.mark.parametrize(
    ("shade", "columns", "said"),
    [
        ({}, {}, r'shade\[1\]: barn: nothing there has a height.*write height = "20 ft"'),
        ({}, {"height_ft": np.array(["tall"], object)}, "barn: height_ft, feature 1"),
        ({}, {"height_m": np.array([-3.0])}, "is not a height above zero"),
        ({"height": "tall"}, {}, r"shade\[1\].height"),
        ({"height": "2000 ft"}, {}, r"shade\[1\].height: 609.6 m is out of bounds"),
        ({"height": 20}, {}, "has no unit"),
        ({"height": "20 ft", "hight": "3 ft"}, {}, "did you mean"),
    ],
)
def test_buildings_that_cannot_be_used(shade: Any, columns: Any, said: str) -> None:
    with pytest.raises(SetoutError, match=said):
        planned(layers={"barn": objects(shapely.box(62, -20, 75, 20))}, columns={"barn": columns}, shade=[{"from": "barn", **shade}])


@pytest.mark.parametrize(
    ("light", "said"),
    [
        ({"days": ["31-12"]}, "is not a day"),
        ({"days": ["02-30"]}, 'write a day as "06-21"'),
        ({"days": 5}, "is not a day"),
        ({"season": ["Apr"]}, "first and a last month"),
        ({"season": ["Apr", "Brumaire"]}, "is not a month"),
        ({"year": 0}, "at least 1"),
        ({"compute": "allways"}, "always"),
        ({"dais": ["06-21"]}, 'did you mean "days"'),
    ],
)
def test_light_that_cannot_be_read(light: Any, said: str) -> None:
    with pytest.raises(SetoutError, match=said):
        planned(light=light)


def test_a_hill_to_the_west_takes_the_evening() -> None:
    """A wall of land 40 m high, 100 m west of the field: the land's own loss shows in the open hours."""
    x = np.tile(np.arange(600.0), (400, 1))
    z = np.where(x < 140, 40.0, 0.0) + 100.0
    lon, lat = -121.3, 44.2
    from pyproj import Transformer

    east, north = Transformer.from_crs(4326, UTM, always_xy=True).transform(lon, lat)
    dem = Sheet(z, (1.0, 0.0, east - 300.0, 0.0, -1.0, north + 200.0), UTM)
    plan = planned(dem=dem, light=JUNE)
    free = planned(light=JUNE)
    assert (plan.trees.sun_open_h < free.trees.sun_open_h - 0.5).all()
    west = plan.trees.x < -45
    east_side = plan.trees.x > 45
    assert plan.trees.sun_open_h[west].mean() < plan.trees.sun_open_h[east_side].mean() - 0.2
    assert plan.trees.sun_am_h == pytest.approx(free.trees.sun_am_h, abs=0.35)
    assert (plan.trees.sun_h <= plan.trees.sun_open_h + 1e-4).all()


def test_young_plants_have_more_sun() -> None:
    block = {"name": "A", "pattern": "square", "step": "12 ft", "direction": "north-south", "plants": [{"plant": "apple, semi-dwarf"}]}
    young, grown = planned(block, light={**JUNE, "year": 3}), planned(block, light=JUNE)
    assert np.median(young.trees.sun_h) > np.median(grown.trees.sun_h) + 1.0
    assert young.light.year == 3
