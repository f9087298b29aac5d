"""Reading a plant: the [[plant]] table of a plan file, and an entry out of what was given."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from setout.errors import Fault
from setout.tables.entry import FIGURE, FIGURES, SOURCES, CatalogueEntry, Figure
from setout.units import quantity

BY_KEY: Final = {figure.key: figure for figure in FIGURES}
MEANING: Final = {
    "name": "Species, or species and size class",
    "note": "What the class means, such as its rootstocks",
    "height": "Mature height, left to grow",
    "spread": "Mature canopy diameter, left to grow",
    "in_row": "Usual distance in the row",
    "row_distance": "Usual distance between rows",
    "pollination": "Whether it sets alone: `none` needed, `helped` by a partner, `partner` needed, or `dioecious`",
    "group": "Pollination group",
    "bloom": "`early`, `mid` or `late`",
    "agent": "What carries the pollen: `bees`, `wind` or `flies`",
    "pollination_distance": "How far a partner may stand",
    "chill_hours": "Hours of chill that it needs",
    "kc_mid": "Crop coefficient in mid-season",
    "habit": "`tree`, `shrub`, `vine` or `cane`",
    "years_to_full_size": "Years until it is as large as it gets",
    "root_vigour": "`weak`, `moderate` or `strong`",
    "frost_tenderness": "`hardy`, `bloom at risk`, `half-hardy` or `tender`",
    "suckers": "`yes`, `some` or `no`",
    "juglone": "`makes` it, as walnuts do, or `suffers` from it",
    "cautions": "What to beware of",
    "source": "Where the figures of this table come from",
}
"""What each key of a [[plant]] table is."""
KEYS: Final = tuple(MEANING)
"""Keys of a plan file's [[plant]] table."""
_LONGEST: Final = {"name": 80, "text": 500}
_EXAMPLE: Final = {"range": '"14 ft", or ["12 ft", "16 ft"] for a range', "length": '"100 ft"', "hours": "300, or [300, 1200] for a range"}


@dataclass(slots=True)
class Given:
    """What one table or line says about one plant: values by field, texts of sources by field, faults."""

    name: str = ""
    note: str = ""
    values: dict[str, Any] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)


def fold(name: str) -> str:
    """Return a plant's name without letter case and with single spaces.

    >>> fold(" Apple ,Semi-Dwarf")
    'apple, semi-dwarf'
    """
    return re.sub(r"\s*,\s*", ", ", re.sub(r"\s+", " ", name.strip())).casefold()


def given_in_table(mapping: Mapping[str, Any], where: str) -> Given:
    """Read one [[plant]] table of a plan file.

    Parameters
    ----------
    mapping : Mapping
        What the table holds: quantities as text with their unit.
    where : str
        The table, for messages.

    Returns
    -------
    Given
        Values in SI, and every fault.

    Examples
    --------
    >>> given_in_table({"name": "fig", "spread": ["10 ft", "20 ft"]}, "plant[1]").values
    {'spread_range_m': (3.048, 6.096)}
    """
    given = Given()
    for key, value in mapping.items():
        try:
            _take(given, str(key), value)
        except ValueError as error:
            given.faults.append(fault_of(error, f"{where}.{key}"))
    if "name" not in mapping:
        given.faults.append(Fault("this key is missing", f"{where}.name", 'add it, such as name = "apple, semi-dwarf"'))
    return given


def _take(given: Given, key: str, value: object) -> None:
    """Take one key of a table in."""
    if key == "name":
        given.name = checked_name(value)
    elif key == "note":
        given.note = checked_text(value)
    elif key == "source":
        given.sources = dict.fromkeys(SOURCES, checked_text(value))
    elif key in BY_KEY:
        given.values[BY_KEY[key].field] = _from_plan(BY_KEY[key], value)
    else:
        raise ValueError(f"unknown key; {near_names(key, KEYS, 'known keys here')}")


def _from_plan(figure: Figure, value: object) -> Any:
    """Read one value of a plan file: a word, a number, a quantity or a range of them."""
    if figure.kind in ("word", "text"):
        return checked_word(figure, value)
    if not figure.is_range:
        return _one(figure, value)
    if isinstance(value, (list, tuple)):
        if len(value) != 2:
            raise ValueError(f"has {len(value)} values; write {_EXAMPLE[figure.kind]}")
        low, high = (_one(figure, part) for part in value)
    else:
        low = high = _one(figure, value)
    return ordered(figure, low, high)


