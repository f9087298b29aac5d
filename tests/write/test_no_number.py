"""What is unknown is empty or null in every file, or said in words: never the text that a program has for no number."""

from __future__ import annotations

import re
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from setout.run.results import PRODUCTS, write
from setout.run.steps import Steps
from watered import EMITTER, SQUARE, orchard

NO_NUMBER = re.compile(r"(?<![\w.])[-+]?(nan|inf(inity)?)(?![\w.])", re.IGNORECASE)
CLIMATE = {"eto": "6 mm/day"}
CASES: dict[str, dict[str, Any]] = {
    "no DEM, nothing known of the plants": {
        "points": [(-45.0, 0.0, 300.0, 3000.0)],
        "ground": None,
        "block": {"name": "A", "pattern": "square", "step": "5 m", "direction": "north-south"},
    },
    "gap under the valve": {
        "points": [(-45.0, 0.0, 300.0, 3000.0)],
        "sections": {"ground": {"no_elevation": "plant"}},
        **CLIMATE,
        "ground": lambda x, y: np.where((x < -30) & (np.abs(y) < 30), np.nan, 100 + 0.02 * x),
    },
    "gap under everything but a corner": {
        "points": [(-45.0, 0.0, 300.0, 3000.0)],
        "sections": {"ground": {"no_elevation": "plant"}},
        **CLIMATE,
        "ground": lambda x, y: np.where((x > 40) & (y > 30), 100.0, np.nan),
    },
    "water points that do not say": {"points": [(-45.0, 0.0, np.nan, np.nan), (45.0, 0.0, 300.0, np.nan)], **CLIMATE},
    "a source that is dry at once": {"points": [(-45.0, 0.0, 20.0, 30.0)], **CLIMATE, "emitter": EMITTER | {"exponent": 0.0}},
    "no emitter": {"points": [(-45.0, 0.0, 300.0, 3000.0)], "emitter": None, "block": SQUARE | {"height": "9 m"}},
}


def texts(folder: Path) -> dict[str, str]:
    """Return the text of every file: members of archives, words of pages, texts of tables."""
    out: dict[str, str] = {}
    for file in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = file.relative_to(folder).as_posix()
        if file.suffix == ".gpkg":
            with sqlite3.connect(file) as base:
                tables = [t for (t,) in base.execute("select name from sqlite_master where type = 'table'")]
                rows = [row for t in tables if not t.startswith("rtree") for row in base.execute(f'select * from "{t}"')]
            out[name] = "\n".join(str(v) for row in rows for v in row if isinstance(v, str | float))
        elif file.suffix in {".xlsx", ".kmz", ".zip"}:
            with zipfile.ZipFile(file) as packed:
                out |= {f"{name}/{m}": packed.read(m).decode("utf-8", "replace") for m in packed.namelist()}
        elif file.suffix == ".pdf":
            out[name] = "\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages)
        elif file.suffix == ".html":
            # code of the map's library speaks of NaN
            text = file.read_text(encoding="utf-8")
            code = re.compile(r"<script(?![^>]*application/json)[^>]*>.*?</script>", re.DOTALL)
            out[name] = code.sub("", text)
        elif file.suffix not in {".tif", ".png"}:
            out[name] = file.read_text(encoding="utf-8", errors="replace")
    return out


@pytest.mark.parametrize("case", CASES)
def test_no_file_has_a_text_for_no_number(case: str, tmp_path: Path) -> None:
    plan = orchard(**CASES[case])
    write(plan, tmp_path, PRODUCTS, Steps())
    found = texts(tmp_path)
    assert {Path(name).suffix for name in found} >= {".html", ".csv", ".gpx", ".dxf", ".pdf", ".gpkg"}
    hits = {name: [text[max(m.start() - 50, 0) : m.end() + 20] for m in NO_NUMBER.finditer(text)][:3] for name, text in found.items()}
    assert not {name: some for name, some in hits.items() if some}
