"""Make a first plan file from survey files."""

from setout.run.newplan.files import PLAN_NAME, write_new_plan

__all__ = ["PLAN_NAME", "write_new_plan"]
