"""Every tree judged: its need is met within the hours, or the reason why not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.model import Bools, Floats, Ints
from setout.model.irrigation import (
    FLOW_UNKNOWN,
    HOURS_OUT,
    LOW_FLOW,
    LOW_PRESSURE,
    NEED_UNKNOWN,
    REASONS,
    TOO_HIGH,
    VOLUME_OUT,
    WATERED,
    IrrigationPlan,
)
from setout.stages.water.hours import Draws, Programme, hours_each

CODE = {reason: number for number, reason in enumerate(REASONS)}
"""Number of each reason."""


@dataclass(frozen=True, slots=True)
class Judged:
    """Per tree: watered, whether that can be known, and the reason as an index into REASONS."""

    watered: Bools
    known: Bools
    reason: NDArray[np.int8]


def judged(draws: Draws, plan: IrrigationPlan, run: Programme, unserved: Ints, high: Bools) -> Judged:
    """Judge every tree."""
    each = hours_each(draws, plan)
    zone = np.maximum(draws.zone, 0)
    given = run.hours[zone] if len(run.hours) else np.full(len(zone), np.nan)
    by_volume = run.by_volume[zone] if len(run.hours) else np.zeros(len(zone), bool)
    on = draws.zone >= 0
    need_known = np.isfinite(draws.need_lpd)
    flowing = np.isfinite(draws.flow_lph)
    watered = on & draws.able & need_known & (each <= given + 1e-9)
    low = on & flowing & ~draws.able
    cases = (
        (low & high, TOO_HIGH),
        (low, LOW_PRESSURE),
        (~need_known, NEED_UNKNOWN),
        (~flowing, FLOW_UNKNOWN),
        (watered, WATERED),
        (_starved(draws, plan, each), LOW_PRESSURE),
        (each > plan.hours_per_day * (1 + 1e-9), LOW_FLOW),
        (by_volume, VOLUME_OUT),
    )
    codes = [unserved, *(np.full(len(zone), CODE[word]) for _, word in cases)]
    reason = np.select([unserved >= 0, *(case for case, _ in cases)], codes, CODE[HOURS_OUT])
    known = (unserved >= 0) | (on & flowing & (need_known | ~draws.able))
    return Judged(watered, known, reason.astype(np.int8))


def _starved(draws: Draws, plan: IrrigationPlan, each: Floats) -> Bools:
    """Tell which trees their emitters would give enough at rated pressure, which they are further from than allowed."""
    assert plan.emitter is not None
    allowed = (1 - plan.spread_limit / 2) ** plan.emitter.exponent
    with np.errstate(divide="ignore", invalid="ignore"):
        at_rated = each * (draws.flow_lph / draws.rated_lph)
    most = plan.hours_per_day * (1 + 1e-9)
    short = draws.flow_lph < draws.rated_lph * allowed * (1 - 1e-6)
    return np.asarray((each > most) & (at_rated <= most) & short, bool)
