"""The table of trees: where each stands, and what the stages find of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Floats, Ints


@dataclass(frozen=True, slots=True)
class Trees:
    """Planting positions in walking order; every array has one entry a tree.

    A column that no stage filled is None, an unknown number in one that a stage did fill is NaN.

    Attributes
    ----------
    block : index into the site's blocks
    row, position : numbers from 1, along the way a crew walks
    x, y : frame [m]
    plant : index into the block's plants; -1 where it names none
    partner : index of the other tree of the same pair; -1 for none
    tree_id : block-row-position; of trees that came back from the field, their names there
    elevation_m, slope_pct : ground at the tree [m], slope of its cell [%]
    nearest_m, apart_m : distance to the nearest neighbour, and to the nearest that is not its partner [m]
    crowding : spread over the distance to the nearest neighbour
    overlap_m : how far its canopy reaches into the neighbour that it overlaps most [m]
    room_m : diameter of the circle as large as its room [m]
    pruning_load : share of the natural canopy that comes off each year
    pollinizer_m : distance to the nearest pollinizer [m]
    water_index, zone_index : water point and zone that serve it; -1 for none
    run_m : pipe run from the water point [m]
    pressure_kpa, flow_lph : pressure at its emitters, static where none are planned [kPa]; what they give [l/h]
    need_lpd : water that it needs at the peak [l/day]
    watered : 1 where its need is met, 0 where not, NaN unknown
    reason_index : why, as an index into :data:`setout.model.irrigation.REASONS`; -1 unknown
    sun_h, sun_am_h, sun_pm_h, sun_open_h : direct sun in a day, before and after noon, and with the terrain alone in the way [h]
    findings : codes of the findings that name it, separated by blanks
    """

    block: NDArray[np.int32]
    row: NDArray[np.int32]
    position: NDArray[np.int32]
    x: Floats
    y: Floats
    plant: NDArray[np.int32]
    partner: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, np.int32))
    tree_id: NDArray[Any] | None = None
    elevation_m: Floats | None = None
    slope_pct: Floats | None = None
    nearest_m: Floats | None = None
    apart_m: Floats | None = None
    crowding: Floats | None = None
    overlap_m: Floats | None = None
    room_m: Floats | None = None
    pruning_load: Floats | None = None
    pollinizer_m: Floats | None = None
    water_index: Ints | None = None
    run_m: Floats | None = None
    pressure_kpa: Floats | None = None
    zone_index: Ints | None = None
    flow_lph: Floats | None = None
    need_lpd: Floats | None = None
    watered: Floats | None = None
    reason_index: Ints | None = None
    sun_h: Floats | None = None
    sun_am_h: Floats | None = None
    sun_pm_h: Floats | None = None
    sun_open_h: Floats | None = None
    findings: NDArray[Any] | None = None

    def __len__(self) -> int:
        """Return the number of trees."""
        return int(self.x.size)

    @property
    def ids(self) -> NDArray[Any]:
        """Return the name of every tree, once the trees are finished."""
        assert self.tree_id is not None
        return self.tree_id

    def known(self, name: str) -> Floats:
        """Return a column of figures, NaN throughout where nothing filled it."""
        values = getattr(self, name)
        return np.full(len(self), np.nan) if values is None else np.asarray(values, float)
