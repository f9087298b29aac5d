"""The layer contracts: the layers and columns that the design names, and a check that reports every fault."""

from __future__ import annotations

import numpy as np
import pytest

from setout.errors import SetoutError
from setout.layers import CONTRACTS, DTYPES, check

TREES = (
    "tree_id block row position plant variety role easting northing lon lat elevation_m slope_pct nearest_m "
    "spread_m height_m crowding overlap_m room_m pruning_load pollinizer_m water_point zone run_m pressure_kpa flow_lph "
    "need_lpd watered water_reason sun_h sun_am_h sun_pm_h sun_open_h findings"
)
NAMED = {
    "boundary": "area_m2",
    "exclusions": "reason source distance_m alone_m2 newly_m2",
    "height_limits": "reason height_m",
    "reach": "water_point",
    "usable": "block area_m2",
    "rows": "row_id block row bearing_deg length_m trees",
    "beds": "block row area_m2",
    "posts": "block row",
    "screens": "block purpose length_m",
    "laterals": "zone",
    "manifolds": "zone",
    "water_points": "",
    "findings": "code severity tree_id message measured required remedy",
    "contours": "elevation_m",
    "land_account": "step reason alone_m2 newly_m2 remaining_m2",
    "zones": "",
    "order": "",
    "materials": "",
    "growth": "block plant year trees spread_m height_m",
    "work": "block job month hours",
    "water_need": "block plant month need_lpd",
}
UNIT_OF = {"m": "m", "m2": "m2", "kpa": "kPa", "lph": "l/h", "lpd": "l/day", "pct": "%", "deg": "deg", "h": "h", "mm": "mm", "m3": "m3"}


def test_every_layer_is_there():
    assert set(CONTRACTS) == {*NAMED, "trees"}


def test_the_columns_of_trees_are_the_designs_in_its_order():
    assert CONTRACTS["trees"].names == tuple(TREES.split())


@pytest.mark.parametrize("layer", NAMED)
def test_the_named_columns_are_there(layer):
    assert set(NAMED[layer].split()) <= set(CONTRACTS[layer].names)


@pytest.mark.parametrize("layer", CONTRACTS)
def test_the_unit_stands_in_the_name_of_every_measured_column(layer):
    for column in CONTRACTS[layer].columns:
        assert column.kind in DTYPES
        assert column.meaning
        suffix = column.name.rsplit("_", 1)[-1]
        if column.kind == "real" and column.unit and suffix in UNIT_OF and column.name != "hours_h":
            assert column.unit.startswith(UNIT_OF[suffix])
        if column.kind in {"text", "bool"}:
            assert column.unit == ""


@pytest.mark.parametrize("layer", CONTRACTS)
def test_names_are_unique_whatever_their_case_and_no_name_is_taken(layer):
    names = [name.lower() for name in CONTRACTS[layer].names]
    assert len(set(names)) == len(names)
    assert not {"fid", "geom", "rowid"} & set(names)


def test_all_faults_are_reported_together():
    columns = {"step": np.array(["a", "b"]), "reason": np.array(["gross"], object), "alone_m2": np.zeros((2, 1)), "colour": np.zeros(2)}
    with pytest.raises(SetoutError) as caught:
        check(CONTRACTS["land_account"], columns)
    said = [str(fault) for fault in caught.value.faults]
    assert said == [
        ('land_account: column "colour" is not in the contract; columns are step, reason, alone_m2, newly_m2, remaining_m2'),
        'land_account: column "step" is <U1 where the contract says int',
        'land_account: column "reason" has 1 rows where the layer has 2',
        'land_account: column "alone_m2" has 2 dimensions instead of one',
        'land_account: column "remaining_m2" is missing; give a value for every row',
    ]


def test_columns_of_later_work_may_be_absent_or_null():
    must = {
        "tree_id": np.array(["A-1-1"]),
        "block": np.array(["A"]),
        "row": np.array([1]),
        "position": np.array([1]),
        "easting": np.array([1.0]),
        "northing": np.array([1.0]),
    }
    check(CONTRACTS["trees"], must)
    check(CONTRACTS["trees"], {**must, **{n: None for n in CONTRACTS["trees"].names if n not in must}})


def test_a_layer_without_rows_is_in_order():
    check(CONTRACTS["trees"], {}, 0)
