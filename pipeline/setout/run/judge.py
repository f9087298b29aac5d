"""Judging positions that were given, from a plan or from the field."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from setout.model import Finding, Planting
from setout.model.asbuilt import AsBuilt, Return
from setout.progress import Say, silent
from setout.read import plan_file, reference
from setout.read.survey import read_survey
from setout.read.vector.fieldpoints import read_field
from setout.run.fieldreturn import Seen, field_of, seen
from setout.run.lighting import shade_at
from setout.run.order import STAGES, plan_site
from setout.run.steps import Placed, Steps
from setout.stages import exclude, staking
from setout.words.asbuilt import counted
from setout.words.refusals import in_words
from setout.write.folder import OutputFolder, check_writable
from setout.write.products import FILES


@dataclass(frozen=True, slots=True)
class Judged:
    """What a look at given positions found.

    Attributes
    ----------
    trees : how many there are
    findings : everything that falls short or should be known, in order of severity
    built : each position against its planned place
    """

    trees: int
    findings: tuple[Finding, ...]
    built: AsBuilt | None = None
    counts: dict[str, int] = field(default_factory=dict)
    units: str = "us"

    @property
    def short(self) -> int:
        """Return how many trees fall short, missing ones among them."""
        return len({f.tree_id for f in self.findings if f.severity == "stop"})

    def record(self) -> dict[str, Any]:
        """Return counts and set-up for machines; a number that cannot be known is null."""
        if self.built is None:
            return {}
        fields = asdict(self.built.set_up)
        known = {name: None if isinstance(v, float) and not math.isfinite(v) else v for name, v in fields.items()}
        return {"counts": self.counts, "set_up": known}


def check(path: str | Path, trees: str, out: str | Path | None = None, *, say: Say = silent, placed: Placed | None = None) -> Judged:
    """Judge positions, from a plan or surveyed after planting, against a plan file."""
    path, steps = Path(path), Steps(("read", *STAGES, "match", "write"), say)
    with steps.step("read"):
        the_plan = plan_file.read_plan_file(path)
        if out is not None:
            check_writable(Path(out))
        surveyed = read_survey(the_plan, path.parent)
        given = reference.parse(trees, Path.cwd())
    planting = plan_site(the_plan, surveyed, steps)
    with steps.step("match"), in_words(the_plan.units):
        stakes = staking.stake_set(planting)
        points = stakes.trees
        box = tuple(float(v) for v in (points.easting.min(), points.northing.min(), points.easting.max(), points.northing.max()))
        file = read_field(given, planting.site.frame.plane_crs, box)  # type: ignore[arg-type]  # four numbers
        came = field_of(planting, stakes, file)
        shade = shade_at(the_plan, surveyed, planting.site) if planting.light is not None else None
        areas, _ = exclude.block_areas(planting.site)
        found = seen(the_plan, planting, stakes, shade, came, areas)
    if out is not None:
        with steps.step("write"), OutputFolder(Path(out), FILES["asbuilt"], placed) as staging:
            _write(planting, found, staging.path, Path(trees).name)
    steps.done()
    return Judged(len(came.points), (*file.findings, *found.findings), found.built, counted(found.built.counts), planting.site.units)


def _write(planting: Planting, found: Seen, folder: Path, source: str) -> None:
    from setout.layers.asbuilt import asbuilt_layers
    from setout.write.asbuilt import page
    from setout.write.geopackage import writer
    from setout.write.map import page as webmap

    built = Return(planting, found.planting, found.built, found.order, found.labels, source)
    writer.write(folder / "asbuilt.gpkg", asbuilt_layers(built), planting.site.frame.survey_crs)
    page.write_page(folder / "asbuilt.html", built)
    webmap.write_map(folder / "asbuilt_map.html", found.planting, hillshade=None)
