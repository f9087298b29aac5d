"""Hours of every zone at the peak, within the hours and the volume that a water point may run."""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.model import Floats, Ints
from setout.model.irrigation import IrrigationPlan

MINUTE: Final = 1 / 60
"""Zones run whole minutes [h]."""


@dataclass(frozen=True, slots=True)
class Draws:
    """What trees need and get.

    Attributes
    ----------
    zone : per tree, its zone; -1 for none
    need_lpd : per tree [l/day]; NaN unknown
    flow_lph : per tree [l/h]; NaN unknown
    able : per tree, its pressure is enough for its emitters
    point : per zone, its water point
    zone_lph : per zone, what it draws [l/h]
    capacity_lph : per water point, what it gives [l/h]
    rated_lph : per tree, what its emitters give at their rated pressure [l/h]
    """

    zone: Ints
    need_lpd: Floats
    flow_lph: Floats
    able: NDArray[np.bool_]
    point: Ints
    zone_lph: Floats
    capacity_lph: Floats
    rated_lph: Floats


@dataclass(frozen=True, slots=True)
class Programme:
    """When zones run on each day of watering.

    Attributes
    ----------
    needed : hours that meet the need of every tree whose emitters can [h]; NaN where no need is known
    hours : hours that the zone is given [h]; NaN likewise
    start : hours after the beginning [h]; zones whose times overlap run at once; NaN for those that get no hours
    by_volume : the zone is given less because the water point's daily volume is used up
    """

    needed: Floats
    hours: Floats
    start: Floats
    by_volume: NDArray[np.bool_]


def hours_each(draws: Draws, plan: IrrigationPlan) -> Floats:
    """Return the hours on every day of watering that would meet each tree's need [h]; NaN unknown, inf for no flow."""
    with np.errstate(divide="ignore", invalid="ignore"):
        each = draws.need_lpd / draws.flow_lph * (7 / plan.days_per_week)
    return np.asarray(np.where(draws.need_lpd == 0, 0.0, each), float)


def programme(draws: Draws, plan: IrrigationPlan) -> Programme:
    """Give every zone its hours.

    One zone after the other; where that takes longer than the hours allowed, zones run beside each other as far as the
    water point feeds them. What still does not fit goes without: of several orders the one is taken that waters most
    trees, and of these the one that ends first.
    """
    zones = len(draws.point)
    each = hours_each(draws, plan)
    own = (draws.zone >= 0) & np.isfinite(each)
    fits = own & draws.able & (each <= plan.hours_per_day * (1 + 1e-9))
    needed = np.full(zones, -np.inf)
    np.maximum.at(needed, draws.zone[fits], each[fits])
    # a zone none of whose trees can be met in the hours allowed gets what is left of them
    hopeless = np.isneginf(needed)
    needed[hopeless] = np.where(np.bincount(draws.zone[own], minlength=zones)[hopeless] > 0, plan.hours_per_day, np.nan)
    needed = np.ceil(np.round(needed / MINUTE, 6)) * MINUTE
    needed = np.minimum(needed, plan.hours_per_day)
    hours, start, by_volume = np.full(zones, np.nan), np.full(zones, np.nan), np.zeros(zones, bool)
    of = draws.zone[fits]
    order = np.lexsort((each[fits], of))
    edges = np.searchsorted(of[order], np.arange(zones + 1))
    waits = [each[fits][order[a:b]] for a, b in itertools.pairwise(edges.tolist())]
    for p in np.unique(draws.point).tolist():
        these = [z for z in np.flatnonzero(draws.point == p).tolist() if np.isfinite(needed[z])]
        wants = [_Want(z, float(needed[z]), float(draws.zone_lph[z]), waits[z]) for z in these]
        for got in _given(wants, float(draws.capacity_lph[p]), plan):
            hours[got.zone], by_volume[got.zone] = got.hours, got.by_volume
            start[got.zone] = got.start if got.hours > 0 or needed[got.zone] == 0 else np.nan
    return Programme(needed, hours, start, by_volume)


@dataclass(frozen=True, slots=True)
class _Want:
    """A zone: the hours that it needs [h], what it draws [l/h], and the hours that each of its trees needs, ascending [h]."""

    zone: int
    hours: float
    lph: float
    waits: Floats

    def met(self, hours: float) -> int:
        """Return how many trees are met in some hours."""
        return int(np.searchsorted(self.waits, hours + 1e-9, side="right"))


