"""How the layers look when they are opened: one style a layer, as QML and as OGC SLD, for the table layer_styles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from setout.layers import LayerContract

LAYER_STYLES_TABLE: Final = """CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT,
  styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME)"""


@dataclass(frozen=True, slots=True)
class StyleRow:
    """One style: the layer it is for, its name, both texts and what it shows."""

    layer: str
    name: str
    qml: str
    sld: str
    description: str


def style_rows(contracts: Sequence[LayerContract], labels: Mapping[str, Sequence[str]]) -> list[StyleRow]:
    """Return the styles of the layers present."""
    return []
