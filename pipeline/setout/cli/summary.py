"""What the command tells of results: lines for people, records for machines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setout.cli.arguments import CAUTION

if TYPE_CHECKING:
    from setout.model import Block, Planting, Rows
    from setout.run import Done, Judged
    from setout.words.grouped import Kind

SHOWN = 12
"""Lines of findings of one code shown on the screen; all are in the report."""


def one_line(text: str) -> str:
    """Show signs that end a line, or that a terminal obeys, as what they are; names in files may hold any."""
    return "".join(sign if sign >= " " and not "\x7f" <= sign <= "\x9f" else repr(sign)[1:-1] for sign in text)


def plan_record(planting: Planting, out: Path) -> dict[str, Any]:
    """Return what a finished plan comes to."""
    from setout.words.findings import all_told
    from setout.words.grouped import stops_of

    account = planting.usable.account
    return {
        "out": str(out),
        "name": planting.site.name,
        "trees": len(planting.trees),
        "trees_by_block": {block.name: count for block, count in _counted(planting)},
        "gross_m2": account[0].remaining_m2,
        "net_m2": account[-1].remaining_m2,
        "stops": stops_of(planting.findings),
        "findings": [f.record() for f in all_told(planting.findings, planting.site.units)],
    }


def plan_lines(planting: Planting, out: Path, products: Sequence[str]) -> Iterator[str]:
    """Yield what a finished plan comes to, and which of its files to open first."""
    from setout.units import show_area
    from setout.words.findings import all_told
    from setout.words.grouped import kinds_of, stops_said

    site, account = planting.site, planting.usable.account
    gross, net = (show_area(account[0].remaining_m2, site.units), show_area(account[-1].remaining_m2, site.units))
    stops = stops_said(planting.findings)
    short = f"; to be put right before planting: {stops}" if stops else ""
    yield f"{one_line(site.name)}: {len(planting.trees):,} trees on {net} of usable ground ({gross} in all){short}"
    for k, (block, count) in enumerate(_counted(planting)):
        yield f"  {one_line(block.name)}: {_set_out(block, count, planting.rows, k, site.units)}"
    told = all_told(planting.findings, site.units)
    yield from _kind_lines([kind for kind in kinds_of(told, planting.trees.ids) if kind.worst.severity != "note"])
    pages = [file for product, file in (("map", "map.html"), ("report", "report.html")) if product in products]
    open_first = " or ".join(pages) or ("packet/README.txt" if "packet" in products else "")
    yield f"Results in {out}{f': open {open_first} there' if open_first else ''}.\n{CAUTION}"


def _counted(planting: Planting) -> list[tuple[Block, int]]:
    """Return the blocks, each with the number of its trees."""
    return [(block, int((planting.trees.block == k).sum())) for k, block in enumerate(planting.site.blocks)]


def _kind_lines(kinds: Sequence[Kind]) -> Iterator[str]:
    """Yield findings, a line a kind; of very many of one code the first."""
    shown: dict[str, int] = {}
    for kind in kinds:
        one = kind.worst
        shown[one.code] = shown.get(one.code, 0) + 1
        if shown[one.code] <= SHOWN:
            yield one_line(f"  {one.severity}: {kind.line}")
    if more := sum(max(0, number - SHOWN) for number in shown.values()):
        yield f"  and {more:,} more lines like these; --json gives all"


def _set_out(block: Block, count: int, rows: Rows, index: int, units: str) -> str:
    """Say in a line how a block is set out."""
    from setout.units import show_length

    own, pattern = rows.block == index, block.pattern
    if pattern.kind == "points":
        return f"{count:,} single trees"
    lines = f"{int(own.sum())} {'line' if pattern.kind == 'screen' else 'row'}{'' if own.sum() == 1 else 's'}"
    said = f"{count:,} trees in {lines}, {pattern.kind}, step {show_length(pattern.step_m, units)}"
    if pattern.kind == "screen":
        return said
    between = show_length(pattern.row_distance_m, units)
    if pattern.row_distance_max_m < float("inf"):
        between += f" to {show_length(pattern.row_distance_max_m, units)}"
    bent = {"contour": "along the contour", "guide": "along a guide line"}.get(str(block.direction), "")
    way = bent or (f"bearing {rows.bearing_deg[own][0]:.1f} deg" if own.any() else "bearing none")
    return f"{said}, rows {between} apart, {way}"


def check_record(judged: Judged) -> dict[str, Any]:
    """Return what a look at given positions found."""
    from setout.words.findings import all_told

    told = [f.record() for f in all_told(judged.findings, judged.units)]
    return {"trees": judged.trees, "short": judged.short, **judged.record(), "findings": told}


def check_lines(judged: Judged, out: str | None) -> Iterator[str]:
    """Yield what a look at given positions found; what is wrong with the whole set-out first: it explains many of the rest."""
    from setout.model.asbuilt import WHOLE
    from setout.words.findings import all_told
    from setout.words.grouped import kinds_of, stops_said

    findings = all_told(judged.findings, judged.units)
    whole = [finding for finding in findings if finding.code in WHOLE]
    if whole:
        yield "The set-out as a whole:"
    for finding in whole:
        yield one_line(f"  {finding.severity}: {finding.message}; {finding.remedy}")
    rest = [finding for finding in findings if finding not in whole]
    systematic = judged.built is not None and judged.built.set_up.systematic
    stops = stops_said(rest)
    said = " besides the whole" if systematic else ""
    yield f"{judged.trees:,} trees looked at, {judged.short:,} fall short{said}{f': {stops}' if stops else ''}"
    if judged.counts:
        counts = ", ".join(f"{number:,} {word}" for word, number in judged.counts.items() if number)
        yield f"  {'among each other: ' if systematic else ''}{counts}"
    yield from _kind_lines(kinds_of(sorted(rest, key=lambda f: bool(f.tree_id) or f.severity == "note")))
    if out:
        yield f"Results in {out}: open asbuilt.html there.\n{CAUTION}"


def batch_record(done: Sequence[Done]) -> list[dict[str, Any]]:
    """Return what became of each plan."""
    return [
        {
            "plan": one.plan,
            "out": one.out,
            "trees": one.trees,
            "net_m2": None if one.trees is None else one.net_m2,
            "stops": one.stops,
            "lost": one.lost,
            "faults": [str(fault) for fault in one.faults],
        }
        for one in done
    ]


def batch_lines(done: Sequence[Done]) -> Iterator[str]:
    """Yield what became of each plan that could be planned."""
    from setout.units import show_area

    for one in done:
        if one.trees is not None:
            stops = f", {one.stops:,} to be put right before planting" if one.stops else ""
            yield one_line(f"{one.plan}: {one.trees:,} trees on {show_area(one.net_m2, one.units)}{stops}; results in {one.out}")
    yield CAUTION
