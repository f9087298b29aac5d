"""Days cut into mornings and afternoons."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from setout.geometry.sky.sun import sun_path

DAYS = tuple(date(2026, month, 21) for month in range(1, 13))


@pytest.mark.parametrize("latitude", [0.0, 12.0, 40.0, -35.0, 61.0])
def test_halves_add_up_and_positions_stand_in_the_middle_of_their_time(latitude: float) -> None:
    path = sun_path(DAYS, latitude, 33.0)
    morning, afternoon = path.by_half()
    assert np.bincount(path.day, path.hours) == pytest.approx(morning + afternoon)
    assert morning == pytest.approx(afternoon, abs=0.05)
    assert (path.altitude_deg > 0).all()
    assert path.hours.max() <= 1 / 6 + 1e-9
    east = path.azimuth_deg < 180
    assert (east == path.morning).all()


def test_finer_times_give_the_same_day() -> None:
    coarse, fine = sun_path(DAYS, 47.0, 8.0), sun_path(DAYS, 47.0, 8.0, minutes=1.0)
    for one, other in zip(coarse.by_half(), fine.by_half(), strict=True):
        assert one == pytest.approx(other, abs=1e-9)


def test_where_the_sun_does_not_rise_or_set() -> None:
    north = sun_path([date(2026, 6, 21), date(2026, 12, 21)], 75.0, 20.0)
    assert np.bincount(north.day, north.hours, 2) == pytest.approx([24.0, 0.0], abs=1e-6)
    assert len(sun_path([date(2026, 12, 21)], 80.0, 0.0).day) == 0
