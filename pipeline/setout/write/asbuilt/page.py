"""What came back from the field, as a page that a crew chief reads."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from setout.draw.page import environment
from setout.model.asbuilt import STATUSES, WHOLE
from setout.units import show_length
from setout.words import plan
from setout.words.asbuilt import figures, how_told
from setout.words.findings import Told, all_told
from setout.write.asbuilt import picture

if TYPE_CHECKING:
    from pathlib import Path

    from setout.model.asbuilt import Return

MOST = 200
"""Findings of one kind told one by one; the layer findings holds all."""


def write_page(path: Path, back: Return) -> None:
    """Write the page: what became of the set-out, a picture of it, every finding with its remedy."""
    found = all_told(back.true.findings, back.planting.site.units)
    whole = [f for f in found if f.code in WHOLE]
    words = {
        "title": back.planting.site.name,
        "source": back.source,
        "figures": _figures(back),
        "whole": [_said(f) for f in whole],
        "how": how_told(back),
        "set_up": [(name, said) for name, _, _, said in figures(back)[2 + len(STATUSES) :]],
        "picture": Markup(picture.picture(back.planting, back.built)),  # noqa: S704 - our own, its texts escaped there
        "blocks": _blocks(back),
        "groups": _groups(found, whole),
        "cautions": plan.CAUTIONS,
    }
    page = environment().get_template("asbuilt.html")
    path.write_text(page.render(words), "utf-8", newline="\n")


def _figures(back: Return) -> list[tuple[str, str]]:
    """Return the figures at the page's head: the whole first, for "in place" says nothing of it."""
    counts, set_up = back.built.counts, back.built.set_up
    out = [(f"{len(back.built.points):,}", "surveyed")]
    if set_up.systematic:
        shift = math.hypot(set_up.shift_x, set_up.shift_y)
        out.append((show_length(shift, back.planting.site.units), "the whole is off"))
    if set_up.coarse:
        return [*out, (f"{counts.get('not_judged', 0):,}", "not judged: the survey is too coarse")]
    among = " among the others" if set_up.systematic else ""
    return [
        *out,
        (f"{counts.get('in_place', 0):,}", f"in place{among}"),
        (f"{counts.get('missing', 0):,}", "missing"),
        (f"{counts.get('extra', 0) + counts.get('doubled', 0):,}", "extra or doubled"),
        (f"{counts.get('swapped', 0) + counts.get('misplaced', 0):,}", "swapped"),
        (f"{counts.get('off_place', 0):,}", f"off their places{among}"),
    ]


def _said(finding: Told) -> dict[str, str]:
    return {name: getattr(finding, name) for name in ("code", "severity", "message", "measured", "required", "remedy")}


def _groups(found: tuple[Told, ...], whole: list[Told]) -> list[dict[str, Any]]:
    """Gather findings by what they are; all are in the layer findings."""
    groups: dict[tuple[str, str], list[Told]] = {}
    for finding in found:
        if finding not in whole:
            groups.setdefault((finding.severity, finding.code), []).append(finding)
    return [
        {
            "severity": severity,
            "title": code.replace("_", " ").capitalize(),
            "count": f"{len(own):,}",
            "remedy": own[0].remedy,
            "shown": [_said(f) for f in own[:MOST]],
            "more": max(len(own) - MOST, 0),
        }
        for (severity, code), own in groups.items()
    ]


def _blocks(back: Return) -> list[dict[str, str]]:
    built, planned, units = back.built, back.planting.trees, back.planting.site.units
    off = np.hypot(built.own_x, built.own_y)
    missing = np.bincount(planned.block[built.missing], minlength=len(back.planting.site.blocks))
    out = []
    for index, block in enumerate(back.planting.site.blocks):
        own = (built.place >= 0) & (planned.block[built.place] == index)
        here = off[own]
        out.append(
            {
                "name": block.name,
                "planned": f"{int((planned.block == index).sum()):,}",
                "found": f"{int(own.sum()):,}",
                "missing": "not surveyed" if block.name in built.unsurveyed else f"{int(missing[index]):,}",
                "middle": show_length(float(np.median(here)), units) if len(here) else "",
                "far": show_length(float(np.percentile(here, 95)), units) if len(here) else "",
            }
        )
    return out
