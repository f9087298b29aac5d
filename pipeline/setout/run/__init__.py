"""The verbs: plan a property, judge positions, compare options. What comes after what is in :mod:`setout.run.order`."""

from setout.run.batch import Done, batch
from setout.run.comparing import Limits, compare
from setout.run.joints import MOST_TREES, tree_ids
from setout.run.judge import Judged, check
from setout.run.order import plan, plan_site
from setout.run.results import PRODUCTS
from setout.run.steps import Steps

__all__ = ["MOST_TREES", "PRODUCTS", "Done", "Judged", "Limits", "Steps", "batch", "check", "compare", "plan", "plan_site", "tree_ids"]
