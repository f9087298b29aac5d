"""Climate files: units by name or row, dates in many ways, gaps, and what cannot be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.errors import Fault, SetoutError
from setout.model import Weather
from setout.read.weather.columns import header_of
from setout.read.weather.station import parse_climate, read_climate

HIGH = (8, 10, 15, 20, 25, 29, 31, 30, 27, 21, 15, 10)
LOW = (-3, -2, 3, 7, 12, 17, 19, 18, 15, 8, 3, -1)
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def monthly(header: str = "month,tmax_c,tmin_c", more: str = "", rows: range | list[int] = range(12)) -> str:
    return "\n".join([header, *(f"{k + 1},{HIGH[k]},{LOW[k]}{more}" for k in rows)])


def daily(days: int = 365, header: str = "date,tmax_c,tmin_c,rain_mm", start: str = "2023-01-01") -> list[list[str]]:
    """Return the cells of a header and of days of a year that is warm in July."""
    first = np.datetime64(start)
    warm = 18 - 10 * np.cos(2 * np.pi * np.arange(days) / 365)
    rows = [[str(first + k), f"{t + 6:.1f}", f"{t - 6:.1f}", "2.5"] for k, t in enumerate(warm)]
    return [header.split(","), *rows]


def text(cells: list[list[str]], sign: str = ",") -> str:
    return "\n".join(sign.join(row) for row in cells)


def fine(weather: Weather) -> Weather:
    """Check that nothing of what was read is NaN, and that all is of one length."""
    for name in ("tmin_c", "tmax_c", "rh_min", "rh_max", "rh_mean", "tdew_c", "wind_m_s", "solar_mj", "sunshine_h", "rain_mm", "eto_mm"):
        values = getattr(weather, name)
        if values is not None:
            assert len(values) == len(weather)
            assert np.isfinite(values).all(), name
    return weather


def read(said: str) -> Weather:
    return fine(parse_climate(said, "climate.csv"))


def faults(said: str) -> list[str]:
    with pytest.raises(SetoutError) as refused:
        parse_climate(said, "climate.csv")
    lines = [str(fault) for fault in refused.value.faults]
    assert all(fault.what and fault.remedy and fault.where.startswith("climate.csv") for fault in refused.value.faults), lines
    return lines


def codes(weather: Weather) -> list[str]:
    assert all(finding.remedy for finding in weather.findings)
    return [finding.code for finding in weather.findings]


# ------------------------------------------------------------------------------------------------- what is read


def test_months_by_number_and_by_name() -> None:
    by_number = read(monthly())
    by_name = read("\n".join(["Month,Tmax (°C),Tmin (°C)", *(f"{m},{h},{c}" for m, h, c in zip(MONTHS, HIGH, LOW, strict=True))]))
    assert by_number.step == by_name.step == "month"
    np.testing.assert_array_equal(by_number.tmax_c, by_name.tmax_c)
    assert by_number.month.tolist() == by_name.month.tolist() == list(range(1, 13))
    assert codes(by_name) == []


def test_units_of_the_same_weather_agree() -> None:
    si = "month,tmax_c,tmin_c,rh_max,rh_min,wind_m_s_10m,solar_mj_m2_day,rain_mm,tdew_c"
    us = "month,tmax_f,tmin_f,rh_max_pct,rh_min_pct,wind_mph_10m,solar_w_m2,rain_in,tdew_f"
    rows = [(m + 1, HIGH[m], LOW[m], 80, 45, 3.0, 18.0, 80.0, LOW[m]) for m in range(12)]

    def f(c: float) -> float:
        return c * 1.8 + 32

    turned = [(m, f(h), f(c), a, b, w / 0.44704, s / 0.0864, r / 25.4, f(d)) for m, h, c, a, b, w, s, r, d in rows]
    one, other = (
        read("\n".join([head, *(",".join(f"{v:.9g}" for v in row) for row in body)])) for head, body in ((si, rows), (us, turned))
    )
    for name in ("tmax_c", "tmin_c", "rh_max", "rh_min", "wind_m_s", "solar_mj", "rain_mm", "tdew_c"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), atol=1e-6)
    assert one.wind_height_m == other.wind_height_m == 10.0


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_units_in_a_row_of_their_own(sign: str) -> None:
    lines = ["date,TMAX,TMIN,Wind,Rain", ",°F,°F,mph,in"]
    lines += [f"2024-{m + 1:02d},{HIGH[m] * 1.8 + 32:.1f},{LOW[m] * 1.8 + 32:.1f},5,3" for m in range(12)]
    weather = read("# a station\n" + "\n".join(lines).replace(",", sign))
    np.testing.assert_allclose(weather.tmax_c, HIGH, atol=0.05)
    np.testing.assert_allclose(weather.rain_mm, 76.2)
    assert weather.wind_m_s[0] == pytest.approx(5 * 0.44704)
    assert codes(weather) == ["climate_wind_height"]


def test_decimal_commas_between_semicolons() -> None:
    said = "month;tmax_c;tmin_c\n" + "\n".join(f"{m + 1};{HIGH[m]},5;{LOW[m]},25" for m in range(12))
    assert read(said).tmax_c[0] == 8.5


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (lambda d: d, "date"),
        (lambda d: d.replace("-", "/"), "date"),
        (lambda d: d.replace("-", ""), "Date"),
        (lambda d: f"{int(d[5:7])}/{int(d[8:])}/{d[:4]}", "date"),
        (lambda d: f"{d[8:]}.{d[5:7]}.{d[:4]}", "date"),
        (lambda d: f"{d} 00:00:00", "date"),
    ],
)
def test_dates_in_many_ways(write, name: str) -> None:
    cells = daily(200, f"{name},tmax_c,tmin_c,rain_mm", "2023-12-20") + daily(170, start="2024-07-07")[1:]
    usual = read(text([["date", *cells[0][1:]], *cells[1:]]))
    weather = read(text([cells[0], *([write(day), *rest] for day, *rest in cells[1:])]))
    for part in ("year", "month", "day"):
        np.testing.assert_array_equal(getattr(weather, part), getattr(usual, part))


def test_year_and_day_of_the_year() -> None:
    cells = daily()
    doy = [["year", "doy", *cells[0][1:]], *(["2023", str(k), *row[1:]] for k, row in enumerate(cells[1:], 1))]
    np.testing.assert_array_equal(read(text(doy)).day, read(text(cells)).day)
    parts = [["year", "month", "day", *cells[0][1:]], *([*row[0].split("-"), *row[1:]] for row in cells[1:])]
    np.testing.assert_array_equal(read(text(parts)).month, read(text(cells)).month)


def test_reference_et_as_a_rate_and_as_a_sum() -> None:
    rate = read("month,eto_mm_day\n" + "\n".join(f"{m},{m % 7 + 1}" for m in range(1, 13)))
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    total = read("month,eto_in\n" + "\n".join(f"{m},{(m % 7 + 1) * days[m - 1] / 25.4:.6f}" for m in range(1, 13)))
    np.testing.assert_allclose(rate.eto_mm, total.eto_mm, rtol=1e-5)
    assert rate.tmax_c is None


def test_heights_of_the_wind_gauge() -> None:
    for name, metres in (("wind_m_s_10m", 10.0), ("u10_m_s", 10.0), ("u2_m_s", 2.0), ("wind_mph_33ft", 33 * 0.3048), ("wind_2m_m_s", 2.0)):
        column = header_of([name], None, "c.csv").columns[0]
        assert (column.quantity.key, column.height_m) == ("wind_m_s", pytest.approx(metres)), name


def test_columns_that_are_something_else_are_told_and_left() -> None:
    weather = read(monthly("month,tmax_c,tmin_c,wind_direction,station", ",270,=cmd|'x'!A1"))
    assert weather.wind_m_s is None
    assert codes(weather) == ["climate_not_read"]
    assert "station" in weather.findings[0].message


def test_rows_need_no_order_and_years_are_averaged_later() -> None:
    turned = "\n".join([monthly().split("\n")[0], *reversed(monthly().split("\n")[1:])])
    np.testing.assert_array_equal(read(turned).tmax_c, HIGH)
    two = "date,tmax_c,tmin_c\n" + "\n".join(f"{y}-{m + 1:02d},{HIGH[m] + y - 2000},{LOW[m]}" for y in (2000, 2001) for m in range(12))
    assert len(read(two)) == 24


# ----------------------------------------------------------------------------------------------------- gaps


def test_few_days_are_bridged_and_said() -> None:
    cells = daily()
    cells[100][1], cells[101][1], cells[200][3] = "", "NA", "-9999"
    del cells[150:153]
    whole, weather = read(text(daily())), read(text(cells))
    assert len(weather) == 365
    assert codes(weather) == ["climate_gaps"]
    assert "6 days with gaps were filled in, the first 2023-04-10" in weather.findings[0].message
    np.testing.assert_allclose(weather.tmax_c, whole.tmax_c, atol=0.25)
    np.testing.assert_allclose(weather.rain_mm, 2.5)


def test_longer_gaps_are_left_out_and_said() -> None:
    cells = daily()
    del cells[150:158]
    weather = read(text(cells))
    assert len(weather) == 357
    assert [f.severity for f in weather.findings] == ["warn"]
    assert "8 days are missing" in weather.findings[0].message


def test_a_thin_column_is_left_out_and_said() -> None:
    cells = daily()
    for row in cells[1:200]:
        row[3] = ""
    weather = read(text(cells))
    assert weather.rain_mm is None
    assert codes(weather) == ["climate_thin"]


def test_a_month_of_many_years_may_be_blank() -> None:
    rows = [f"{y}-{m + 1:02d},{HIGH[m]},{LOW[m]}" for y in (2000, 2001) for m in range(12)]
    rows[5] = "2000-06,,17"
    weather = read("date,tmax_c,tmin_c\n" + "\n".join(rows))
    assert len(weather) == 23
    assert "June 2000 has no tmax_c and is left out" in weather.findings[0].message


def test_a_few_days_that_cannot_be_are_taken_for_gaps() -> None:
    cells = daily()
    cells[50][1], cells[60][1], cells[60][2] = "250", "3", "9"
    weather = read(text(cells))
    assert sorted(codes(weather)) == ["climate_gaps", "climate_impossible", "climate_impossible"]
    said = " ".join(f.message for f in weather.findings)
    assert "line 51: tmax_c = 250 cannot be" in said
    assert "line 61: tmax_c = 3 is below tmin_c = 9" in said
    assert weather.tmax_c.max() < 40


# --------------------------------------------------------------------------------------------------- refused

CASES = {
    "empty": ("", "holds no line"),
    "comments only": ("# nothing\n\n", "holds no line"),
    "header only": ("date,tmax_c,tmin_c", "holds no row"),
    "no header": ("1,8,-3\n2,10,-2", "the first line holds numbers"),
    "no unit": (monthly("month,tmax,tmin"), '"tmax" has no unit'),
    "unit unknown": (monthly("month,tmax_q,tmin_c"), 'unit "q", which is not known'),
    "nothing to reckon from": (monthly("month,rain_mm,snow_mm"), "neither ETo nor the highest and lowest temperature"),
    "not when": (monthly("week,tmax_c,tmin_c"), "no column that says when"),
    "month missing": (monthly(rows=[k for k in range(12) if k != 2]), "a month is missing: March"),
    "months missing": (monthly(rows=list(range(9))), "months are missing: October, November, December"),
    "month blank": (monthly().replace("3,15,3", "3,,3"), "March has no tmax_c"),
    "month twice": (monthly() + "\n7,31,19", "July is there twice"),
    "month 13": (monthly().replace("12,10,-1", "13,10,-1"), "no day or month"),
    "Tmax below Tmin": (monthly().replace("7,31,19", "7,31,39"), "tmax_c = 31 is below tmin_c = 39"),
    "columns swapped": (monthly("month,tmin_c,tmax_c"), "11 more of 12 rows"),
    "degrees F called C": (monthly("month,tmax_c,tmin_c").replace("7,31,19", "7,88,66"), "tmax_c = 88 cannot be"),
    "degrees C called F": (monthly("month,tmax_f,tmin_f"), "warmest month is -0.556 deg C"),
    "watts called MJ": (monthly("month,tmax_c,tmin_c,solar_mj", ",190"), "solar_mj = 190 cannot be"),
    "MJ called watts": (monthly("month,tmax_c,tmin_c,solar_w", ",18"), "mean solar radiation is 1.56 MJ/m2/day"),
    "humidity as a share": (monthly("month,tmax_c,tmin_c,rh_mean", ",0.6"), "mean humidity is 0.6 %"),
    "humidity over 105": (monthly("month,tmax_c,tmin_c,rh_mean", ",160"), "rh_mean = 160 cannot be"),
    "rate called a sum": ("month,eto_mm\n" + "\n".join(f"{m},5" for m in range(1, 13)), "greatest month is 0.179 mm/day"),
    "sum called a rate": ("month,eto_mm_day\n" + "\n".join(f"{m},150" for m in range(1, 13)), "eto_mm_day = 150 cannot be"),
    "negative rain": (monthly("month,tmax_c,tmin_c,rain_mm", ",-4"), "rain_mm = -4 cannot be"),
    "both units": (monthly("month,tmax_c,tmax_f,tmin_c", ",3"), 'the columns "tmax_c" and "tmax_f" give the same quantity'),
    "no number": (monthly().replace("7,31,19", "7,=2+3,19"), 'tmax_c: "=2+3" is not a number'),
    "infinite": (monthly().replace("7,31,19", "7,1e999,19"), "is not a finite number"),
    "hours": ("date,tmax_c,tmin_c\n2023-01-01 00:00,5,1\n2023-01-01 01:00,5,1", "is an hour"),
    "mixed dates": ("date,tmax_c,tmin_c\n2023-01-01,5,1\n01-02,5,1", '"01-02" is no date like the others'),
    "no such date": (text(daily()).replace("2023-02-28", "2023-02-30"), '"2023-02-30" is no date'),
    "part of a year": (text(daily(200)), "months are missing: July, August, September, October, November, December (20 days are needed)"),
    "quotes": (monthly().replace("7,31,19", '7,"31"x,19'), "is not CSV"),
    "days and months": (text(daily()) + "\n2024-05,20,10,2", "is no date like the others"),
    "centuries": (text(daily()) + "\n1500-05-01,20,10,2", "span more than 200 years"),
}


@pytest.mark.parametrize("case", CASES)
def test_refused(case: str) -> None:
    said, what = CASES[case]
    assert any(what in line for line in faults(said)), faults(said)


def test_every_fault_is_told_at_once() -> None:
    said = monthly("month,tmax_q,tmin_x")
    assert len(faults(said)) == 2
    assert len(faults(monthly().replace(",31,", ",a,").replace(",30,", ",b,"))) == 2


def test_what_the_file_holds_is_never_more_than_text() -> None:
    # control characters and long texts of the file do not reach a terminal
    line = faults(monthly().replace("7,31,19", "7,\x1b[31m" + "x" * 500 + ",19"))[0]
    assert "\x1b" not in line
    assert len(line) < 200


CELLS = st.sampled_from(
    ["", "-9999", "0", "1", "31", "1e5", "nan", "T", "2023-01-01", "Jan", "-5", "1,5", '"', "\x00", "=1", "²", "tmax_f", "99999"]
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 2), CELLS), max_size=6) | st.text(max_size=200))
def test_anything_is_read_without_nan_or_refused_properly(spoilt: list[tuple[int, int, str]] | str) -> None:
    cells = [line.split(",") for line in monthly().split("\n")]
    for row, column, cell in spoilt if isinstance(spoilt, list) else ():
        cells[row][column] = cell
    said = spoilt if isinstance(spoilt, str) else text(cells)
    told: tuple[Fault, ...] = ()
    try:
        read(said)
    except SetoutError as refused:
        told = refused.faults
    assert all(fault.what and fault.remedy for fault in told)


def test_files(tmp_path: Path) -> None:
    path = tmp_path / "climate.csv"
    path.write_text("\ufeff" + monthly(), encoding="utf-8")
    assert len(read_climate(path)) == 12
    path.write_bytes("month,tmax_°c\n".encode("latin-1"))
    with pytest.raises(SetoutError, match="UTF-8"):
        read_climate(path)
    with pytest.raises(SetoutError, match="there is no file"):
        read_climate(tmp_path / "none.csv")
    with pytest.raises(SetoutError, match="cannot be read"):
        read_climate(tmp_path)


@pytest.mark.parametrize(("days", "refused"), [(20, False), (19, True)])
def test_a_month_needs_twenty_days(days: int, refused: bool) -> None:
    """June by days 1 to ``days`` alone: what is left out at its end is a gap too long to be bridged."""
    cells = daily()
    first = 1 + 151
    assert cells[first][0] == "2023-06-01"
    del cells[first + days : first + 30]
    if refused:
        assert "a month is missing: June (20 days are needed)" in faults(text(cells))[0]
    else:
        assert np.bincount(read(text(cells)).month)[6] == days


def test_one_day_alone_of_a_gap_that_is_too_long() -> None:
    """A gap of five days is bridged, one of six is left out."""
    five, six = daily(), daily()
    del five[150:155], six[150:156]
    assert (len(read(text(five))), len(read(text(six)))) == (365, 359)
