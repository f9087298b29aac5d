"""Water that trees need: weather as it was read, what the plan says of need, and litres a tree and day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from setout.model.base import Finding, Floats, Ints

MONTHS: Final = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")
"""Names of the months; month 1 is January everywhere."""

CanopyFactor = Literal["keller-karmeli", "fereres", "canopy"]
RainMethod = Literal["scs", "fao", "none"]


@dataclass(frozen=True, slots=True)
class Weather:
    """A climate file as it was read: one entry a day or a month; no array holds NaN, what was not measured is None.

    Attributes
    ----------
    source : name of the file
    step : "day" or "month"
    year, month, day : calendar; year 0 for means of many years, day 15 of a month
    tmin_c, tmax_c : lowest and highest air temperature, of a month their means [deg C]
    rh_min, rh_max, rh_mean : relative humidity [%]
    tdew_c : dew point [deg C]
    wind_m_s : wind speed as measured [m/s]
    wind_height_m : height it was measured at [m]
    solar_mj : solar radiation [MJ/m2/day]
    sunshine_h : hours of bright sunshine a day [h]
    rain_mm : rain in the step [mm], of a month its sum
    eto_mm : reference evapotranspiration [mm/day]
    findings : doubts of the reader
    """

    source: str
    step: Literal["day", "month"]
    year: Ints
    month: Ints
    day: Ints
    tmin_c: Floats | None = None
    tmax_c: Floats | None = None
    rh_min: Floats | None = None
    rh_max: Floats | None = None
    rh_mean: Floats | None = None
    tdew_c: Floats | None = None
    wind_m_s: Floats | None = None
    wind_height_m: float = 2.0
    solar_mj: Floats | None = None
    sunshine_h: Floats | None = None
    rain_mm: Floats | None = None
    eto_mm: Floats | None = None
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        """Return the number of days or months."""
        return int(self.month.size)


@dataclass(frozen=True, slots=True)
class NeedSettings:
    """What the plan file says of need.

    Attributes
    ----------
    efficiency : share of the water that the roots get
    leaching : share of the water that has to pass below the roots, to carry salts away
    eto_mm : reference evapotranspiration [mm/day]: one figure, which is the peak's, or twelve by month; empty for none
    rain_mm : rain by month [mm]; empty for that of the climate file
    rain : how effective rain is reckoned
    rain_in_design : rain is counted at the peak too; else the peak has to be met in a spell without rain
    canopy_factor : how the share of shaded ground counts
    grass : ground between the trees is covered with growing plants
    frost : winters bring killing frost
    kc : crop coefficient of every plant: one figure for mid-season, or twelve by month; empty for the table's
    leaf_out : (month, day) in which deciduous plants come into leaf; None where the temperatures are to tell
    """

    efficiency: float = 0.9
    leaching: float = 0.0
    eto_mm: tuple[float, ...] = ()
    rain_mm: tuple[float, ...] = ()
    rain: RainMethod = "scs"
    rain_in_design: bool = False
    canopy_factor: CanopyFactor = "keller-karmeli"
    grass: bool = False
    frost: bool = True
    kc: tuple[float, ...] = ()
    leaf_out: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class ClassNeed:
    """Need of one plant of one block: all trees of the class need the same. Needs are gross, losses and leaching in.

    Attributes
    ----------
    block, plant : indexes of the block and of its plant
    trees : how many there are
    ground_m2 : ground that the pattern gives to each [m2]; NaN for single trees
    canopy_m2 : of it under the tree's own canopy at full size [m2]
    factor_m2 : ground that is reckoned to draw water, ground times the canopy factor [m2]
    kc_by_month : crop coefficient, January to December, 0 without leaves; empty where only a peak is known
    kc_peak : crop coefficient at the peak
    lpd_by_month : need at full size less effective rain, January to December [l/day]; empty where unknown
    dry_lpd_by_month : the same if no rain falls [l/day]; empty where unknown
    peak_lpd : need that the irrigation is designed for [l/day]
    peak_month : month of it, 1 to 12; 0 where one reference evapotranspiration was given for the peak
    lpd_by_year : year after planting and that year's peak need, 0 once removed [l/day]; empty where growth is unknown
    source : where the crop coefficient and the season come from: as their tables say it, or a code of the plan file's own
    """

    block: int
    plant: int
    trees: int
    ground_m2: float
    canopy_m2: float
    factor_m2: float
    kc_by_month: tuple[float, ...]
    kc_peak: float
    lpd_by_month: tuple[float, ...]
    dry_lpd_by_month: tuple[float, ...]
    peak_lpd: float
    peak_month: int
    lpd_by_year: tuple[tuple[int, float], ...]
    source: tuple[str, ...]

    @property
    def is_known(self) -> bool:
        """Return whether the need at the peak is known."""
        return bool(np.isfinite(self.peak_lpd))


@dataclass(frozen=True, slots=True)
class Need:
    """Water that every tree needs.

    Attributes
    ----------
    need_lpd : per tree, gross need at the peak [l/day]: at full size, or in the year asked for; NaN unknown
    class_of : per tree, index into ``classes``; -1 for none
    classes : one for each plant of each block that has trees
    year : the year after planting that was asked for; None for full size
    lpd_by_month : all trees together, January to December, less rain [l/day]; empty where only a peak is known
    lpd_by_year : year after planting and peak need of all trees together [l/day]; empty where no growth is known
    peak_month : month in which all trees together need most (without rain), 1 to 12; 0 unknown
    peak_eto_mm : reference evapotranspiration of that month [mm/day]
    eto_mm, rain_mm, effective_mm : by month: reference evapotranspiration [mm/day], rain [mm] and the part of it that
        counts, for a crop that uses as much as the reference [mm]; empty where unknown
    method, taken : codes of how reference evapotranspiration was had, and of what was taken where it was not measured
    findings : what is unknown or was taken
    """

    need_lpd: Floats
    class_of: Ints
    classes: tuple[ClassNeed, ...]
    year: int | None = None
    lpd_by_month: tuple[float, ...] = ()
    lpd_by_year: tuple[tuple[int, float], ...] = ()
    peak_month: int = 0
    peak_eto_mm: float = float("nan")
    eto_mm: tuple[float, ...] = ()
    rain_mm: tuple[float, ...] = ()
    effective_mm: tuple[float, ...] = ()
    method: str = ""
    taken: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
