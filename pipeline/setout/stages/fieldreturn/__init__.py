"""Back from the field: which planned place every surveyed tree has, and what became of the others."""

from setout.stages.fieldreturn.doubts import direction, doubts, label
from setout.stages.fieldreturn.matching import Planned, match

__all__ = ["Planned", "direction", "doubts", "label", "match"]
