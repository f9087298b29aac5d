"""The plant catalogue: species and size classes with their figures, and the grower's own plants over them.

The figures are in ``plants.csv`` beside this module, each group of them with its source or the words "from
memory"; ``sources.csv`` says which publication each name of a source stands for. A grower adds plants, or
changes figures of those that are there, in a plan file or in a CSV with the same columns.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import Any

from setout.errors import Fault
from setout.tables.entry import FIGURES, CatalogueEntry, Figure, known_figures
from setout.tables.rows import Given, entry_of, fault_of, fold, given_in_table
from setout.tables.sheet import given_in_csv
from setout.units import show_length

__all__ = ["FIGURES", "CatalogueEntry", "entries", "figures_of", "find", "look_at_csv", "look_at_tables", "publications"]


@lru_cache(maxsize=1)
def _published() -> tuple[CatalogueEntry, ...]:
    lines = [given for _, given in given_in_csv(_table("plants.csv"), "plants.csv")]
    assert not [fault for given in lines for fault in given.faults]
    return tuple(entry_of(given, None, "catalogue") for given in lines)


def _table(name: str) -> str:
    return resources.files("setout.tables").joinpath(name).read_text(encoding="utf-8")


def entries(own: Iterable[CatalogueEntry] = ()) -> tuple[CatalogueEntry, ...]:
    """Return the whole catalogue in the order of the table.

    Parameters
    ----------
    own : Iterable of CatalogueEntry
        The grower's plants: they take the place of those with the same name, new ones come last.

    Returns
    -------
    tuple of CatalogueEntry
        One entry a row.
    """
    by_name = {fold(entry.name): entry for entry in _published()}
    by_name |= {fold(entry.name): entry for entry in own}
    return tuple(by_name.values())


def find(name: str, own: Mapping[str, CatalogueEntry] | None = None) -> CatalogueEntry:
    """Find a plant by ``species, size class``; the class may be left out where one is usual. Case is ignored.

    Parameters
    ----------
    name : str
        Such as ``"apple, semi-dwarf"`` or ``"almond"``.
    own : Mapping, optional
        The grower's plants by name; they go before the catalogue's.

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
    known = entries((own or {}).values())
    found = _named(name, known)
    if found is not None:
        return found
    wanted = fold(name)
    names = {fold(entry.name): entry.name for entry in known} | {fold(entry.species): entry.species for entry in known}
    near = difflib.get_close_matches(wanted, list(names), 1, 0.6)
    near += [one for one in difflib.get_close_matches(wanted, list(names), 3, 0.8) if one not in near]
    shown = " or ".join(f'"{names[one]}"' for one in near)
    hint = f"did you mean {shown}?" if near else 'see "setout plants" for the names'
    raise ValueError(f'"{name}" is not in the catalogue; {hint}')


def _named(name: str, known: Sequence[CatalogueEntry]) -> CatalogueEntry | None:
    """Return the plant of that name, None where there is none; several classes without a standard one are refused."""
    wanted = fold(name)
    for entry in known:
        if wanted in (fold(entry.name), fold(f"{entry.name} ({entry.note})")):
            return entry
    classes = [entry for entry in known if fold(entry.species) == wanted]
    standard = [entry for entry in classes if entry.size_class.startswith("standard")]
    if standard or len(classes) == 1:
        return (standard or classes)[0]
    if classes:
        names = ", ".join(f'"{entry.name}"' for entry in classes)
        raise ValueError(f'"{name}" has several size classes; write one of {names}')
    return None


def _base(given: Given, own: Mapping[str, CatalogueEntry], where: str) -> CatalogueEntry | None:
    """Return the entry that what was given stands on; a name of several classes is a fault."""
    if not given.name:
        return None
    try:
        return _named(given.name, entries(own.values()))
    except ValueError as error:
        given.faults.append(fault_of(error, where))
        return None


def look_at_tables(
    tables: Sequence[Mapping[str, Any]], origin: str, own: Mapping[str, CatalogueEntry] | None = None
) -> tuple[dict[str, CatalogueEntry], tuple[Fault, ...]]:
    """Read all [[plant]] tables of a plan file, as far as they can be read.

    Parameters
    ----------
    tables : Sequence of Mapping
        In the order of the file.
    origin : str
        Name of the plan file.
    own : Mapping, optional
        Plants of an own CSV, on which the tables may stand.

    Returns
    -------
    tuple
        Plants by name, those with a fault without the figure at fault; and every fault.

    Examples
    --------
    >>> found, faults = look_at_tables([{"name": "seaberry", "height": 12}], "plan.toml")
    >>> list(found), str(faults[0])
    (['seaberry'], 'plan.toml: plant[1].height: 12 has no unit; write "16 ft" or "4.9 m"')
    """
    found = {fold(name): entry for name, entry in (own or {}).items()}
    faults: list[Fault] = []
    seen: dict[str, int] = {}
    for number, table in enumerate(tables, 1):
        place = f"{origin}: plant[{number}]"
        given = given_in_table(table, place)
        base = _base(given, own or {}, f"{place}.name")
        if given.name:
            entry = entry_of(given, base, origin)
            given.faults += _twice(entry, seen, number, f"{place}.name", "plant[{}]")
            found[fold(entry.name)] = entry
        faults += given.faults
    return {entry.name: entry for entry in found.values()}, tuple(faults)


