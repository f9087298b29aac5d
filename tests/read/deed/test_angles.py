import pytest
from hypothesis import given
from hypothesis import strategies as st

from setout.read.deed.angles import coordinate, sexagesimal


@given(st.integers(0, 359), st.integers(0, 59), st.integers(0, 5999), st.sampled_from(["-", "° ", " ", ":", " deg "]))
def test_round_trip(degrees, minutes, hundredths, sign):
    text = f"{degrees}{sign}{minutes:02d}{sign}{hundredths / 100:05.2f}"
    assert sexagesimal(text) == pytest.approx(degrees + minutes / 60 + hundredths / 360000, abs=1e-9)


@pytest.mark.parametrize("text", ["", "north", "1-2-3-4", "45-60", "45-30-60", "45.5-30"])
def test_what_is_no_angle(text):
    with pytest.raises(ValueError):
        sexagesimal(text)


@pytest.mark.parametrize("text", ["", "abc", "N 45 S", "45 30 00 Q"])
def test_what_is_no_coordinate(text):
    with pytest.raises(ValueError):
        coordinate(text)
