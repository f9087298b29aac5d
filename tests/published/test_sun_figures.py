"""Sun, shadows, full sun and hedge heights against print; each figure with its source."""

from __future__ import annotations

from datetime import date

import ephem
import numpy as np
import pytest

from orchard import EQUINOX, SEASON, block_of, lattice, parts, path_at, plant_of, trees_at
from setout.geometry.sky import sun as own_sun
from setout.geometry.sky.sun import SunPath, sun_at, sun_path
from setout.geometry.sky.sunlight import sunlight
from setout.stages.light.doubts import FULL_SUN_H
from setout.stages.light.hours import hours_on
from setout.stages.light.turned import directions
from setout.units import FOOT

GOLDEN = (39.742476, -105.1786, 1830.14)
"""Place of the worked example of Reda and Andreas, NREL/TP-560-34302 (revised 2008), appendix A.5."""


def test_spa_s_worked_example() -> None:
    """NREL/TP-560-34302, table A5.1: 2003-10-17 12:30:30 at UTC-7, delta T 67 s: declination -9.316179, local hour angle
    11.10629, zenith 50.11162 with refraction (820 mb, 11 C), azimuth 194.34024 deg."""
    from sunposition import sunposition

    when = np.array(["2003-10-17T19:30:30"], "datetime64[us]")
    altitude, azimuth, angle, sunk = sun_at(when, *GOLDEN)
    assert azimuth[0] == pytest.approx(194.34024, abs=2e-4)
    assert sunk[0] == pytest.approx(-9.316179, abs=1e-4)
    assert angle[0] == pytest.approx(11.10629, abs=2e-3)
    seen, zenith, *_ = sunposition(when, *GOLDEN, 11.0, 820.0, 0.5667, 67.0)
    assert float(np.ravel(zenith)[0]) == pytest.approx(50.11162, abs=1e-4)
    assert float(np.ravel(seen)[0]) == pytest.approx(194.34024, abs=1e-4)
    # refraction at that altitude and air lifts the sun by 0.016 deg
    assert 90 - altitude[0] == pytest.approx(50.11162, abs=0.02)


def rise_and_set(days: list[date], place: tuple[float, float, float], altitude_deg: float) -> list[np.ndarray]:
    """Return when the sun passes an altitude, noon, and when it passes it again, as its path knows them [UTC]."""
    track = own_sun._track(days, *place)
    noon, rise, sets = own_sun._passes(track, altitude_deg)
    return [track.start + (hours * 3.6e6).round().astype("timedelta64[ms]") for hours in (rise, noon, sets)]


def test_spa_s_rise_transit_and_set() -> None:
    """The same table: rise 06:12:43, transit 11:46:05, set 17:20:19 MST. Its set is that of the UTC day's first evening,
    16 October by local time; half a degree and 50' below the horizon (-0.8333 deg)."""
    rise, noon, sets = rise_and_set([date(2003, 10, 16), date(2003, 10, 17)], GOLDEN, -0.8333)
    for found, said in ((rise[1], "2003-10-17T13:12:43"), (noon[1], "2003-10-17T18:46:05"), (sets[0], "2003-10-17T00:20:19")):
        assert abs((found - np.datetime64(said)) / np.timedelta64(1, "s")) < 5


@pytest.mark.parametrize("place", [(40.0, -75.0), (-34.5, 146.9), (12.0, 30.0), (61.2, -149.9)])
def test_positions_against_another_theory(place: tuple[float, float]) -> None:
    """PyEphem (VSOP87 as in XEphem), without air: altitude and azimuth within 0.01 deg all through a year."""
    times = np.datetime64("2026-01-03T00:07", "us") + (np.arange(28) * (13.1 * 86400 + 1.7 * 3600) * 1e6).astype("timedelta64[us]")
    altitude, azimuth, *_ = sun_at(times, *place, 200.0)
    seen = ephem.Observer()
    seen.lat, seen.lon, seen.elevation, seen.pressure = str(place[0]), str(place[1]), 200.0, 0.0
    for k, when in enumerate(times):
        seen.date = str(when).replace("T", " ").replace("-", "/")
        sun = ephem.Sun(seen)
        assert altitude[k] == pytest.approx(np.degrees(float(sun.alt)), abs=0.01)
        off = (azimuth[k] - np.degrees(float(sun.az)) + 180) % 360 - 180
        assert abs(off) * np.cos(np.radians(altitude[k])) < 0.01


