"""Water for every tree: network, pressures, zones, hours and the judgement of each tree."""

from setout.stages.water.account import valve_kpa, valve_names
from setout.stages.water.coverage import Coverage, coverage, uncovered, without_pipes
from setout.stages.water.irrigate import Given, irrigate
from setout.stages.water.judge import CODE
from setout.stages.water.serving import Load, able_of, balanced, joined, strong_of

__all__ = [
    "CODE",
    "Coverage",
    "Given",
    "Load",
    "able_of",
    "balanced",
    "coverage",
    "irrigate",
    "joined",
    "strong_of",
    "uncovered",
    "valve_kpa",
    "valve_names",
    "without_pipes",
]