def look_at_csv(text: str, origin: str, where: str = "") -> tuple[dict[str, CatalogueEntry], tuple[Fault, ...]]:
    r"""Read an own CSV of plants, in the columns of ``plants.csv``, as far as it can be read; lengths end in ``_ft`` or ``_m``.

    Parameters
    ----------
    text : str
        What the file holds.
    origin : str
        Name of the file; marks what is the grower's.
    where : str
        The file, for messages; the origin when absent.

    Returns
    -------
    tuple
        Plants by name, those with a fault without the figures at fault; and every fault.

    Examples
    --------
    >>> found, faults = look_at_csv("name,kc_mid\nfig,much", "own.csv")
    >>> list(found), faults[0].where
    (['fig, standard'], 'own.csv: line 2, column kc_mid')
    """
    found: dict[str, CatalogueEntry] = {}
    faults: list[Fault] = []
    seen: dict[str, int] = {}
    for line, given in given_in_csv(text, where or origin):
        place = f"{where or origin}: line {line}"
        base = _base(given, {}, f"{place}, column name")
        if given.name:
            entry = entry_of(given, base, origin)
            given.faults += _twice(entry, seen, line, place, "line {}")
            found[entry.name] = entry
        faults += given.faults
    return found, tuple(faults)


def _twice(entry: CatalogueEntry, seen: dict[str, int], number: int, where: str, said: str) -> list[Fault]:
    """Keep where a name stands first; return the fault of standing twice."""
    first = seen.setdefault(fold(entry.name), number)
    if first == number:
        return []
    return [Fault(f'"{entry.name}" is there already, in {said.format(first)}', where, "leave one, or give another size class")]


def figures_of(entry: CatalogueEntry, units: str = "us") -> list[tuple[str, str, str]]:
    """Return every known figure of a plant for people.

    Parameters
    ----------
    entry : CatalogueEntry
        The plant.
    units : str
        ``"us"`` or ``"si"``.

    Returns
    -------
    list of tuple
        Figure, value with its unit, and source; the grower's own read "yours" and name the file.

    Examples
    --------
    >>> (own,) = look_at_tables([{"name": "almond", "spread": "14 ft"}], "plan.toml")[0].values()
    >>> [figure for figure in figures_of(own) if figure[0] in ("spread", "chill")]
    [('spread', '14 ft', 'yours (plan.toml)'), ('chill', '400-700 h', 'nursery chill table (low authority)')]
    """
    known = known_figures(entry)
    return [(one.label, _written(one, getattr(entry, one.field), units), entry.source_of(one.field)) for one in known]


def _written(figure: Figure, value: Any, units: str) -> str:
    if isinstance(value, str):
        return value
    if figure.kind == "length":
        return show_length(value, units)
    if figure.kind == "hours":
        return "none needed" if value == (0.0, 0.0) else _range(f"{value[0]:g}", f"{value[1]:g}", " h")
    if figure.kind == "range":
        low, high = (show_length(end, units) for end in value)
        return _range(low.rpartition(" ")[0], high.rpartition(" ")[0], f" {high.rpartition(' ')[2]}")
    return f"{value:.2f}" if figure.field == "kc_mid" else f"{value:g}"


def _range(low: str, high: str, unit: str) -> str:
    return f"{low}{unit}" if low == high else f"{low}-{high}{unit}"


@lru_cache(maxsize=1)
def _publications() -> tuple[tuple[str, str, str], ...]:
    return tuple((row["name"], row["publication"], row["address"]) for row in csv.DictReader(_table("sources.csv").splitlines()))


def publications(shown: Iterable[CatalogueEntry] | None = None) -> tuple[tuple[str, str, str], ...]:
    """Return what the names of sources stand for.

    Parameters
    ----------
    shown : Iterable of CatalogueEntry, optional
        Only the sources that these plants name; all when absent.

    Returns
    -------
    tuple
        Name, publication and address (empty where there is none to give) of each.

    Examples
    --------
    >>> [name for name, _, _ in publications([find("olive, hedgerow")])]
    ['FAO-56 Table 12', 'nursery chill table']
    """
    if shown is None:
        return _publications()
    said = "\n".join(entry.source_of(figure.field) for entry in shown for figure in known_figures(entry))
    return tuple(row for row in _publications() if row[0] in said)
