"""From weather, plants and spacing to litres a tree and day."""

from __future__ import annotations

import numpy as np

from setout.nouns import Finding, Need, NeedSettings, Site, Trees, Weather


def need_of(site: Site, trees: Trees, weather: Weather | None, settings: NeedSettings, year: int | None = None) -> Need:
    """Return the water that every tree needs.

    Parameters
    ----------
    site : Site
        Blocks with their plants, and where they are.
    trees : Trees
        Positions.
    weather : Weather, optional
        The climate file; settings may give reference evapotranspiration instead.
    settings : NeedSettings
        What the plan file says.
    year : int, optional
        Year after planting; full size when absent.

    Returns
    -------
    Need
        Litres a day by tree, class, month and year; NaN with a finding where it cannot be known.
    """
    unknown = Finding(
        "need_unknown", "warn", "the water that trees need is not reckoned yet", "", "",
        'write eto = "0.28 in/day" in [water], or climate = "climate.csv"',
    )  # fmt: skip
    size = len(trees)
    return Need(np.full(size, np.nan), np.full(size, -1), (), year, findings=(unknown,))