@dataclass(frozen=True, slots=True)
class _Got:
    """What a zone is given."""

    zone: int
    start: float
    hours: float
    by_volume: bool
    met: int


class _Clock:
    """The day of a water point, in stretches of time with what is drawn in each."""

    def __init__(self, allowed: float, capacity: float) -> None:
        self.edges, self.drawn, self.capacity = [0.0, allowed], [0.0], capacity

    def gap(self, hours: float, lph: float) -> tuple[float, float]:
        """Return start and length of the first stretch that has room for a flow for so long, else of the longest."""
        start, best = 0.0, (0.0, 0.0)
        for k, drawn in enumerate(self.drawn):
            if drawn > 0 and drawn + lph > self.capacity * (1 + 1e-9):
                start = self.edges[k + 1]
                continue
            length = self.edges[k + 1] - start
            if length > best[1] + 1e-9:
                best = (start, length)
            if length >= hours - 1e-9:
                break
        return best

    def take(self, start: float, hours: float, lph: float) -> None:
        """Draw a flow from some time on."""
        for at in (start, min(start + hours, self.edges[-1])):
            k = bisect.bisect_left(self.edges, at - 1e-9)
            if self.edges[k] > at + 1e-9:
                self.edges.insert(k, at)
                self.drawn.insert(k, self.drawn[k - 1])
        for k, edge in enumerate(self.edges[:-1]):
            if start - 1e-9 <= edge < start + hours - 1e-9:
                self.drawn[k] += lph


def _given(wants: list[_Want], capacity: float, plan: IrrigationPlan) -> list[_Got]:
    """Hand out the hours and the volume of one water point."""
    if sum(want.hours for want in wants) <= plan.hours_per_day + 1e-9:
        capacity = 0.0  # there is time for one after the other

    def trees_an_hour(want: _Want) -> float:
        return len(want.waits) / max(want.hours, MINUTE)

    orders = (
        wants,
        sorted(wants, key=lambda want: -want.hours),
        sorted(wants, key=lambda want: -trees_an_hour(want)),
        sorted(wants, key=lambda want: -trees_an_hour(want) / max(want.lph, 1e-9)),
    )
    best: tuple[tuple[int, float], list[_Got]] | None = None
    for order in orders:
        got = _placed(order, _Clock(plan.hours_per_day, capacity), plan.daily_volume_l)
        met = sum(g.met for g in got)
        worth = (met, -round(max((g.start + g.hours for g in got), default=0.0), 6))
        if best is None or worth > best[0]:
            best = worth, got
        if met == sum(len(want.waits) for want in wants):
            break
    return [] if best is None else best[1]


def _placed(wants: Sequence[_Want], clock: _Clock, volume: float) -> list[_Got]:
    """Place zones in some order, each as early as there is room for all of its hours; then fill up with parts."""
    out, late = [], []
    for want in wants:
        start, length = clock.gap(want.hours, want.lph)
        if not len(want.waits) or length < want.hours - 1e-9 or want.hours * want.lph > volume * (1 + 1e-9):
            late.append(want)
            continue
        clock.take(start, want.hours, want.lph)
        volume -= want.hours * want.lph
        out.append(_Got(want.zone, start, want.hours, by_volume=False, met=len(want.waits)))
    for want in late:
        most = max(volume, 0.0) / max(want.lph, 1e-9)
        start, length = clock.gap(min(want.hours, most), want.lph)
        hours = float(np.floor(np.round(min(want.hours, most, length) / MINUTE, 6)) * MINUTE)
        if hours > 0:
            clock.take(start, hours, want.lph)
            volume -= hours * want.lph
        out.append(_Got(want.zone, start, hours, by_volume=most < min(want.hours, length), met=want.met(hours)))
    return out


def monthly(draws: Draws, plan: IrrigationPlan, need: Sequence[Floats]) -> Floats:
    """Return the hours of every zone under other needs than at the peak."""
    out = np.zeros((len(draws.point), len(need)))
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = 7 / plan.days_per_week / draws.flow_lph
    own = (draws.zone >= 0) & draws.able & np.isfinite(factor)
    for k, lpd in enumerate(need):
        each = lpd * factor
        use = own & np.isfinite(each)
        np.maximum.at(out[:, k], draws.zone[use], each[use])
        out[np.bincount(draws.zone[use], minlength=len(out)) == 0, k] = np.nan
    return np.asarray(np.ceil(np.round(out / MINUTE, 6)) * MINUTE, float)
