"""The demo: an invented property, written by code so that it is there wherever setout is installed."""

from setout.demo.files import PLAN_NAME, write_demo

__all__ = ["PLAN_NAME", "write_demo"]
