"""Zones: pieces of row that are watered at once, as many as the source can feed, in groups of about the same flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from setout.model import Floats, Ints
from setout.stages.water.chains import Chain

ALIKE = 1.15
"""Most that the hours of trees in one zone differ, as a ratio; no source: what is watered too long wastes water."""
LEAST_ROWS = 4
"""Fewest rows that a valve is worth; no source."""


@dataclass(frozen=True, slots=True)
class Sections:
    """What single valves open: neighbouring pieces on one manifold line, all in one zone.

    Attributes
    ----------
    zone : zone of each section
    chain : index of the manifold line
    first, last : first and last piece on it, as places on the line, ``last`` among them
    point : per zone, its water point
    """

    zone: Ints
    chain: Ints
    first: Ints
    last: Ints
    point: Ints


def zones_of(
    chains: Sequence[Chain], point: Sequence[int], flow: Floats, hours: Floats, capacity: Floats, names: Sequence[str]
) -> Sections:
    """Group pieces into zones that their water point can feed.

    Manifold lines whose trees need about the same hours are joined; each group is divided into as few zones as its
    flow allows, and these into zones of flows as equal as whole pieces of row allow.
    """
    zone_of: list[int] = []
    chain_of: list[int] = []
    first: list[int] = []
    last: list[int] = []
    of_point: list[int] = []
    zones = 0
    for p in sorted(set(point), key=lambda p: names[p]):
        for group in _alike([k for k, q in enumerate(point) if q == p], hours):
            places = [(k, i) for k in group for i in range(len(chains[k].piece))]
            flows = np.array([flow[chains[k].piece[i]] for k, i in places])
            number = partition(flows, float(capacity[p]))
            for (k, i), zone in zip(places, (number + zones).tolist(), strict=True):
                if zone_of and zone_of[-1] == zone and chain_of[-1] == k:
                    last[-1] = i
                else:
                    zone_of.append(zone)
                    chain_of.append(k)
                    first.append(i)
                    last.append(i)
            of_point += [p] * (int(number[-1]) + 1)
            zones += int(number[-1]) + 1
    return Sections(*(np.array(v, np.int64) for v in (zone_of, chain_of, first, last, of_point)))


def by_elevation(sections: Sections, tee_z: Sequence[Floats], allowed_m: float) -> Sections:
    """Divide sections where their manifold climbs or falls by more than allowed, so that each has a regulator of its own."""
    zone: list[int] = []
    chain: list[int] = []
    first: list[int] = []
    last: list[int] = []
    for z, c, start, stop in zip(*(v.tolist() for v in (sections.zone, sections.chain, sections.first, sections.last)), strict=True):
        begin = start
        while begin <= stop:
            end = _level_end(tee_z[c], begin, stop, allowed_m)
            zone.append(z)
            chain.append(c)
            first.append(begin)
            last.append(end)
            begin = end + 1
    told = [np.array(v, np.int64) for v in (zone, chain, first, last)]
    return Sections(told[0], told[1], told[2], told[3], sections.point)


def _level_end(z: Floats, begin: int, stop: int, allowed_m: float) -> int:
    """Return the last row of a section that begins somewhere: as far as elevations allow, and some rows at the least."""
    part = z[begin : stop + 1]
    part = np.where(np.isfinite(part), part, np.nanmean(part) if np.isfinite(part).any() else 0.0)
    within = np.maximum.accumulate(part) - np.minimum.accumulate(part) <= allowed_m
    rows = max(int(within.sum()) if within.all() else int(np.argmin(within)), LEAST_ROWS)
    # what is left over is not worth a valve of its own
    return stop if begin + rows + LEAST_ROWS - 1 > stop else begin + rows - 1


def _alike(chains: list[int], hours: Floats) -> list[list[int]]:
    """Divide manifold lines into groups whose hours differ by no more than a ratio; the unknown are one group."""
    known = sorted((k for k in chains if np.isfinite(hours[k])), key=lambda k: (hours[k], k))
    groups: list[list[int]] = []
    for k in known:
        if groups and hours[k] <= ALIKE * hours[groups[-1][0]]:
            groups[-1].append(k)
        else:
            groups.append([k])
    unknown = [k for k in chains if not np.isfinite(hours[k])]
    return sorted([sorted(group) for group in [*groups, unknown] if group], key=lambda group: group[0])


def partition(flow: Floats, capacity: float) -> Ints:
    """Divide a line of flows into as few neighbouring groups as a capacity allows, the greatest as small as it can be.

    >>> partition(np.array([3.0, 3.0, 3.0, 3.0, 3.0, 3.0]), 10.0).tolist()
    [0, 0, 0, 1, 1, 1]
    """
    least, most = float(flow.max()), max(capacity, float(flow.max()))
    groups = int(_greedy(flow, most)[-1]) + 1
    low, high = least, most
    for _ in range(40):
        middle = (low + high) / 2
        if int(_greedy(flow, middle)[-1]) + 1 <= groups:
            high = middle
        else:
            low = middle
    return _greedy(flow, high)


def _greedy(flow: Floats, most: float) -> Ints:
    """Fill groups one after the other as far as they go."""
    total = np.concatenate([[0.0], np.cumsum(flow)])
    out = np.zeros(len(flow), np.int64)
    start, number = 0, 0
    while start < len(flow):
        stop = max(int(np.searchsorted(total, total[start] + most * (1 + 1e-12), side="right")) - 1, start + 1)
        out[start:stop] = number
        start, number = stop, number + 1
    return out
