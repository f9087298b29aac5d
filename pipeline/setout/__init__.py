"""setout: from survey files of a property to a planting that can be staked, piped and grown."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "check", "compare", "geodataframe", "plan"]

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from setout.model import Planting
    from setout.model.comparison import Comparison
    from setout.run import Judged


class _Menu(ModuleType):
    """The package: its verb ``plan`` stays when the module of that name, the plan file's model, is imported."""

    def __setattr__(self, name: str, value: object) -> None:
        if name == "plan" and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Menu


def plan(path: Any, out: Any = None, **options: Any) -> Planting:
    """Plan a property from its plan file; see :func:`setout.run.plan`."""
    from setout import run

    return run.plan(path, out, **options)


def check(path: Any, trees: str, **options: Any) -> Judged:
    """Judge positions against a plan; see :func:`setout.run.check`."""
    from setout import run

    return run.check(path, trees, **options)


def compare(path: Any, out: Any = None, **options: Any) -> Comparison:
    """Put several ways of planting the same ground side by side; see :func:`setout.run.compare`."""
    from setout import run

    return run.compare(path, out, **options)


def geodataframe(planting: Planting, layer: str = "trees") -> GeoDataFrame:
    """Return a layer of a plan as a GeoDataFrame; see :func:`setout.layers.frames.geodataframe`."""
    from setout.layers import frames

    return frames.geodataframe(planting, layer)
