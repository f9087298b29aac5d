"""Plan the demo property and leave its map, its picture and its plan sheets in maps/."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from setout import run
from setout.demo import write_demo
from setout.stages import terrain
from setout.words.plan import CONTOURS_M
from setout.write.report import picture

MAPS = Path(__file__).resolve().parents[1] / "maps"


def main() -> None:
    """Write maps/demo.html, maps/demo.svg and maps/demo-sheets.pdf."""
    MAPS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        plan = write_demo(Path(scratch, "demo"))
        out = Path(scratch, "out")
        planting = run.plan(plan, out, products=("map", "packet"))
        shutil.copyfile(out / "map.html", MAPS / "demo.html")
        shutil.copyfile(out / "packet" / "sheets.pdf", MAPS / "demo-sheets.pdf")
        contours = terrain.contour_lines(planting.ground, planting.site, CONTOURS_M[planting.site.units])
        svg = picture.plan_picture(planting, contours=contours)
    (MAPS / "demo.svg").write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    main()
