"""The plant catalogue: species and size classes with their mature size.

The figures are in ``plants.csv`` beside this module, each row with the source of its size or the words "from memory".
"""

from __future__ import annotations

import csv
import difflib
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from setout.units import FOOT


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """One size class of one species.

    Attributes
    ----------
    species, size_class : names, as in "apple, semi-dwarf"
    note : what the class means, such as the rootstocks that give it
    height_range_m, spread_range_m : smallest and greatest mature size [m]
    source : where the sizes come from
    """

    species: str
    size_class: str
    note: str
    height_range_m: tuple[float, float]
    spread_range_m: tuple[float, float]
    source: str

    @property
    def name(self) -> str:
        """Return the name a plan file uses."""
        return f"{self.species}, {self.size_class}"

    @property
    def height_m(self) -> float:
        """Return the mature height to plan with [m]: the greatest, since lines and light are judged by it."""
        return self.height_range_m[1]

    @property
    def spread_m(self) -> float:
        """Return the mature canopy diameter to plan with [m]: the middle of the range."""
        return sum(self.spread_range_m) / 2


@lru_cache(maxsize=1)
def entries() -> tuple[CatalogueEntry, ...]:
    """Return the whole catalogue in the order of the table.

    Returns
    -------
    tuple of CatalogueEntry
        One entry a row.
    """
    text = resources.files("setout.tables").joinpath("plants.csv").read_text(encoding="utf-8")
    return tuple(
        CatalogueEntry(
            row["species"],
            row["size_class"],
            row["class_note"],
            (float(row["height_min_ft"]) * FOOT, float(row["height_max_ft"]) * FOOT),
            (float(row["spread_min_ft"]) * FOOT, float(row["spread_max_ft"]) * FOOT),
            row["size_source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def find(name: str) -> CatalogueEntry:
    """Find a plant by ``species, size class``; the class may be left out where one is usual. Case is ignored.

    Parameters
    ----------
    name : str
        Such as ``"apple, semi-dwarf"`` or ``"almond"``.

    Returns
    -------
    CatalogueEntry
        The plant.

    Raises
    ------
    ValueError
        No such plant, or several size classes and none of them standard; names the near ones.

    Examples
    --------
    >>> find("Apple, Semi-Dwarf").name, find("almond").name
    ('apple, semi-dwarf', 'almond, standard')
    >>> find("aple, dwarf")
    Traceback (most recent call last):
    ValueError: "aple, dwarf" is not in the catalogue; did you mean "apple, dwarf"?
    """
    wanted = _fold(name)
    for entry in entries():
        if wanted in (_fold(entry.name), _fold(f"{entry.name} ({entry.note})")):
            return entry
    classes = [entry for entry in entries() if _fold(entry.species) == wanted]
    standard = [entry for entry in classes if entry.size_class.startswith("standard")]
    if standard or len(classes) == 1:
        return (standard or classes)[0]
    if classes:
        names = ", ".join(f'"{entry.name}"' for entry in classes)
        raise ValueError(f'"{name}" has several size classes; write one of {names}')
    names_by_fold = {_fold(entry.name): entry.name for entry in entries()} | {
        _fold(entry.species): entry.species for entry in entries()
    }
    near = difflib.get_close_matches(wanted, list(names_by_fold), 1, 0.6)
    hint = f'did you mean "{names_by_fold[near[0]]}"?' if near else 'see "setout plants" for the names'
    raise ValueError(f'"{name}" is not in the catalogue; {hint}')


def _fold(name: str) -> str:
    """Return a name without letter case and with single spaces."""
    return re.sub(r"\s*,\s*", ", ", re.sub(r"\s+", " ", name.strip())).casefold()
