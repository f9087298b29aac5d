"""Work through the year: hours a plant by job, habit and size, and the months in which it is done.

The figures are in ``chores.csv`` beside this module: rules of thumb from memory, said so on every line, with the months
of the northern hemisphere. Pruning has no hours here: they follow from the pruning load (:mod:`setout.tables.labour`).
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Final

from setout.model.need import MONTHS
from setout.units import FOOT

PRUNING, WATERING_CHECKS = "pruning", "watering_checks"
JOBS: Final = (PRUNING, "thinning", "mulching", WATERING_CHECKS)
"""The jobs, in the order in which a report lists them."""
SHORT_MONTHS: Final = tuple(month[:3] for month in MONTHS)


@dataclass(frozen=True, slots=True)
class Chore:
    """One job on one kind of plant.

    Attributes
    ----------
    job, habit : what is done, and to what
    species : in lower case, to which alone it is done; empty for all
    height_max_m : tallest plant that it holds for [m]; inf for any
    hours : hours a plant and year [h]; NaN where they follow from the pruning load
    months : share of the year's hours in January to December, northern hemisphere; sums to 1
    source : where the figures come from
    """

    job: str
    habit: str
    species: frozenset[str]
    height_max_m: float
    hours: float
    months: tuple[float, ...]
    source: str


@lru_cache(maxsize=1)
def chores() -> tuple[Chore, ...]:
    """Return the table.

    Returns
    -------
    tuple of Chore
        In its order.
    """
    text = resources.files("setout.tables").joinpath("chores.csv").read_text(encoding="utf-8")
    return tuple(_chore(row) for row in csv.DictReader(text.splitlines()))


def _chore(row: dict[str, str]) -> Chore:
    words = row["months"].split()
    share = dict(zip(words[::2], map(float, words[1::2]), strict=True))
    total = sum(share.values())
    return Chore(
        row["job"],
        row["habit"],
        frozenset(name.strip().casefold() for name in row["species"].split("|") if name.strip()),
        float(row["height_max_ft"]) * FOOT if row["height_max_ft"] else math.inf,
        float(row["hours"]) if row["hours"] else math.nan,
        tuple(share.get(month, 0.0) / total for month in SHORT_MONTHS),
        row["source"],
    )


def chore_for(job: str, habit: str, species: str, height_m: float) -> Chore | None:
    """Find a job on a plant.

    Parameters
    ----------
    job : str
        One of :data:`JOBS`.
    habit, species : str
        The plant's.
    height_m : float
        Height it is kept at [m]; NaN counts as the tallest.

    Returns
    -------
    Chore or None
        The line of the smallest size that holds the plant; None where the job is not done to it.

    Examples
    --------
    >>> chore_for("thinning", "tree", "apple", 2.4).hours, chore_for("thinning", "tree", "walnut", 9.0)
    (0.15, None)
    """
    fits = [
        chore
        for chore in chores()
        if chore.job == job and chore.habit == habit and (not chore.species or species.casefold() in chore.species)
    ]
    fits.sort(key=lambda chore: chore.height_max_m)
    tall = math.inf if math.isnan(height_m) else height_m
    return next((chore for chore in fits if tall <= chore.height_max_m + 1e-9), None)
