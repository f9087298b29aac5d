"""What a grower gets wrong in planting systems: each is a fault or a finding, and says what mends it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, objects, plan_of
from setout.errors import SetoutError
from setout.planfile import parse_plan
from setout.run import plan_site
from setout.tables import catalogue
from setout.words.findings import told

UTM = CRS.from_epsg(32610)
LINES = {
    "line": objects(shapely.LineString([(-70, -30), (70, 5)])),
    "far": objects(shapely.LineString([(900, 900), (1000, 950)])),
    "edge": objects(shapely.LineString([(130, -50), (130, 50)])),
    "points": objects(shapely.Point(5, 5), shapely.Point(800, 800)),
    "tiny": objects(shapely.box(-2, -1, 1, 1)),
    "slim": objects(shapely.box(-40, -0.8, 40, 0.8)),
}
FIELD = Property(shapely.box(-100, -80, 100, 80), LINES, {})
BLOCK: dict[str, Any] = {"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south"}
BED: dict[str, Any] = {"name": "G", "pattern": "bed", "row_distance": "10 ft", "bed": {"length": "16 ft", "width": "6 ft"}}
CONTOUR: dict[str, Any] = {"name": "C", "pattern": "contour rows", "step": "16 ft", "row_distance": "20 ft"}
TWO = [{"plant": "apple, semi-dwarf", "variety": "X"}, {"plant": "apple, semi-dwarf", "variety": "Y", "role": "pollinizer"}]


def shares(*values: Any, key: str = "share") -> list[dict[str, Any]]:
    return [plant | {key: value} for plant, value in zip(TWO, values, strict=True)]


def slope() -> Sheet:
    """A plane that falls 6 % to the east, in 4 m cells."""
    x, y = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    z = 200 - 0.06 * 4.0 * np.tile(np.arange(70.0), (60, 1))
    return Sheet(z, (4.0, 0.0, x - 140, 0.0, -4.0, y + 120), UTM)


FAULTS: dict[str, tuple[dict[str, Any], str, str]] = {
    "percentages short of the whole": (BLOCK | {"plants": shares("60 %", "30 %")}, "add up to 90 %, not 100 %", "mend them"),
    "fractions short of the whole": (BLOCK | {"plants": shares(0.5, 0.3)}, "add up to 0.8, not 1", "whole numbers of parts"),
    "percentages and parts": (BLOCK | {"plants": shares("60 %", 2)}, "percentages and numbers of parts", "the one way"),
    "a share without its sign": (BLOCK | {"plants": shares("60", 1)}, "is no share", '"80 %"'),
    "a plant that is not known": (
        BLOCK | {"plants": [{"plant": "aple, semidwarf"}]},
        "not in the catalogue",
        'did you mean "apple, semi-dwarf"',
    ),
    "a plant like no other": (BLOCK | {"plants": [{"plant": "qqqq"}]}, "not in the catalogue", "setout plants"),
    "guide line far away": (BLOCK | {"direction": "guide:far"}, "the guide line lies", "along or across the block"),
    "screen off the property": (
        {"name": "S", "pattern": "screen", "step": "10 ft", "line": "far"},
        "none of the screen's line",
        "move the line",
    ),
    "bed longer than the ground": (BED | {"area": "tiny"}, "its beds, 16 ft by 6 ft, are larger than its ground", "smaller"),
    "bed wider than the ground": (BED | {"area": "slim"}, "are larger than its ground", "smaller"),
    "step longer than the bed": (BED | {"step": "17 ft"}, "the step is longer than the bed", "lessen the step"),
    "beds that bend": (BED | {"direction": "contour"}, "its rows are to bend", "straight direction"),
    "step of a tenth of a foot": (BLOCK | {"step": "0.1 ft"}, "are the most in one plan", "check the unit"),
    "partners as far as the next pair": (
        BLOCK | {"pattern": "rectangular", "row_distance": "6 ft", "pair": {"distance": "6 ft"}},
        "as from the next pair",
        "lessen pair.distance",
    ),
    "lines that reach into the next row": (
        BLOCK | {"pattern": "hedgerow", "row_distance": "10 ft", "lines": 4, "line_distance": "4 ft"},
        "reach into the next",
        "widen row_distance",
    ),
    "fall of straight rows": (BLOCK | {"fall": {"most": "2 %"}}, "fall belongs to rows on the contour", "leave it out"),
    "row distances of straight rows": (
        BLOCK | {"row_distance_max": "20 ft"},
        "row_distance_max belongs to rows on the contour",
        "leave it out",
    ),
    "fall the wrong way round": (CONTOUR | {"fall": {"least": "3 %", "most": "2 %"}}, "fall.least is more than fall.most", "range"),
    "a line without use": (BLOCK | {"line": "line"}, 'line belongs to pattern = "screen"', "leave it out"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_says_what_where_and_the_remedy(name: str) -> None:
    block, what, remedy = FAULTS[name]
    with pytest.raises(SetoutError) as caught:
        plan_of(FIELD.survey(UTM, slope()), block)
    (fault,) = caught.value.faults
    assert what in fault.what
    assert remedy in fault.remedy
    assert "block" in fault.where


FINDINGS: dict[str, tuple[dict[str, Any], str, str, str]] = {
    "guide line beside the block": (BLOCK | {"direction": "guide:edge"}, "guide_outside", "98.45 ft outside its ground", "the line meant"),
    "counts beyond the positions": (
        BLOCK | {"plants": shares(6000, 300, key="count")},
        "counts_over_positions",
        "are to be 6300",
        "ask for fewer",
    ),
    "counts below the positions": (BLOCK | {"plants": shares(60, 30, key="count")}, "positions_left_over", "stay open", "share instead"),
    "rows nearer than the step": (
        BLOCK | {"pattern": "offset", "row_distance": "12 ft"},
        "nearest_below_step",
        "14.422 ft away, not 16 ft",
        "widen the rows",
    ),
    "a point off the property": (
        {"name": "P", "pattern": "points", "points": "points"},
        "point_dropped",
        "point 2 from the west, of the 2 given",
        "move it",
    ),
    "nothing that stays": (BLOCK | {"plants": [{"plant": "peach", "role": "filler"}]}, "only_fillers", "nothing stays", "no role"),
    "a pollinizer out of reach": (
        BLOCK | {"plants": TWO, "pollinizer": {"every_tree": 99, "every_row": 99}},
        "pollinizer_far",
        "stand further than 100 ft",
        "closer",
    ),
    "no partner at all": (BLOCK | {"plants": TWO[:1]}, "no_pollinizer", "the site has none", "add a pollinizer"),
    "walnuts beside apples": (
        BLOCK | {"plants": [{"plant": "black walnut"}, TWO[0]]},
        "juglone",
        "within 60 ft of black walnut",
        "tolerates",
    ),
}


@pytest.mark.parametrize("name", FINDINGS)
def test_a_finding_says_what_and_the_remedy(name: str) -> None:
    block, code, what, remedy = FINDINGS[name]
    found = [f for f in plan_of(FIELD.survey(UTM, slope()), block).findings if f.code == code]
    assert found
    assert what in told(found[0], "us").message
    assert remedy in told(found[0], "us").remedy
    assert found[0].severity in ("stop", "warn") or code == "nearest_below_step"


def test_a_partner_that_does_not_bloom_together() -> None:
    """An early and a late variety of one species, neighbours in every row: no pollen meets an open flower."""
    early = catalogue.look_at_tables(
        [{"name": "apple, semi-dwarf", "bloom": "early"}, {"name": "apple, dwarf", "bloom": "late"}], "plan.toml", {}
    )[0]
    plants = [{"plant": "apple, semi-dwarf", "variety": "X"}, {"plant": "apple, dwarf", "variety": "Y"}]
    mapping = {"site": {"boundary": "boundary"}, "block": [BLOCK | {"plants": plants}]}
    plan = plan_site(parse_plan(mapping, "plan.toml", early), FIELD.survey(UTM))
    found = [f for f in plan.findings if f.code == "bloom_apart"]
    assert len(found) == 2
    assert "does not bloom together" in told(found[0], "us").message
    assert "blooms at the same time" in told(found[0], "us").remedy