def test_paths_against_another_theory() -> None:
    """The path's own noon, rising and setting against PyEphem's, geometric: within 10 s."""
    rise, noon, sets = rise_and_set(SEASON, (40.0, -75.0, 0.0), 0.0)
    seen = ephem.Observer()
    seen.lat, seen.lon, seen.pressure, seen.horizon = "40", "-75", 0.0, "0"
    for k, day in enumerate(SEASON):
        seen.date = f"{day:%Y/%m/%d} 08:00"
        found = (
            seen.next_rising(ephem.Sun(), use_center=True),
            seen.next_transit(ephem.Sun()),
            seen.next_setting(ephem.Sun(), use_center=True),
        )
        for other, own in zip(found, (rise[k], noon[k], sets[k]), strict=True):
            assert abs((own - np.datetime64(other.datetime())) / np.timedelta64(1, "s")) < 10


@pytest.mark.parametrize(
    ("latitude", "day", "altitude"),
    [
        (35.0, "03-20", 55.0),
        (35.0, "06-21", 78.44),
        (35.0, "12-21", 31.56),
        (40.0, "03-20", 50.0),
        (40.0, "06-21", 73.44),
        (40.0, "12-21", 26.56),
    ],
)
def test_noon_altitude(latitude: float, day: str, altitude: float) -> None:
    """Geometry: 90 - latitude + declination, with declinations of 0 and 23.44 deg."""
    path = sun_path([date.fromisoformat(f"2026-{day}")], latitude, 0.0, minutes=1.0)
    # the equinox falls within half a day of noon, in which the sun moves by 0.2 deg
    assert path.altitude_deg.max() == pytest.approx(altitude, abs=0.25 if "03" in day else 0.1)


@pytest.mark.parametrize(("altitude", "shadow"), [(45.0, 10.0), (30.0, 17.32), (26.56, 20.0), (31.56, 16.28)])
def test_shadow_of_ten_feet(altitude: float, shadow: float) -> None:
    """Geometry: height over the tangent; 26.56 and 31.56 deg are noon on 21 December at 40 and 35 N. Found with the
    kernel: the nearest place behind a long wall that the sun reaches."""
    from dataclasses import replace

    from setout.geometry.sky.skyline import Bodies, Views

    path = path_at(40.0, EQUINOX)
    south = replace(
        path, day=path.day[:1], altitude_deg=np.array([altitude]), azimuth_deg=np.array([180.0]), hours=np.ones(1), morning=np.array([True])
    )
    far = np.arange(1.0, 30.0, 0.01)
    flat, none, zero = np.zeros(len(far)), np.full(len(far), -1), np.zeros((len(far), 1))
    wall = Bodies(*(np.array([v]) for v in (0.0, 0.0, 0.0, 10.0, np.nan, 500.0, 0.0, np.pi / 2)), np.array([-1]), np.array([-1]))
    am, _ = sunlight(Views(flat, far, flat, none, flat, none, zero, zero, zero), wall, south)
    assert far[am[0] > 0].min() == pytest.approx(shadow, abs=0.02)


