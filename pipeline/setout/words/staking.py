"""What is said of stakes and monuments in files for crews."""

from __future__ import annotations

from dataclasses import replace

from setout.model.staking import Kind, StakeSet


def kind_label(kind: Kind) -> str:
    """Return how a crew calls what is planted.

    >>> kind_label(Kind("A", "apple, dwarf", "Jonathan", "pollinizer", 3))
    'apple, dwarf: Jonathan (pollinizer)'
    """
    name = f"{kind.plant}: {kind.variety}" if kind.variety else kind.plant
    return f"{name or 'tree'} ({kind.role})" if kind.role else name or "tree"


def described(stakes: StakeSet) -> StakeSet:
    """Return what is set out, its points described: trees by what they are, monuments by the way to the next."""
    said = [f"{k.plant} {k.variety}".strip() or f"tree {k.block}" for k in stakes.kinds]
    trees = replace(stakes.trees, description=[said[code] for code in stakes.kind.tolist()])
    n = 3 if stakes.size == 1.0 else 2
    on = {leg.start: f"; to {leg.end} {leg.grid:.{n}f} grid {leg.ground:.{n}f} ground {stakes.unit}" for leg in stakes.legs}
    corners = [f"boundary corner{on.get(name, '')}" for name in stakes.monuments.tree_id]
    return replace(stakes, trees=trees, monuments=replace(stakes.monuments, description=corners))
