"""Growth year by year and the year's work: layers, the grower's own pairs, fillers, both hemispheres."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

import setout
from farm import Farm, write_survey
from setout.errors import SetoutError
from setout.tables.chores import JOBS, SHORT_MONTHS, chores

FOOT = 0.3048
PLUM = {"plant": "Japanese plum", "growth": [{"year": 2, "spread": "4 ft"}, {"year": 6, "spread": "12 ft"}]}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sound")
    write_survey(folder)
    return folder


@pytest.fixture
def farm(tmp_path: Path, sound: Path) -> Farm:
    return Farm(tmp_path, sound)


def planned(farm: Farm, **block: Any) -> tuple[Any, Path]:
    farm.sections["block"] = [{"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south", **block}]
    out = farm.folder / "out"
    return setout.plan(farm.write(height_limit=None), out, products=("geopackage", "report")), out / "plan.gpkg"


def test_a_tree_has_95_percent_of_its_size_in_the_year_of_full_size(farm: Farm) -> None:
    """The documented curve, size(age) = full (1 - 20^(-age / years)), against the catalogue's own figures."""
    planting, gpkg = planned(farm, plants=[{"plant": "apple, semi-dwarf"}])
    plant = planting.site.blocks[0].plants[0]
    grown = gpd.read_file(gpkg, layer="growth").set_index("year")
    full = int(plant.years_to_full_size)
    assert grown.spread_m[full] == pytest.approx(0.95 * plant.natural_spread_m, rel=1e-6)
    assert grown.height_m[full] == pytest.approx(0.95 * plant.natural_height_m, rel=1e-6)
    assert grown.spread_m[1] == pytest.approx(plant.natural_spread_m * (1 - 20 ** (-1 / full)), rel=1e-6)
    assert (grown.trees == len(planting.trees)).all()


def test_the_growers_own_pairs_are_gone_through_in_straight_lines(farm: Farm) -> None:
    _, gpkg = planned(farm, plants=[PLUM])
    grown = gpd.read_file(gpkg, layer="growth").set_index("year")
    assert np.allclose(grown.spread_m[[1, 2, 4, 6, 9]], np.array([2, 4, 8, 12, 12]) * FOOT)
    assert (np.diff(grown.height_m) >= -1e-12).all()
    # the alley closes as the canopies grow: rows 16 ft apart less one spread
    assert np.allclose(grown.clear_alley_m, 16 * FOOT - grown.spread_m)
    assert (np.diff(grown.cover) >= -1e-9).all()


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ([{"year": 3, "spread": "8 ft"}, {"year": 5, "spread": "6 ft"}], "shrinks from year 3 to 5"),
        ([{"year": 5, "spread": "6 ft"}, {"year": 3, "spread": "8 ft"}], "year 3 stands after year 5"),
        ([{"year": 3, "spread": "8"}], "has no unit"),
        ([{"years": 3, "spread": "8 ft"}], 'did you mean "year"'),
    ],
)
def test_pairs_that_no_plant_grows_by_are_faults(farm: Farm, pairs: list[Any], said: str) -> None:
    with pytest.raises(SetoutError) as caught:
        planned(farm, plants=[{"plant": "apple, semi-dwarf", "growth": pairs}])
    assert said in "\n".join(map(str, caught.value.faults))


def test_held_plants_stop_growing_where_they_are_held(farm: Farm) -> None:
    _, gpkg = planned(farm, plants=[{"plant": "apple, semi-dwarf"}], held_to="8 ft")
    grown = gpd.read_file(gpkg, layer="growth")
    assert grown.spread_m.max() == pytest.approx(8 * FOOT)
    assert grown.height_m.max() == pytest.approx(8 * FOOT)


def test_fillers_are_out_from_their_year_on(farm: Farm) -> None:
    plants = [{"plant": "pecan"}, {"plant": "apple, semi-dwarf", "role": "filler", "remove_year": 8}]
    _, gpkg = planned(farm, pattern="square", step="20 ft", plants=plants)
    grown = gpd.read_file(gpkg, layer="growth")
    filler = grown[grown.plant == "apple, semi-dwarf"].set_index("year")
    assert (filler.trees[filler.index < 8] > 0).all()
    assert (filler.trees[filler.index >= 8] == 0).all()
    assert (filler.spread_m[filler.index >= 8] == 0).all()
    assert (grown[grown.plant != "apple, semi-dwarf"].trees > 0).all()


def test_without_sizes_there_is_no_growth_and_no_work(farm: Farm) -> None:
    _, gpkg = planned(farm, spread="4 m", height="4 m")
    names = set(gpd.list_layers(gpkg).name)
    assert "growth" not in names
    assert "work" not in names


def test_the_work_by_month_is_the_work_of_the_year(farm: Farm) -> None:
    planting, gpkg = planned(farm, plants=[{"plant": "apple, semi-dwarf"}])
    work = gpd.read_file(gpkg, layer="work")
    hours = work.groupby("job").hours.sum()
    number = len(planting.trees)
    assert hours["pruning"] == pytest.approx(planting.rooms[0].hours_per_year)
    # the table's own rates, which it marks as from memory: 0.10 h of mulching, 0.04 h of checks a tree
    assert hours["mulching"] == pytest.approx(0.10 * number)
    assert hours["watering checks"] == pytest.approx(0.04 * number)
    months = work[work.job == "thinning"].set_index("month").hours
    assert months[months > 0].index.tolist() == [5, 6]
    page = (gpkg.parent / "report.html").read_text(encoding="utf-8")
    assert "The year&#39;s work" in page or "The year's work" in page
    assert "from memory" in page


def test_south_of_the_equator_the_year_is_turned_by_six_months() -> None:
    from setout.model import Block, BlockRoom, Pattern, Plant, Trees
    from setout.stages.calendar import calendar_of

    nan, one = float("nan"), np.ones(10, np.int32)
    block = Block("A", None, Pattern("square", 5.0, 5.0), 0.0, (Plant("apple", species="apple", height_m=3.0),))
    trees = Trees(0 * one, one, one, np.arange(10.0), np.zeros(10), 0 * one)
    room = BlockRoom(0, 10, 5.0, 4.0, 0.8, 0.0, 0.0, 5.0, 0.0, 5.0, 1.0, None, ())
    north, south = ({w.job: w for w in calendar_of([block], trees, [room], south=turned, watered=True)} for turned in (False, True))
    for job, line in north.items():
        assert np.allclose(np.roll(line.by_month, 6), south[job].by_month)
        assert sum(line.by_month) == pytest.approx(line.hours)
    unknown = BlockRoom(0, 10, 5.0, nan, nan, nan, 0.0, nan, nan, nan, nan, None, ())
    (pruning,) = [w for w in calendar_of([block], trees, [unknown], south=False, watered=False) if w.job == "pruning"]
    assert np.isnan(pruning.hours)
    assert pruning.by_month == ()


def test_every_line_of_the_table_of_work_says_that_it_is_from_memory() -> None:
    for chore in chores():
        assert chore.source.startswith("from memory")
        assert chore.job in JOBS
        assert sum(chore.months) == pytest.approx(1)
        assert len(chore.months) == len(SHORT_MONTHS)


def test_varieties_that_grow_alike_are_one_line_a_year(farm: Farm) -> None:
    plants = [{"plant": "apple, semi-dwarf", "variety": name} for name in ("early", "late")]
    planting, gpkg = planned(farm, plants=plants)
    grown = gpd.read_file(gpkg, layer="growth")
    assert not grown.duplicated(["block", "plant", "year"]).any()
    assert (grown.trees == len(planting.trees)).all()
