"""Staking: everything that a crew sets out, by coordinates and by tape."""

from setout.stages.staking.stakeset import stake_set
from setout.stages.staking.tape import tape_plan

__all__ = ["stake_set", "tape_plan"]
