"""Need: how much water every tree needs, by month and by year of age."""

from setout.model.need import Need
from setout.stages.need.trees import most_together, need_of

__all__ = ["Need", "most_together", "need_of"]
