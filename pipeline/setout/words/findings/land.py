"""What is said of the ground: slope, setbacks, reach, cold air."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.findings.told import Words

_TREE: Final[dict[str, Figure]] = {"tree": "A-1-12", "measured_m": 2.1, "required_m": 3.0}
_BESIDE: Final = {"measured": "{measured_m:length3}", "required": "{required_m:length3}"}
_BEYOND: Final = {"measured": "{measured_m:length3} beyond", "required": "{required_m:length3} beyond"}
_MOVE: Final = "move or remove it"

WORDS: Final[dict[str, Words]] = {
    # what positions are held to
    "outside_boundary": Words("tree {tree} stands outside the boundary", **_BEYOND, remedy="move it onto the property", example=_TREE),
    "outside_block": Words(
        "tree {tree} stands outside block {block}",
        **_BEYOND,
        remedy="move it into its block, or give it to another",
        example=_TREE | {"block": "A"},
    ),
    "too_close": Words(
        "tree {tree} stands closer to its neighbour than its pattern gives",
        **_BESIDE,
        remedy="move or remove one of the two",
        example=_TREE,
    ),
    "too_close_to_block": Words(
        "tree {tree} stands closer to block {block} than the two blocks' plants need",
        **_BESIDE,
        remedy=_MOVE,
        example=_TREE | {"block": "A"},
    ),
    "setback": Words("tree {tree} stands too near: {why}", **_BESIDE, remedy=_MOVE, example=_TREE | {"why": "well"}),
    "no_plant": Words(
        "tree {tree} stands where nothing is planted: {why}",
        "{measured_m:length3} inside",
        "{required_m:length3} inside",
        _MOVE,
        example=_TREE | {"why": "septic field"},
    ),
    "height_limit": Words(
        "tree {tree} grows too tall there: {why}",
        "{measured_m:length3} high",
        "{required_m:length3} high",
        "plant something lower, hold it lower, or move it",
        example=_TREE | {"why": "power line"},
    ),
    "too_steep": Words(
        "tree {tree} stands on ground over the slope limit",
        "{measured_pct:.2f} %",
        "{required_pct:.2f} %",
        _MOVE,
        example={"tree": "A-1-12", "measured_pct": 17.3, "required_pct": 15.0},
    ),
    "beyond_reach": Words(
        "tree {tree} no water point reaches it",
        "",
        "[[{required_m:length3} run]]",
        "add a water point, lengthen max_run, or name a sleeve where a pipe may cross what is in the way",
        example={"tree": "A-1-12", "required_m": 120.0},
    ),
    "low_pressure": Words(
        "tree {tree} static pressure falls short there",
        "{measured_kpa:pressure}",
        "{required_kpa:pressure}",
        "serve it from a higher pressure",
        example={"tree": "A-1-12", "measured_kpa": 120.0, "required_kpa": 140.0},
    ),
    "nearest_below_step": Words(
        "block {block}: with rows {row_distance_m:length} apart the nearest neighbour stands {nearest_m:length3} away, "
        "not {step_m:length}: it is in the next row",
        "{nearest_m:length3}",
        "{step_m:length}",
        "widen the rows, or plan room, light and pruning with the true distance",
        example={"block": "A", "row_distance_m": 4.0, "nearest_m": 4.472, "step_m": 5.0},
    ),
    # the ground of blocks
    "block_outside": Words(
        "the area of block {block} reaches over the boundary by {lost_m2:area}; that part is not its ground",
        "{lost_m2:area}",
        "none",
        "draw it inside",
        example={"block": "A", "lost_m2": 950.0},
    ),
    "block_overlap": Words(
        "the area of block {block} overlaps blocks named before it by {lost_m2:area}; that part is not its ground",
        "{lost_m2:area}",
        "none",
        "draw it beside them",
        example={"block": "B", "lost_m2": 950.0},
    ),
    # terrain
    "no_dem": Words(
        "the plan names no DEM: slope and elevation are unknown, and no ground was held back for them", remedy="name a DEM in site.dem"
    ),
    "dem_gap": Words(
        "{source}: [[{share:.2%}||{tiny_share:.1e} of it]] of {site} has no elevation; {use:word}, and its slope is unknown",
        "[[{share:.2%}||{tiny_share:.1e} of it]]",
        "none",
        "give a DEM that covers the whole site",
        example={"source": "dem.tif", "site": "Home farm", "share": 0.02, "tiny_share": None, "use": "gap_left"},
    ),
    "dem_scale": Words(
        "{source}: {crs} draws the ground {times:.4g} times as large as it is here; slopes come from the ground size of its cells, "
        "{width_m:.4g} x {height_m:.4g} m",
        "{times:.4g}",
        "1",
        "nothing; a local grid is clearer",
        example={"source": "dem.tif", "crs": "WGS 84 / Pseudo-Mercator", "times": 1.305, "width_m": 0.7661, "height_m": 0.7664},
    ),
    "dem_coarse": Words(
        "{source}: its cells are {cell_m:.3g} m wide, so a slope is a mean over {over_m:.3g} m: banks, terraces and ditches do not show",
        "{cell_m:.3g} m",
        "{coarse_m:g} m",
        "ask for a finer DEM (1 m, from lidar)",
        example={"source": "dem.tif", "cell_m": 10.0, "over_m": 30.0, "coarse_m": 5.0},
    ),
    "dem_heights": Words(
        "{source}: heights go from {lowest_m:.0f} to {highest_m:.0f} m, which no farm land does: their unit may be wrong, or some "
        "stand for no height",
        "",
        "{least_m:g} to {most_m:g} m",
        "look at the DEM's unit and nodata",
        example={"source": "dem.tif", "lowest_m": 210.0, "highest_m": 7400.0, "least_m": -450.0, "most_m": 6000.0},
    ),
    "contours_wide": Words(
        "contours are drawn every {interval_m:length}, for the ground is so high or so rough that closer ones would cover the map",
        "{interval_m:length}",
        "{usual_m:length}",
        "look at the DEM for wild heights, if the ground is not like that",
        example={"interval_m": 100.0, "usual_m": 50.0},
    ),
    # what water points reach
    "reach_cut_off": Words(
        "ground near enough to a water point is cut off from it by what no pipe crosses: areas behind a setback such as buildings, "
        "ponds and roads, no-plant areas, and the property line; {left:word}",
        "{area_m2:area}",
        "0",
        "name a sleeve where a pipe may cross (water.sleeves), or add a water point on their side",
        example={"left": "not_planted", "area_m2": 2300.0},
    ),
    "water_pressure_unknown": Words(
        "no pressure is given for water point {points:list} ({source})",
        remedy='add a column such as pressure_psi or pressure_kpa, or water.pressure = "45 psi" to the plan file; until then no '
        "pressure limit is held against it",
        example={"points": ("tank", "well"), "source": "water.gpkg"},
    ),
    "water_pressure_low": Words(
        "water point {point} has less pressure than the minimum even at its own height",
        "{pressure_kpa:.0f} kPa",
        "{least_kpa:.0f} kPa",
        "raise its pressure or lower min_pressure",
        example={"point": "tank", "pressure_kpa": 90.0, "least_kpa": 140.0},
    ),
    "sleeve_shut": Words(
        "{shut} of {sleeves} sleeves lead through no barrier",
        remedy="draw each as a line or an area from one side of the barrier to the other",
        example={"shut": 1, "sleeves": 3},
    ),
    # cold air
    "cold_hollow": Words(
        "block {block}: {plants:count} plants ({risks:words}) stand in a hollow that cold air gathers in, {depth_m:length} deep, with "
        "{upslope_m2:area} draining into it",
        "{depth_m:length} deep",
        "less than {least_m:length}",
        "plant what is hardy and blooms late there, move the block up the slope, or open the hollow's way out",
        example={"block": "A", "plants": 130, "risks": ("early_bloom",), "depth_m": 1.2, "upslope_m2": 31000.0, "least_m": 0.3},
    ),
    "cold_air_dammed": Words(
        "screen {screen} stands across the way along which cold air from {upslope_m2:area} flows out: it can stand behind the screen "
        "as behind a dam",
        "{upslope_m2:area}",
        "an open way downhill",
        "leave a gap in the screen where the way crosses it, or keep its foot clear of branches",
        example={"screen": "W", "upslope_m2": 31000.0},
    ),
    # files
    "input_changed": Words(
        "{files:list} changed while the plan was made: what was read may be the old, the new, or part of both",
        "{changed}",
        "0",
        "plan again, once nobody writes to the survey any more",
        example={"files": ("survey/field.gpkg",), "changed": 1},
    ),
}