@pytest.mark.parametrize(
    ("latitude", "day", "hours", "within"),
    [
        (-20.0, "09-03", 11.67, 0.05),
        (50.8, "07-06", 16.10, 0.02),
        (40.0, "06-21", 14.84, 0.02),
        (40.0, "12-21", 9.16, 0.02),
        (35.0, "06-21", 14.36, 0.02),
        (35.0, "12-21", 9.64, 0.02),
    ],
)
def test_day_length(latitude: float, day: str, hours: float, within: float) -> None:
    """FAO Irrigation and Drainage Paper 56, eq. 34: example 9 (20 S, 3 September: 11.7 h), example 18 (50.8 N, 6 July:
    16.1 h), and the same equation at 40 and 35 N. Its declination is a sine of the day, half a degree off in September."""
    path = sun_path([date.fromisoformat(f"2026-{day}")], latitude, 0.0)
    assert float(sum(half.sum() for half in path.by_half())) == pytest.approx(hours, abs=within)


def test_full_sun_is_six_hours() -> None:
    """Horticulture pages: fruit trees want 6 to 8 hours of direct sun or more (common practice)."""
    assert FULL_SUN_H == 6.0


@pytest.mark.parametrize(("rows_ft", "height_ft"), [(12, 9.28), (16, 11.28), (20, 13.28), (24, 15.28)])
def test_height_for_light_is_half_the_row_distance_and_a_metre(rows_ft: float, height_ft: float) -> None:
    """Chapter on orchard design of a fruit encyclopedia: half the row spacing and 1 m. North-south hedges of that height
    keep at least a quarter of an open day's sun on the middle of each side, and lose it as they grow past the rule."""
    assert rows_ft / 2 + 1 / FOOT == pytest.approx(height_ft, abs=0.005)
    found = []
    for share in (1.0, 1.5):
        tall, wide = share * height_ft * FOOT, 0.3 * rows_ft * FOOT
        block = block_of([plant_of(wide, tall)], "hedgerow", 1.0, rows_ft * FOOT)
        found.append(_side(block, 0.0))
    day = float(sum(half.sum() for half in path_at().by_half())) / len(SEASON)
    assert found[0] >= 0.25 * day
    assert found[1] < found[0] - 0.2


def _side(block: object, bearing: float) -> float:
    from setout.model import Rows

    one = np.zeros(1)
    rows = Rows(np.zeros(1, np.int64), np.ones(1, np.int64), one, one, one, one, np.ones(1, np.int64), one)
    found = next(d for d in directions([block], rows, path_at()) if d.bearing_deg == bearing)  # type: ignore[list-item]
    return min(side.am_h + side.pm_h for side in found.sides)


@pytest.mark.parametrize(("rows_ft", "spread_ft", "height_ft"), [(20, 7, 10.4)])
def test_hedges_up_to_four_fifths_of_the_clear_alley(rows_ft: float, spread_ft: float, height_ft: float) -> None:
    """Rule of thumb (common practice): height up to 0.8 of the clear alley. Each side then keeps more sun than twice the
    alley's height leaves it."""
    assert 0.8 * (rows_ft - spread_ft) == pytest.approx(height_ft)
    sides = [
        _side(block_of([plant_of(spread_ft * FOOT, tall * FOOT)], "hedgerow", 1.0, rows_ft * FOOT), 0.0)
        for tall in (height_ft, 2 * (rows_ft - spread_ft))
    ]
    assert sides[0] > sides[1] + 0.5


def test_north_south_hedges_share_the_light_and_east_west_ones_do_not() -> None:
    """The same chapter, and a handbook of organic orcharding: north-south rows give the better light. The poorer side
    of a north-south hedge has more sun than the poorer side of an east-west one."""
    block = block_of([plant_of(1.8, 3.2)], "hedgerow", 1.0, 4.5)
    assert _side(block, 0.0) > _side(block, 90.0) + 0.5


