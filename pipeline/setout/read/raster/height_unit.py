"""The unit of a DEM's heights: what its vertical CRS, its band and the plan file say of it."""

from __future__ import annotations

from pyproj import CRS

from setout.errors import SetoutError
from setout.model import Finding
from setout.read import crs as crs_words
from setout.units import FOOT, LENGTH, US_SURVEY_FOOT

SAY_UNIT = 'write site.dem_unit = "m", "ft" or "US survey ft" in the plan file, as the maker of the DEM states it'
_MORE_UNITS = {
    "foot us": US_SURVEY_FOOT,
    "us foot": US_SURVEY_FOOT,
    "usft": US_SURVEY_FOOT,
    "survey foot": US_SURVEY_FOOT,
    "us feet": US_SURVEY_FOOT,
    "feet us": US_SURVEY_FOOT,
    "foot (us survey)": US_SURVEY_FOOT,
    "feet (us)": US_SURVEY_FOOT,
    "us survey foot (ftus)": US_SURVEY_FOOT,
    "ft us": US_SURVEY_FOOT,
    "international foot": FOOT,
    "international feet": FOOT,
    "foot (international)": FOOT,
    "foot international": FOOT,
    "decimetre": 0.1,
    "decimeter": 0.1,
    "decimetres": 0.1,
    "decimeters": 0.1,
    "centimetre": 0.01,
    "centimeter": 0.01,
    "centimetres": 0.01,
    "centimeters": 0.01,
    "millimetre": 1e-3,
    "millimeter": 1e-3,
}


def unit_word(text: str | None) -> float | None:
    """Return the length of a unit as files spell it [m]; None when it is no unit of length.

    >>> unit_word("US_survey_foot") == 1200 / 3937, unit_word("Metre"), unit_word("dB")
    (True, 1.0, None)
    """
    key = " ".join((text or "").lower().replace("_", " ").strip("[] ").split())
    return LENGTH.get(key, _MORE_UNITS.get(key))


def settle(band: str | None, vertical: CRS | None, plan: str | None, crs: CRS, name: str) -> tuple[float, tuple[Finding, ...]]:
    """Settle the unit of heights between what the file says and what the plan file says.

    >>> settle("US survey foot", None, None, CRS.from_epsg(26910), "dem.tif")[0] == 1200 / 3937
    True
    """
    said: list[tuple[float, str]] = []
    if vertical is not None:
        axis = vertical.axis_info[0]
        said.append((_exact(axis.unit_conversion_factor), f'its vertical CRS ({vertical.name}) says "{axis.unit_name}"'))
    if (length := unit_word(band)) is not None:
        said.append((length, f'its band says "{band}"'))
    wanted = None if plan is None else crs_words.metres(plan, "site.dem_unit")
    if said:
        if wanted is not None and all(_differ(wanted, length) for length, _ in said):
            texts = " and ".join(text for _, text in said)
            raise SetoutError(
                f'heights: {texts}, the plan file says "{plan}"',
                name,
                "mend site.dem_unit, or leave it out; it is for files that do not say",
            )
        if wanted is None and len(said) == 2 and _differ(said[0][0], said[1][0]):
            raise SetoutError(f"heights: {said[0][1]}, but {said[1][1]}", name, SAY_UNIT)
        return next(length for length, _ in said if wanted is None or not _differ(length, wanted)), ()
    if wanted is not None:
        return wanted, ()
    horizontal = crs_words.unit_m(crs)
    odd = f' (its band says "{band}", which is no length)' if band else ""
    if horizontal is not None and abs(horizontal - 1.0) > 1e-9:
        raise SetoutError(
            f"does not say the unit of its heights{odd}, and its CRS counts in {crs.axis_info[0].unit_name}: they may be feet or metres",
            name,
            SAY_UNIT,
        )
    message = f"{name}: does not say the unit of its heights{odd}; metres were assumed"
    return 1.0, (Finding("dem_unit_assumed", "warn", message, remedy=f"if they are not metres, {SAY_UNIT}"),)


def _exact(factor: float) -> float:
    return next((e for e in (FOOT, US_SURVEY_FOOT, 1.0) if abs(factor / e - 1) < 1e-9), float(factor))


def _differ(one: float, two: float) -> bool:
    """Tell whether two units of height differ by more than the two feet do: 2 mm in 1000 m is no height's matter."""
    return abs(one / two - 1) > 1e-5
