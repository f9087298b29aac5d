"""The plan file's model: what may be written, in which unit, and what it means in SI.

:func:`parse_plan` takes the mapping that the TOML file holds and gives a :class:`Plan`, or every fault of it at once.
Nothing here touches a file; :mod:`setout.read.plan_file` does.
"""

from setout.planfile.faults import parse_plan, spell
from setout.planfile.model import Plan
from setout.planfile.quantities import EQUILATERAL

__all__ = ["EQUILATERAL", "Plan", "parse_plan", "spell"]
