"""The verbs: plan a property, judge positions, compare options. What comes after what is in :mod:`setout.run.order`.

Each is loaded when it is first asked for: to plan takes nothing of what comparing needs.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from setout.run.batch import Done, batch

if TYPE_CHECKING:
    from setout.run.comparing import Limits, compare
    from setout.run.joints import MOST_TREES, tree_ids
    from setout.run.judge import Judged, check
    from setout.run.order import plan, plan_site
    from setout.run.results import PRODUCTS
    from setout.run.steps import Steps

__all__ = ["MOST_TREES", "PRODUCTS", "Done", "Judged", "Limits", "Steps", "batch", "check", "compare", "plan", "plan_site", "tree_ids"]
_HOME = {
    "Limits": "comparing",
    "compare": "comparing",
    "MOST_TREES": "joints",
    "tree_ids": "joints",
    "Judged": "judge",
    "check": "judge",
    "plan": "order",
    "plan_site": "order",
    "PRODUCTS": "results",
    "Steps": "steps",
}


def __getattr__(name: str) -> Any:
    """Load what is asked for."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