def _one(figure: Figure, value: object) -> float:
    if figure.kind in ("range", "length"):
        return limited(figure, quantity(value, "length"), value)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        such = f", such as {_EXAMPLE['hours']}" if figure.kind == "hours" else ""
        raise ValueError(f"{_shown(value)} is not a number; write a number without quotes{such}")
    return limited(figure, float(value) if abs(value) < 1e9 else 1e9, value)


def limited(figure: Figure, value: float, said: object) -> float:
    """Return a value that is within the limits of its figure; refuse another, as it was said."""
    low, high = figure.limits
    unit = " m" if figure.kind in ("range", "length") else " h" if figure.kind == "hours" else ""
    if not (low < value <= high or (figure.kind == "hours" and value == low)):
        raise ValueError(f"{_shown(said)} is out of range; {figure.label} is more than {low:g} and at most {high:g}{unit}")
    return value


def ordered(figure: Figure, low: float, high: float) -> tuple[float, float]:
    """Return both ends of a range; refuse the greater first."""
    if low > high:
        raise ValueError(f"the smallest {figure.label} is more than the greatest; write the smaller first")
    return low, high


def checked_word(figure: Figure, value: object) -> str:
    """Return a text, or one of the words that a figure takes."""
    text = checked_text(value)
    if figure.kind == "word" and text not in figure.words:
        raise ValueError(f'"{text}" is not known; write one of {", ".join(figure.words)}')
    return text


def checked_text(value: object, kind: str = "text") -> str:
    """Return a text tidied up; refuse what is none, too long, or has control characters."""
    if not isinstance(value, str):
        raise ValueError(f"{_shown(value)} is not a text; write it in quotes")
    text = re.sub(r"[ \t]+", " ", value.strip())
    odd = next((sign for sign in text if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp", "Cs")), None)
    if odd is not None:
        raise ValueError(f"holds the control character U+{ord(odd):04X}; write it with letters, digits and signs only")
    if len(text) > _LONGEST[kind]:
        raise ValueError(f'"{text[:20]}..." has {len(text)} characters; keep it to {_LONGEST[kind]}')
    return text


def checked_name(value: object) -> str:
    """Return a plant's name tidied up.

    Parameters
    ----------
    value : object
        What the grower wrote.

    Returns
    -------
    str
        Species, or species and size class with one comma and a space between.

    Raises
    ------
    ValueError
        No text, empty, too long, or with control characters.

    Examples
    --------
    >>> checked_name("apple ,semi-dwarf")
    'apple, semi-dwarf'
    """
    parts = [part.strip() for part in checked_text(value, "name").split(",")]
    if not all(parts):
        raise ValueError(f'{_shown(value)} is not a name; write "species, size class", such as "apple, semi-dwarf"')
    return ", ".join(parts)


def entry_of(given: Given, base: CatalogueEntry | None, origin: str) -> CatalogueEntry:
    """Make an entry of what was given; what was not comes from the entry it stands on.

    Parameters
    ----------
    given : Given
        Values in SI, without fault.
    base : CatalogueEntry, optional
        The entry of that name.
    origin : str
        Name of the grower's file, or "catalogue".

    Returns
    -------
    CatalogueEntry
        With every given figure marked as the grower's, unless the origin is the catalogue.

    Examples
    --------
    >>> entry_of(Given("fig, hedge", values={"kc_mid": 0.8}), None, "plan.toml").own
    (('kc_mid', 'yours (plan.toml)'),)
    """
    species, _, size_class = given.name.partition(", ")
    base = base or CatalogueEntry(species, size_class, other_source="" if "habit" in given.values else "taken for a tree")
    values = {name: getattr(base, name) for name in CatalogueEntry.__dataclass_fields__}
    values |= given.values | {"origin": origin}
    if given.note:
        values["note"] = given.note
    if origin == "catalogue":
        return CatalogueEntry(**(values | given.sources))
    own = dict(base.own)
    for figure in (FIGURE[name] for name in given.values):
        said = given.sources.get(figure.source, "")
        own[figure.field] = f"yours ({origin}): {said}" if said else f"yours ({origin})"
    return CatalogueEntry(**(values | {"own": tuple(own.items())}))


def near_names(name: str, known: tuple[str, ...], said: str) -> str:
    """Return a remedy for an unknown name: the near one, or all that are known."""
    near = difflib.get_close_matches(name, known, 1, 0.6)
    return f'did you mean "{near[0]}"?' if near else f"{said} {', '.join(known)}"


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    return "a table" if isinstance(value, Mapping) else str(value)[:40]


def fault_of(error: ValueError, where: str) -> Fault:
    """Return the fault that an error tells: what, and after a semicolon the remedy."""
    what, _, remedy = str(error).partition("; ")
    return Fault(what, where, remedy)
