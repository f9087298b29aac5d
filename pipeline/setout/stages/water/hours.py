"""Hours of every zone at the peak, within the hours and the volume that a water point may run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.nouns import Floats, Ints
from setout.nouns.irrigation import IrrigationPlan

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
    start : hours after the beginning [h]; zones that run at once begin together
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

    One zone after the other; where that takes longer than the hours allowed, zones that the water point can feed
    together run at once. What still does not fit goes without in the order that leaves most trees watered.

    Parameters
    ----------
    draws : Draws
        Needs and flows.
    plan : IrrigationPlan
        Hours and days allowed, daily volume.

    Returns
    -------
    Programme
        One entry a zone.
    """
    zones = len(draws.point)
    each = hours_each(draws, plan)
    own = (draws.zone >= 0) & np.isfinite(each)
    fits = own & draws.able & (each <= plan.hours_per_day * (1 + 1e-9))
    needed = np.full(zones, -np.inf)
    np.maximum.at(needed, draws.zone[fits], each[fits])
    served = np.bincount(draws.zone[fits], minlength=zones)
    # a zone none of whose trees can be met in the hours allowed gets what is left of them
    hopeless = np.isneginf(needed)
    needed[hopeless] = np.where(np.bincount(draws.zone[own], minlength=zones)[hopeless] > 0, plan.hours_per_day, np.nan)
    needed = np.ceil(np.round(needed / MINUTE, 6)) * MINUTE
    needed = np.minimum(needed, plan.hours_per_day)
    hours, start, by_volume = np.full(zones, np.nan), np.full(zones, np.nan), np.zeros(zones, bool)
    for p in np.unique(draws.point).tolist():
        these = [z for z in np.flatnonzero(draws.point == p).tolist() if np.isfinite(needed[z])]
        sets = _sets(these, needed, draws, float(draws.capacity_lph[p]), plan.hours_per_day)
        _give(sets, needed, served, draws, plan, (hours, by_volume))
        clock = 0.0
        for together in sets:
            start[together] = clock
            clock += max(hours[together])
    return Programme(needed, hours, start, by_volume)


def _sets(zones: list[int], needed: Floats, draws: Draws, capacity: float, allowed: float) -> list[list[int]]:
    """Return zones that run at once, in the order in which they run."""
    alone = [[z] for z in zones]
    if sum(needed[z] for z in zones) <= allowed + 1e-9:
        return alone
    sets: list[list[int]] = []
    for z in sorted(zones, key=lambda z: (-needed[z], z)):
        for together in sets:
            if draws.zone_lph[together].sum() + draws.zone_lph[z] <= capacity * (1 + 1e-9):
                together.append(z)
                break
        else:
            sets.append([z])
    return sorted((sorted(s) for s in sets), key=lambda s: s[0])


def _give(
    sets: list[list[int]], needed: Floats, served: NDArray[np.int64], draws: Draws, plan: IrrigationPlan,
    out: tuple[Floats, NDArray[np.bool_]],
) -> None:  # fmt: skip
    """Hand out hours and volume, first to what waters most trees an hour."""
    hours, by_volume = out
    left, volume = plan.hours_per_day, plan.daily_volume_l
    for together in sorted(sets, key=lambda s: (-served[s].sum() / max(*needed[s], MINUTE), s[0])):
        given = min(max(needed[together]), left)
        for z in together:
            wanted = min(needed[z], given)
            most = volume / max(draws.zone_lph[z], 1e-9)
            hours[z] = np.floor(np.round(min(wanted, most) / MINUTE, 6)) * MINUTE
            by_volume[z] = most < wanted
            volume -= hours[z] * draws.zone_lph[z]
        left -= max(hours[together])


def monthly(draws: Draws, plan: IrrigationPlan, need: Sequence[Floats]) -> Floats:
    """Return the hours of every zone under other needs than at the peak.

    Parameters
    ----------
    draws : Draws
        Flows.
    plan : IrrigationPlan
        Days allowed.
    need : Sequence of (trees,) ndarray
        Needs [l/day], such as one for each month.

    Returns
    -------
    (zones, len(need)) ndarray
        Hours on every day of watering, whole minutes, the longest of all trees whose pressure is enough [h];
        NaN where no need is known.
    """
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