def _hedges(wide: float, alley: float, tall: float, bearing: float, path: SunPath) -> tuple[float, float]:
    """Return the hours of the middle of a block of hedges, as every plant has them, and the share of all direct light that its
    canopy takes: what meets both sides and the top, over what meets the ground."""
    rows, long = 9, 60
    x, y = lattice(rows, long, 1.2, wide + alley, bearing=bearing)
    trees = trees_at(x, y, row=np.repeat(np.arange(1, rows + 1), long))
    block = block_of([plant_of(wide, tall)], "hedgerow", 1.2, wide + alley)
    views, bodies = parts(block, trees)
    middle = views.take([rows // 2 * long + long // 2])
    hours = float(np.sum(hours_on(middle, bodies, path), axis=0).mean())
    level = float((np.sin(np.radians(path.altitude_deg)) * path.hours).sum()) / len(path.dates)
    return hours, (tall * hours + wide * level) / ((wide + alley) * level)


@pytest.mark.parametrize(
    ("latitude", "bearing", "day", "share"),
    [
        (51.3, 0.0, "03-20", 0.857),
        (51.3, 0.0, "06-21", 0.833),
        (51.3, 90.0, "03-20", 1.0),
        (45.0, 90.0, "03-20", 1.0),
        (34.0, 90.0, "03-20", 0.843),
    ],
)
def test_light_that_hedges_take(latitude: float, bearing: float, day: str, share: float) -> None:
    """Solid hedges that cover half the ground, as high as their alley is wide: Jackson and Palmer, Journal of Applied Ecology
    (1972), take over 80 % of the light at 34 to 51.3 N, least so east and west at low latitudes. The figures are the shares of
    their rectangle, min(1, (w + h |sin(azimuth - row)| / tan altitude) / (w + a)), weighted by the sine of altitude."""
    path = path_at(latitude, (date.fromisoformat(f"2026-{day}"),), minutes=4.0)
    assert _hedges(2.0, 2.0, 2.0, bearing, path)[1] == pytest.approx(share, abs=0.015)


@pytest.mark.parametrize("latitude", [34.0, 45.0, 51.3])
@pytest.mark.parametrize("size", [(1.5, 3.5, 3.0), (2.0, 3.0, 3.5), (1.0, 2.5, 2.5)])
def test_north_south_hedges_have_more_light_than_east_west_ones(latitude: float, size: tuple[float, float, float]) -> None:
    """Olesen, Morris and McFadyen, Australian Journal of Agricultural Research 58 (2007) 215: light falls as rows turn from north
    and south to east and west, whose light is high in winter and low in summer; Jackson and Palmer (1972): most so at low
    latitudes; DeJong and Doyle, Acta Horticulturae 173 (1985) 159: over the whole hedge the difference is small."""
    june, season = path_at(latitude, (date(2026, 6, 21),), 10.0), path_at(latitude, minutes=10.0)
    year = path_at(latitude, tuple(date(2026, month, 21) for month in range(1, 13)), 10.0)
    (ns_june, ew_june), (ns, ew), (ns_year, ew_year) = (
        tuple(_hedges(*size, bearing, path)[0] for bearing in (0.0, 90.0)) for path in (june, season, year)
    )
    assert ns_june > 1.2 * ew_june
    assert ns > 1.03 * ew
    assert ns_year > 0.96 * ew_year


def test_a_gentle_slope_to_the_south_gets_more_sun_than_one_to_the_north() -> None:
    """Site pages of Mississippi State Extension and a fruit encyclopedia: 4 to 8 % slopes are best, over 15 % to be
    avoided. What light says of it: trees on a 15 % north slope are shaded more by those uphill of them."""
    x, y = lattice(11, 11, 4.5, 4.5)
    block = block_of([plant_of(4.4, 4.5)], step=4.5)
    hours = []
    for rise in (0.06, 0.15, -0.06, -0.15):
        views, bodies = parts(block, trees_at(x, y), rise * y)
        hours.append(float(np.sum(sunlight(views, bodies, path_at()), axis=0).mean(axis=0)[60]))
    south, steep_south, north, steep_north = hours  # higher in the north is a slope that faces south
    assert south > north
    assert steep_south - steep_north > south - north
