"""The grower's own plants: an own CSV that the plan file names, and the [[plant]] tables in it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from setout.errors import Fault, SetoutError
from setout.read.reference import is_there
from setout.tables import catalogue

Found = tuple[dict[str, catalogue.CatalogueEntry], tuple[Fault, ...]]


def own_plants(mapping: Mapping[str, Any], plan: Path) -> Found:
    """Read the plants that a plan file adds to the catalogue or changes in it."""
    named, own, faults = mapping.get("catalogue"), dict[str, catalogue.CatalogueEntry](), tuple[Fault, ...]()
    if isinstance(named, str) and named.strip() and is_there(plan.parent / named, file=True):
        own, faults = read_plants_csv(plan.parent / named)
    tables = mapping.get("plant")
    sound = [table for table in tables if isinstance(table, Mapping)] if isinstance(tables, list) else []
    found, more = catalogue.look_at_tables(sound, plan.name, own)
    return found, faults + more


def read_plants_csv(path: Path) -> Found:
    """Read a CSV of plants, in the columns of the catalogue."""
    try:
        return catalogue.look_at_csv(path.read_text(encoding="utf-8-sig"), path.name)
    except UnicodeDecodeError:
        remedy = 'save it as CSV with the encoding UTF-8; spreadsheets call it "CSV UTF-8"'
        return {}, (Fault("is not text in UTF-8", str(path), remedy),)
    except OSError as error:
        remedy = "check the path and its permissions"
        raise SetoutError(f"cannot be read ({error.strerror})", str(path), remedy) from None
