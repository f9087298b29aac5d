"""Where the sun stands: positions from the library ``sunposition`` (Reda and Andreas, NREL/TP-560-34302), days split at noon.

Noon is the sun's transit of the meridian, so that morning and afternoon are those of apparent solar time. The sun is
taken as a point and seen without refraction: a day is the time in which its middle stands above a level horizon, as in
FAO Irrigation and Drainage Paper 56, eq. 34.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NODE_H: Final = 3.0
"""Between positions this far apart [h] hour angle and declination are interpolated: true to 1e-4 deg."""
MINUTES: Final = 10.0
"""Longest time that one position of the sun stands for [min]."""
DELTA_T_S: Final = 70.0
"""Terrestrial time less universal time in these years [s]; 10 s of it move the sun by 1e-4 deg."""


@dataclass(frozen=True, slots=True)
class SunPath:
    """Positions of the sun over some days; every array has one entry a position.

    Attributes
    ----------
    day : index of the day
    altitude_deg, azimuth_deg : above a level horizon, and clockwise from true north [deg]
    hours : time that the position stands for [h]
    morning : before solar noon
    dates : the days
    """

    day: NDArray[np.int64]
    altitude_deg: Floats
    azimuth_deg: Floats
    hours: Floats
    morning: NDArray[np.bool_]
    dates: tuple[date, ...]

    def by_half(self) -> tuple[Floats, Floats]:
        """Return the hours of every morning and of every afternoon."""
        size = len(self.dates)
        return tuple(np.bincount(self.day, self.hours * half, size) for half in (self.morning, ~self.morning))  # type: ignore[return-value]  # two halves, two arrays


@dataclass(frozen=True, slots=True)
class _Track:
    """Hour angle and declination over some days, at nodes counted in hours from mean noon."""

    start: NDArray[np.datetime64]
    node_h: Floats
    hour_angle: Floats
    declination: Floats
    latitude: float

    def at(self, day: NDArray[np.int64], t: Floats) -> tuple[Floats, Floats]:
        """Return altitude and azimuth [deg] on days at times [h from mean noon]."""
        angle, sunk = np.empty(len(t)), np.empty(len(t))
        for k in range(len(self.start)):
            own = day == k
            angle[own] = np.interp(t[own], self.node_h, self.hour_angle[k])
            sunk[own] = np.interp(t[own], self.node_h, self.declination[k])
        return _seen(angle, sunk, self.latitude)


def _seen(hour_angle: Floats, declination: Floats, latitude: float) -> tuple[Floats, Floats]:
    """Return altitude and azimuth of a point of the sky [deg]."""
    h, d, f = np.radians(hour_angle), np.radians(declination), np.radians(latitude)
    up = np.sin(f) * np.sin(d) + np.cos(f) * np.cos(d) * np.cos(h)
    north = np.sin(d) * np.cos(f) - np.cos(d) * np.cos(h) * np.sin(f)
    azimuth = np.degrees(np.arctan2(-np.cos(d) * np.sin(h), north)) % 360.0
    return np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))), azimuth


def sun_at(
    times: NDArray[np.datetime64], latitude: float, longitude: float, height_m: float = 0.0
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return where the sun stands at given times, without refraction.

    Parameters
    ----------
    times : (n,) ndarray of datetime64
        Universal time.
    latitude, longitude : float
        Place, north and east positive [deg].
    height_m : float
        Height of the place [m].

    Returns
    -------
    altitude_deg, azimuth_deg, hour_angle_deg, declination_deg : (n,) ndarray
        Above a level horizon; clockwise from true north; from the meridian, -180 to 180, mornings negative; topocentric.
    """
    from sunposition import topocentric_sunposition

    _, sunk, angle = topocentric_sunposition(times.astype("datetime64[us]"), latitude, longitude, height_m, delta_t=DELTA_T_S)
    sunk = np.atleast_1d(np.asarray(sunk, float))
    angle = (np.atleast_1d(np.asarray(angle, float)) + 180.0) % 360.0 - 180.0
    return *_seen(angle, sunk, latitude), angle, sunk


def sun_path(days: Sequence[date], latitude: float, longitude: float, height_m: float = 0.0, minutes: float = MINUTES) -> SunPath:
    """Return positions of the sun over whole days, each in the middle of the time that it stands for.

    Mornings and afternoons are divided into equal times apart, so that their sums are exact.

    Parameters
    ----------
    days : Sequence of date
        By local solar time.
    latitude, longitude : float
        Place, north and east positive [deg].
    height_m : float
        Height of the place [m].
    minutes : float
        Longest time that one position stands for [min].

    Returns
    -------
    SunPath
        None for days without sun; days without night have 24 h.

    Examples
    --------
    >>> path = sun_path([date(2026, 3, 20)], 40.0, -75.0)
    >>> [half.round(1).tolist() for half in path.by_half()]
    [[6.0], [6.0]]
    """
    track = _track(days, latitude, longitude, height_m)
    noon, rise, sets = _passes(track, 0.0)
    day: list[int] = []
    middle: list[float] = []
    hours: list[float] = []
    morning: list[bool] = []
    for k in range(len(days)):
        for begin, end, early in ((rise[k], noon[k], True), (noon[k], sets[k], False)):
            count = int(np.ceil((end - begin) * 60.0 / minutes - 1e-9))
            for n in range(count):
                day.append(k)
                middle.append(begin + (n + 0.5) * (end - begin) / count)
                hours.append((end - begin) / count)
                morning.append(early)
    which = np.array(day, np.int64)
    altitude, azimuth = track.at(which, np.array(middle, float))
    return SunPath(which, altitude, azimuth, np.array(hours, float), np.array(morning, bool), tuple(days))


def _passes(track: _Track, altitude_deg: float) -> tuple[Floats, Floats, Floats]:
    """Return noon and the passings of an altitude before and after it, in hours from mean noon."""
    each = np.arange(len(track.start))
    noon = np.array([np.interp(0.0, angle, track.node_h) for angle in track.hour_angle])
    never = track.at(each, noon)[0] <= altitude_deg
    out = []
    for side in (-12.0, 12.0):
        night, day = noon + side, noon.copy()
        for _ in range(30):
            middle = (night + day) / 2
            over = track.at(each, middle)[0] > altitude_deg
            day, night = np.where(over, middle, day), np.where(over, night, middle)
        out.append(np.where(never, noon, (night + day) / 2))
    return noon, out[0], out[1]


def _track(days: Sequence[date], latitude: float, longitude: float, height_m: float) -> _Track:
    """Follow the sun over some days; the interpolation's nodes reach past both midnights."""
    noon = np.timedelta64(round((12.0 - longitude / 15.0) * 3600.0), "s")
    start = np.array([np.datetime64(day, "s") + noon for day in days])
    node = np.arange(-15.0, 15.0 + NODE_H / 2, NODE_H)
    times = start[:, None] + np.round(node * 3600.0).astype("timedelta64[s]")[None, :]
    _, _, angle, sunk = sun_at(times.ravel(), latitude, longitude, height_m)
    angle, sunk = angle.reshape(times.shape), sunk.reshape(times.shape)
    # the sun turns 15 degrees an hour: unwrap round what it would be by mean time
    mean = 15.0 * node[None, :]
    return _Track(start, node, mean + (angle - mean + 180.0) % 360.0 - 180.0, sunk, latitude)
