"""setout: from survey files of a property to a planting that can be staked, piped and grown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "check", "plan"]

if TYPE_CHECKING:
    from setout.nouns import Planting
    from setout.run import Judged


def plan(path: Any, out: Any = None, **options: Any) -> Planting:
    """Plan a property from its plan file; see :func:`setout.run.plan`."""
    from setout import run

    return run.plan(path, out, **options)


def check(path: Any, trees: str, **options: Any) -> Judged:
    """Judge positions against a plan; see :func:`setout.run.check`."""
    from setout import run

    return run.check(path, trees, **options)
