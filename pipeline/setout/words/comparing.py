"""Options in words: why a figure of theirs is not known, what a limit asks, and what a step is called."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from setout.model.comparison import Fit, Outcome
from setout.units import FOOT
from setout.words.template import filled

_WHY: Final[Mapping[str, str]] = {
    "crowding": "the plants' spread is unknown",
    "pruning_h": "the plants' sizes or habit are unknown",
    "work_h": "the plants' sizes or habit are unknown",
    "sun_h": "the plants' sizes are unknown, or light is not reckoned",
    "need_lpd": "no reference evapotranspiration, spread or crop coefficient",
    "alley_m": "no rows side by side, or the plants' spread is unknown",
    "first_cost": "no price for [[{unpriced:series}||its plants]]",
    "yearly_cost": "no price of work, or its hours are unknown",
}
_LIMITS: Final[Mapping[str, str]] = {"hours_per_week": "{most:g} hours of work a week", "trees": "{most:count} trees"}


def why_unknown(outcome: Outcome) -> dict[str, str]:
    """Return why figures of an option are not known, by their names."""
    figures = {"unpriced": outcome.unpriced}
    return {name: filled(why, figures, "si") for name, why in _WHY.items() if np.isnan(getattr(outcome, name))}


def limit_text(fit: Fit) -> str:
    """Say what a grower's limit asks.

    >>> limit_text(Fit("hours_per_week", 4.0, None, (1.0, 9.0))), limit_text(Fit("trees", 1500, None, (1.0, 9.0)))
    ('4 hours of work a week', '1,500 trees')
    """
    return filled(_LIMITS[fit.limit], {"most": fit.asked}, "si")


def step_text(step_m: float, rows_m: float, units: str) -> str:
    """Return what an option is called that differs in its distances alone.

    >>> step_text(2.4384, 3.6576, "us")
    'step 8 ft, rows 12 ft'
    """
    unit, word = (FOOT, "ft") if units == "us" else (1.0, "m")
    return f"step {step_m / unit:.4g} {word}, rows {rows_m / unit:.4g} {word}"
