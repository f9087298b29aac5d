"""The grower's own hours of pruning: a CSV that the plan file names."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from setout.errors import Fault
from setout.read.reference import is_there
from setout.tables import labour


def own_rates(mapping: Mapping[str, Any], plan: Path) -> tuple[tuple[labour.Rate, ...], tuple[Fault, ...]]:
    """Read the hours of pruning that a plan file names instead of the project's."""
    named = mapping.get("labour")
    if not isinstance(named, str) or not named.strip() or not is_there(plan.parent / named, file=True):
        return (), ()
    path = plan.parent / named
    try:
        return labour.parse(path.read_text(encoding="utf-8-sig")), ()
    except UnicodeDecodeError:
        remedy = 'save it as CSV with the encoding UTF-8; spreadsheets call it "CSV UTF-8"'
        return (), (Fault("is not text in UTF-8", str(path), remedy),)
    except OSError as error:
        remedy = "check the path and its permissions"
        return (), (Fault(f"cannot be read ({error.strerror})", str(path), remedy),)
    except ValueError as error:
        told = [line.partition("; ") for line in str(error).split("\n")]
        return (), tuple(Fault(what, path.name, remedy or "mend it") for what, _, remedy in told)
