"""The axis of pairs that name none: by the light of the darker partner, held against rays, on both halves of the earth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import setout
from farm import Farm, write_survey
from orchard import block_of, path_at, plant_of
from rays import Crown, halves, lit
from setout.model import Pair
from setout.stages.light import axis_findings, pair_axes, with_axes

APART = 2 * 0.3048
BETWEEN = 20 * 0.3048
SIZE = 15 * 0.3048
POINTS = ((0.0, 0.0, 0.75), (0.5, 0.0, 0.5), (-0.5, 0.0, 0.5), (0.0, 0.5, 0.5), (0.0, -0.5, 0.5))
OWN_SIDE = 0.8


def by_rays(axis: float, path: Any) -> tuple[float, float]:
    """Return the hours of the two partners in the middle of 9 by 9 pairs, from crowns and rays alone."""
    t = np.radians(axis)
    half = np.array([np.sin(t), np.cos(t)]) * APART / 2
    crowns = [
        Crown(i * BETWEEN + side * half[0], j * BETWEEN + side * half[1], 0.0, SIZE, SIZE / 2, 2 * (9 * i + j) + (side < 0))
        for i in range(-4, 5)
        for j in range(-4, 5)
        for side in (1, -1)
    ]
    found = []
    for own in (c for c in crowns if np.hypot(c.x, c.y) < APART):
        share = np.zeros(len(path.day))
        towards = -np.array([own.x, own.y]) / np.hypot(own.x, own.y)
        for east, north, up in POINTS:
            off = np.array([east, north]) * own.radius
            off -= max(off @ towards - OWN_SIDE * APART / 2, 0.0) * towards
            eye = (own.x + off[0], own.y + off[1], up * SIZE)
            share += lit(eye, path, own, [c for c in crowns if c is not own]) / len(POINTS)
        am, pm = halves(path, share)
        found.append(float((am + pm).mean()))
    return found[0], found[1]


@pytest.mark.parametrize("latitude", [40.0, -35.0])
def test_the_axis_is_the_one_that_lights_the_darker_partner(latitude: float) -> None:
    """Rays against crowns as plain as can be: partners north and south leave one of them in the other's shade all day."""
    path = path_at(latitude, minutes=20.0)
    block = block_of([plant_of(SIZE, SIZE)], step=BETWEEN, rows=BETWEEN, pair=Pair(APART))
    (found,) = pair_axes([block], path)
    rays = [min(by_rays(axis, path)) for axis in (0.0, 90.0)]
    assert found.darker_h == pytest.approx(rays, abs=0.15)
    assert rays[1] > rays[0] + 1.0
    assert found.axis_deg == 90.0
    (said,) = axis_findings([block], [found])
    assert (said.figures["axis"], said.figures["darker_h"], said.figures["other_darker_h"]) == ("east_and_west", *found.darker_h[::-1])
    (chosen,) = with_axes([block], [found])
    assert chosen.pattern.pair == Pair(APART, 90.0)


def test_an_axis_that_is_asked_for_stays() -> None:
    block = block_of([plant_of(SIZE, SIZE)], step=BETWEEN, rows=BETWEEN, pair=Pair(APART, 20.0))
    assert pair_axes([block], path_at()) == ()


def test_without_sizes_the_axis_is_chosen_for_crowns_that_fill_their_room_and_that_is_said() -> None:
    block = block_of([replace(plant_of(SIZE, SIZE), spread_m=float("nan"))], step=BETWEEN, rows=BETWEEN, pair=Pair(APART))
    (found,) = pair_axes([block], path_at(minutes=20.0))
    assert not found.sized
    assert next(axis_findings([block], [found])).figures["crowns"] == "crowns_fill_room"


def test_a_plan_sets_pairs_by_light_and_says_so(tmp_path: Path) -> None:
    write_survey(tmp_path / "sound")
    farm = Farm(tmp_path / "plan", tmp_path / "sound")
    farm.sections["block"] = [
        {
            "name": "A",
            "pattern": "square",
            "step": "20 ft",
            "direction": "north-south",
            "plants": [{"plant": "apple, semi-dwarf"}],
            "pair": {"distance": "2 ft"},
        }
    ]
    plan = setout.plan(farm.write(height_limit=None), farm.folder / "out", products=("report",))
    trees = plan.trees
    np.testing.assert_allclose(trees.y[::2], trees.y[1::2], atol=1e-6)
    assert [f.code for f in plan.findings if f.code.startswith("pair_")] == ["pair_axis"]
