"""Quantities against pint (its unit registry follows NIST SP 811) and against definitions, exactly where they are exact."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setout import units

PINT = pint.UnitRegistry()
SAME = {
    "length": (
        "metre",
        {
            "m": "metre",
            "km": "kilometre",
            "dm": "decimetre",
            "cm": "centimetre",
            "mm": "millimetre",
            "ft": "foot",
            "in": "inch",
            "yd": "yard",
            "mi": "mile",
            "us survey ft": "survey_foot",
            "us-ft": "survey_foot",
        },
    ),
    "area": ("metre**2", {"m2": "metre**2", "ha": "hectare", "km2": "kilometre**2", "ft2": "foot**2", "acre": "43560 * foot**2"}),
    "pressure": ("kilopascal", {"kpa": "kilopascal", "pa": "pascal", "mpa": "megapascal", "bar": "bar", "psi": "psi"}),
    "flow": (
        "litre/hour",
        {
            "l/h": "litre/hour",
            "l/min": "litre/minute",
            "l/s": "litre/second",
            "m3/h": "metre**3/hour",
            "gal/h": "gallon/hour",
            "gal/min": "gallon/minute",
            "gal/day": "gallon/day",
        },
    ),
    "angle": ("degree", {"deg": "degree", "rad": "radian"}),
}
PAIRS = [(kind, base, ours, theirs) for kind, (base, names) in SAME.items() for ours, theirs in names.items()]


@pytest.mark.parametrize(("kind", "base", "ours", "theirs"), PAIRS, ids=[f"{p[0]} {p[2]}" for p in PAIRS])
def test_factor(kind, base, ours, theirs):
    expected = PINT.parse_expression(theirs)
    expected = (expected if hasattr(expected, "to") else expected * PINT.dimensionless).to(base).magnitude
    assert units.quantity(f"7 {ours}", kind) == pytest.approx(7 * expected, rel=1e-13)


@given(st.floats(-1e9, 1e9, allow_subnormal=False), st.sampled_from(PAIRS))
def test_any_number_in_any_unit(number, pair):
    kind, base, ours, theirs = pair
    expected = number * PINT.parse_expression(f"1 * {theirs}").to(base).magnitude
    assert units.quantity(f"{number!r} {ours}", kind) == pytest.approx(expected, rel=1e-12, abs=1e-300)


def test_the_two_feet_are_exact():
    """0.3048 m and 1200/3937 m by definition; ratio 1.000002000004 (85 FR 62698, 5 October 2020)."""
    assert Fraction(str(units.FOOT)) == Fraction(3048, 10_000)
    assert float(Fraction(1200, 3937)) == units.US_SURVEY_FOOT
    assert f"{units.US_SURVEY_FOOT:.12f}" == "0.304800609601"
    assert round(units.US_SURVEY_FOOT / units.FOOT, 12) == 1.000002000004
    apart = 2_000_000 * (units.US_SURVEY_FOOT - units.FOOT) / units.FOOT
    assert apart == pytest.approx(4.00, abs=0.005)  # the notice: 4.00 ft at 2,000,000 ft


def test_each_foot_by_its_name():
    for name in ("ft", "foot", "feet", "'"):
        assert units.quantity(f"1 {name}", "length") == 0.3048
    for name in ("ftUS", "US survey ft", "US survey foot", "US survey feet", "us-ft"):
        assert units.quantity(f"1 {name}", "length") == 1200 / 3937


def test_chain_rod_and_acre_on_the_international_foot():
    """66 ft, 16.5 ft and 10 square chains by definition; pint gives the US survey values, 2 and 4 millionths greater."""
    assert units.quantity("1 chain", "length") == pytest.approx(20.1168, rel=1e-15)
    assert units.quantity("1 rod", "length") == pytest.approx(5.0292, rel=1e-15)
    assert units.quantity("100 links", "length") == pytest.approx(20.1168, rel=1e-15)
    assert units.quantity("1 acre", "area") == pytest.approx(4046.8564224, rel=1e-15)
    assert units.quantity("10 acres", "area") == pytest.approx(100 * units.quantity("1 chain", "length") ** 2, rel=1e-14)
    ratio = (1200 / 3937) / 0.3048
    assert PINT("chain").to("m").magnitude / units.quantity("1 chain", "length") == pytest.approx(ratio, rel=1e-12)
    assert PINT("acre").to("m**2").magnitude / units.quantity("1 acre", "area") == pytest.approx(ratio**2, rel=1e-12)


def test_head_of_water():
    """0.4333 psi a foot is 62.4 lb/ft3 over 144 in2/ft2; fresh water at its densest weighs 62.43 lb/ft3 (NIST SP 811, B.8)."""
    assert pytest.approx(62.4 / 144, abs=5e-5) == units.PSI_PER_FOOT
    assert units.quantity("1 m of water", "pressure") == pytest.approx(9.80665, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("5 ft 6 in", 5.5 * 0.3048),
        ("5' 6\"", 5.5 * 0.3048),
        ("5'6\"", 5.5 * 0.3048),
        ("1 m 25 cm", 1.25),
        ("1e2 cm", 1.0),
        (".5 m", 0.5),
        ("5. m", 5.0),
        ("+3 m", 3.0),
        ("16FT", 16 * 0.3048),
        ("  16   ft ", 16 * 0.3048),
        ("16ft", 16 * 0.3048),
    ],
)
def test_lengths_as_people_write_them(text, metres):
    assert units.quantity(text, "length") == pytest.approx(metres, rel=1e-14)


@pytest.mark.parametrize("kind", units.KINDS)
@pytest.mark.parametrize(
    "text",
    [
        "",
        "  ",
        "16",
        "ft",
        "16 parsecs",
        "16,5 ft",
        "1 000 ft",
        "16 ft 3",
        "16 ft x",
        "ft 16",
        "--3 ft",
        "nan ft",
        "inf ft",
        "1e999 m",
        "1/2 ft",
        None,
        True,
        16,
        16.0,
        [],
        {},
        float("nan"),
        "16 ft\x00",
        "１６ ft\u200b",
    ],
    ids=repr,
)
def test_no_quantity(kind, text):
    with pytest.raises(ValueError) as caught:
        units.quantity(text, kind)
    said = str(caught.value)
    assert units.EXAMPLE[kind] in said
    assert "; write " in said


@pytest.mark.parametrize("text", ["15", "100 ft", "-90 deg", "90 deg", "%", "x %", "inf %", "", "15 % 2", 15])
def test_no_slope(text):
    with pytest.raises(ValueError, match="write"):
        units.quantity(text, "slope")


@given(st.floats(-89.9, 89.9))
def test_slope_of_an_angle(degrees):
    assert units.quantity(f"{degrees!r} deg", "slope") == pytest.approx(math.tan(math.radians(degrees)), rel=1e-12, abs=1e-300)


@given(st.floats(0, 90), st.sampled_from("NS"), st.sampled_from("EW"))
def test_a_quadrant_bearing_is_the_azimuth_of_its_line(angle, north, east):
    """From its vector: north component cos, east component sin, with the signs of the letters."""
    x = math.sin(math.radians(angle)) * (1 if east == "E" else -1)
    y = math.cos(math.radians(angle)) * (1 if north == "N" else -1)
    expected = math.degrees(math.atan2(x, y)) % 180
    found = units.bearing(f"{north} {angle:.9f} {east}")
    apart = abs(found - expected) % 180
    assert min(apart, 180 - apart) < 1e-6
    assert 0 <= found < 180


@pytest.mark.parametrize("text", ["", "north", "N 100 E", "N E", "20", "N 20 X", "20 ft", "nort-south"])
def test_no_bearing(text):
    with pytest.raises(ValueError):
        units.bearing(text)


@given(st.floats(1e-6, 1e7))
def test_a_length_that_is_shown_reads_back_to_its_digits(metres):
    for system in ("us", "si"):
        shown = units.show_length(metres, system)
        assert units.quantity(shown, "length") == pytest.approx(metres, rel=0.06, abs=0.0016)
        assert not shown.startswith(("0 ", "-"))
