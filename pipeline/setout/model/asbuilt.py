"""What came back from the field: where trees truly stand, and which planned place each one has."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Finding, Floats, Ints
from setout.model.planting import Planting

IN_PLACE: Final = 0
OFF_PLACE: Final = 1
SWAPPED: Final = 2
MISPLACED: Final = 3
DOUBLED: Final = 4
EXTRA: Final = 5
NOT_JUDGED: Final = 8
STATUSES: Final = ("in_place", "off_place", "swapped", "misplaced", "doubled", "extra", "missing", "not_surveyed", "not_judged")
"""What a surveyed tree, or a planned place without one, is: codes by number."""
WHOLE: Final = ("survey_coarse", "systematic_shift", "scale_off", "set_up_unsure", "monument_off")
"""Codes of findings on the set-out as a whole, told before all others."""


@dataclass(frozen=True, slots=True)
class FieldPoints:
    """Surveyed positions.

    Attributes
    ----------
    name : what each is called in the file; empty for none
    x, y : frame [m]
    own : index of the planned tree that the name means; -1 for none
    """

    name: NDArray[np.object_]
    x: Floats
    y: Floats
    own: Ints

    def __len__(self) -> int:
        """Return the number of positions."""
        return int(self.x.size)


@dataclass(frozen=True, slots=True)
class SetUp:
    """How the whole set-out lies on the plan.

    Attributes
    ----------
    shift_x, shift_y : where the middle of the planned trees came to lie, east and north of where it should [m]
    turn_deg : turn about that middle, clockwise [deg]
    about_x, about_y : that middle, in the frame [m]
    scatter_m : standard deviation of one coordinate about the shifted and turned plan [m]
    shift_sd_m, turn_sd_deg : standard errors of shift (one coordinate) and turn
    pairs : matched trees that it rests on
    by_names : whether names told which tree is which; otherwise the pattern of the trees did
    rival_m : distance of another set-up that fits as well [m]; inf for none
    pivot_x, pivot_y : the point that stays where it is; NaN where there is no turn to speak of
    shifted, turned : whether shift and turn are more than chance
    scale, scale_sd : distances between trees as shares of those planned, with its standard error
    scaled : whether that is more than chance
    coarse : the positions scatter too widely to judge single trees; without names no shift, turn and scale are known either
    apart_m : usual distance of a planned tree to its nearest neighbour [m]
    """

    shift_x: float
    shift_y: float
    turn_deg: float
    about_x: float
    about_y: float
    scatter_m: float
    shift_sd_m: float
    turn_sd_deg: float
    pairs: int
    by_names: bool
    rival_m: float = float("inf")
    pivot_x: float = float("nan")
    pivot_y: float = float("nan")
    shifted: bool = False
    turned: bool = False
    scale: float = 1.0
    scale_sd: float = float("inf")
    scaled: bool = False
    coarse: bool = False
    apart_m: float = float("nan")

    @property
    def systematic(self) -> bool:
        """Return whether the set-out as a whole is elsewhere than planned."""
        return self.shifted or self.turned or self.scaled


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """Surveyed trees against the plan; one entry a surveyed position.

    Attributes
    ----------
    points : the positions
    place : index of the planned tree at whose place each stands; -1 for none
    status : index into STATUSES
    off_x, off_y : true position less planned place, east and north [m]; NaN without a place
    own_x, own_y : what is left of that when shift and turn of the whole set-out are taken away [m]
    missing : indices of planned trees without a surveyed one, of blocks that were surveyed
    unsurveyed : names of blocks without any surveyed tree
    set_up : how the whole lies on the plan
    findings : what falls short in the set-out itself
    counts : trees or places by their code of STATUSES
    """

    points: FieldPoints
    place: Ints
    status: NDArray[np.int8]
    off_x: Floats
    off_y: Floats
    own_x: Floats
    own_y: Floats
    missing: Ints
    unsurveyed: tuple[str, ...]
    set_up: SetUp
    findings: tuple[Finding, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Return:
    """What came back, with the plan that it is held to.

    Attributes
    ----------
    planting : the plan
    true : the plan with its trees where they stand
    built : the match
    order : surveyed positions in the order of the true trees
    labels : what each surveyed position is called
    source : the surveyed file, as it was named
    """

    planting: Planting
    true: Planting
    built: AsBuilt
    order: Ints
    labels: tuple[str, ...]
    source: str
