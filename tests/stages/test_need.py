"""What trees need: figures by hand, months, years, climates of both halves of the earth, and what cannot be known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.model import Block, Frame, NeedSettings, Pattern, Plant, Site, Trees, Weather
from setout.stages.need import Need, most_together, need_of
from setout.stages.need.rain import effective_rain
from setout.words.findings import told
from spaced import block_of, rowed, site_of, trees_of

SQUARE = Pattern("square", 5.0, 5.0)
SUMMER = (1.0, 1.5, 2.5, 4.0, 5.0, 6.5, 7.0, 6.0, 4.5, 3.0, 1.5, 1.0)
WET = (90.0,) * 12
MARCH = (3, 1)
"""Leaf-out on 1 March and the stages of California are what Table 11 prints: 240 days, to 26 October."""
BOISE = (-1.5, 2.0, 6.0, 10.0, 14.5, 19.0, 24.0, 23.0, 18.0, 11.0, 4.0, -1.0)
"""Monthly mean temperatures like those of an inland valley at 43 N [deg C], rounded."""


def weather_of(mean_c: tuple[float, ...]) -> Weather:
    """Return means of the months, 12 degrees between the lowest and the highest temperature of the day."""
    month, mean = np.arange(1, 13), np.array(mean_c)
    return Weather("w", "month", 0 * month, month, 15 + 0 * month, mean - 6, mean + 6)


def tree(species: str = "apple", spread: float = 4.0, kc: float = 0.95, **facts: object) -> Plant:
    facts = {"years_to_full_size": 8.0} | facts
    sizes = {"spread_m": spread, "natural_spread_m": spread} | {k: facts.pop(k) for k in ("spread_m",) if k in facts}
    return Plant(species, species=species, kc_mid=kc, **sizes, **facts)


def on(latitude: float, *blocks: Block) -> Site:
    frame = Frame(None, None, None, -78.0, latitude, 200.0, 1.0)  # type: ignore[arg-type]
    return replace(site_of(*blocks), frame=frame)


def need(
    *plants: Plant,
    said: NeedSettings,
    weather: Weather | None = None,
    latitude: float = 38.0,
    pattern: Pattern = SQUARE,
    year: int | None = None,
) -> Need:
    block = block_of(pattern, *plants)
    rows = rowed(pattern if pattern.step_m else SQUARE, 3, 4)
    kind = np.arange(len(rows)) % max(len(plants), 1)
    return need_of(on(latitude, block), trees_of(rows, kind=kind), weather, said, year)


def codes(found: Need) -> list[str]:
    return [finding.code for finding in found.findings]


def test_one_rate_by_hand() -> None:
    # 7 mm/day x 0.95 x 25 m2 x (pi 4 / 25 / 0.85) / 0.9
    found = need(tree(), said=NeedSettings(eto_mm=(7.0,)))
    by_hand = 7 * 0.95 * math.pi * 4 / 0.85 / 0.9
    np.testing.assert_allclose(found.need_lpd, by_hand)
    assert (found.peak_month, found.lpd_by_month, found.classes[0].lpd_by_month) == (0, (), ())
    assert "need_peak_only" in codes(found)


def test_the_peak_is_met_in_a_dry_spell_unless_the_plan_counts_rain() -> None:
    dry = need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH, rain_mm=WET))
    wet = need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH, rain_mm=WET, rain_in_design=True))
    one = dry.classes[0]
    assert dry.need_lpd[0] == max(one.dry_lpd_by_month) > max(one.lpd_by_month) == wet.need_lpd[0]
    assert dry.peak_month == one.peak_month == 7
    assert dry.peak_eto_mm == 7.0
    # by hand: July, mid-season, rain of 90 mm on the ground that draws water
    effective = effective_rain(90, 7 * 0.95 * 31) / 31
    area = math.pi * 4 / 0.85
    assert one.lpd_by_month[6] == pytest.approx((7 * 0.95 - effective) * area / 0.9)
    assert one.factor_m2 == pytest.approx(area)


def test_deciduous_trees_need_nothing_without_leaves_and_evergreens_do() -> None:
    apple = need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH)).classes[0]
    orange = need(tree("sweet orange", kc=0.65), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH)).classes[0]
    assert [m for m, litres in enumerate(apple.lpd_by_month, 1) if litres == 0] == [1, 2, 11, 12]
    assert min(orange.lpd_by_month) > 0
    assert apple.kc_by_month[6] == pytest.approx(0.95)


def test_seasons_turn_south_of_the_equator() -> None:
    north = need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH), latitude=38.0)
    south = need(tree(), said=NeedSettings(eto_mm=SUMMER[6:] + SUMMER[:6], leaf_out=(9, 1)), latitude=-38.0)
    assert (north.peak_month, south.peak_month) == (7, 1)
    # half a year is a day or three longer or shorter, as it is counted
    np.testing.assert_allclose(south.lpd_by_month, north.lpd_by_month[6:] + north.lpd_by_month[:6], rtol=0.1, atol=30)


def test_leaf_out_moves_the_season() -> None:
    early, late = (need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=day)).classes[0] for day in ((2, 15), (5, 1)))
    assert early.lpd_by_month[2] > 0 == late.lpd_by_month[2]


def test_temperatures_tell_the_season() -> None:
    """By hand: the mean passes 10 C on 15 April, the middle of the month, and falls below it between the middles of October
    (11 C) and November (4 C), a seventh of the 30.5 days after 16 October."""
    said = NeedSettings(eto_mm=SUMMER)
    one = need(tree(), said=said, weather=weather_of(BOISE), latitude=43.0).classes[0]
    assert [m for m, kc in enumerate(one.kc_by_month, 1) if kc == 0] == [1, 2, 3, 11, 12]
    assert one.kc_by_month[3] == pytest.approx(0.45 * 15 / 30, abs=0.02)  # sixteen days of April or so, all in the first stage
    assert one.kc_by_month[9] == pytest.approx(0.73 * 20 / 31, abs=0.05)
    turned = need(tree(), said=said, weather=weather_of(BOISE[6:] + BOISE[:6]), latitude=-43.0).classes[0]
    np.testing.assert_allclose(turned.kc_by_month, one.kc_by_month[6:] + one.kc_by_month[:6], atol=0.05)


def test_leaf_out_goes_before_the_temperatures_which_still_end_the_season() -> None:
    said = NeedSettings(eto_mm=SUMMER, leaf_out=(5, 10))
    one = need(tree(), said=said, weather=weather_of(BOISE), latitude=43.0).classes[0]
    assert [m for m, kc in enumerate(one.kc_by_month, 1) if kc == 0] == [1, 2, 3, 4, 11, 12]
    # without temperatures its length is the table's, and that is said
    assert "need_season_taken" in codes(need(tree(), said=said))
    assert "need_season_taken" not in codes(need(tree(), said=said, weather=weather_of(BOISE)))
    assert "need_season_taken" not in codes(need(tree("olive", kc=0.7), said=said))


@pytest.mark.parametrize("weather", [None, weather_of((25.0,) * 12)])
def test_months_are_not_told_of_plants_whose_leaves_nothing_is_known_of(weather: Weather | None) -> None:
    found = need(tree(), tree("sweet orange", kc=0.65), said=NeedSettings(eto_mm=SUMMER), weather=weather, latitude=40.0)
    apple, orange = found.classes
    assert (apple.kc_by_month, apple.lpd_by_month, apple.dry_lpd_by_month, apple.peak_month) == ((), (), (), 0)
    assert len(orange.lpd_by_month) == 12  # it keeps its leaves
    assert found.lpd_by_month == ()
    # the peak is known as well as without any: mid-season under the greatest reference
    assert found.need_lpd[0] == pytest.approx(7 * 0.95 * math.pi * 4 / 0.85 / 0.9)
    (finding,) = (f for f in found.findings if f.code == "need_no_season")
    assert finding.figures == {"plant": "apple", "plants": ()}
    assert "leaf_out" in told(finding, "us").remedy


@pytest.mark.parametrize("species", ["apple", "table grape", "wine grape", "Persian walnut", "olive", "sweet orange"])
def test_the_coefficients_jump_at_no_latitude(species: str) -> None:
    """Under the same weather a mile to the north changes nothing: neither at 30 nor at 42 degrees, nor anywhere else."""
    said = NeedSettings(eto_mm=SUMMER)
    curves = [
        need(tree(species), said=said, weather=weather_of(BOISE), latitude=latitude).classes[0].kc_by_month
        for latitude in (5.0, 29.99, 30.01, 41.99, 42.01, 60.0)
    ]
    assert len(set(curves)) == 1


def test_a_season_a_little_longer_changes_little() -> None:
    warmer = [tuple(t + 0.1 * k for t in BOISE) for k in range(40)]
    curves = np.array([need(tree(), said=NeedSettings(eto_mm=SUMMER), weather=weather_of(t)).classes[0].kc_by_month for t in warmer])
    assert np.abs(np.diff(curves, axis=0)).max() < 0.05


def test_own_coefficients() -> None:
    table = need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH)).classes[0]
    doubled = need(tree(kc=1.9), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH)).classes[0]
    np.testing.assert_allclose(doubled.lpd_by_month, 2 * np.array(table.lpd_by_month))
    assert doubled.source[0].startswith("yours")
    flat = need(tree("fig", kc=float("nan")), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH, kc=(0.8,)))
    assert flat.classes[0].kc_peak == pytest.approx(0.8)
    months = tuple(k / 12 for k in range(12))
    assert need(tree(), said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH, kc=months)).classes[0].kc_by_month == months


def test_grass_between_the_trees_drinks_too() -> None:
    bare, grass = (need(tree(), said=NeedSettings(eto_mm=(7.0,), grass=g)).need_lpd[0] for g in (False, True))
    assert grass / bare == pytest.approx(1.20 / 0.95)


def test_year_by_year() -> None:
    plant = tree(spread=4.0, years_to_full_size=8.0)
    found = need(plant, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH))
    years = dict(found.classes[0].lpd_by_year)
    assert list(years) == list(range(1, 14))
    assert all(years[y] <= years[y + 1] for y in range(1, 13))
    # spread after 4 of 8 years is 1 - 20^(-1/2) of the full one, the need goes by its square
    assert years[4] / found.need_lpd[0] == pytest.approx((1 - 20**-0.5) ** 2)
    assert need(plant, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH), year=4).need_lpd[0] == pytest.approx(years[4])
    assert found.lpd_by_year[3] == (4, pytest.approx(12 * years[4]))
    assert need(plant, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH), year=0).need_lpd[0] == 0
    assert need(plant, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH), year=99).need_lpd[0] <= found.need_lpd[0]


def test_temporary_trees_need_water_while_they_stand() -> None:
    main, filler = tree(), tree("peach", kc=0.90, remove_year=6)
    found = need(main, filler, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH))
    of_filler = found.classes[1]
    years = dict(of_filler.lpd_by_year)
    assert years[5] > 0 == years[6] == years[13]
    # its size in the last year in which it stands
    grown = 4 * (1 - 20 ** (-5 / 8))
    assert of_filler.canopy_m2 == pytest.approx(math.pi * grown**2 / 4)
    assert found.need_lpd[1] == pytest.approx(years[5])
    assert need(main, filler, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH), year=7).need_lpd[1] == 0
    # the most that all need at one time: those that stay at full size, or the year before the fillers come out
    stays = found.classes[0]
    assert most_together(found.classes) == pytest.approx(max(6 * stays.peak_lpd, 6 * (dict(stays.lpd_by_year)[5] + years[5])))
    assert most_together(found.classes) < found.need_lpd.sum()
    # all trees together at full size are those that stay
    assert sum(found.lpd_by_month) == pytest.approx(6 * sum(found.classes[0].lpd_by_month))


def test_trees_that_stay_have_the_ground_that_fillers_leave() -> None:
    """Every second place of a 5 m square: 25 m2 a tree while the fillers stand, 50 m2 from then on, by hand; a canopy 6.5 m wide
    has room for all of itself then, and is held to its 25 m2 before."""
    main, filler = tree(spread=6.5), tree("peach", spread=3.0, kc=0.90, remove_year=12)
    found = need(main, filler, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH, canopy_factor="canopy"))
    stays, leaves = found.classes
    assert (stays.ground_m2, leaves.ground_m2) == (50.0, 25.0)
    assert stays.canopy_m2 == pytest.approx(math.pi * 6.5**2 / 4)
    years = dict(stays.lpd_by_year)
    grown = [6.5 * (1 - 20 ** (-year / 8)) for year in (11, 12)]
    assert years[11] < 7.0 * 0.95 * 25 / 0.9 + 1e-9
    assert years[12] == pytest.approx(7.0 * 0.95 * math.pi * grown[1] ** 2 / 4 / 0.9)
    assert years[12] > 1.1 * years[11]


def test_classes_of_blocks_and_plants() -> None:
    one, two = (block_of(SQUARE, tree(), tree("peach", kc=0.90)), block_of(Pattern("square", 8.0, 8.0), tree(spread=6.0), name="B"))
    rows = [rowed(SQUARE, 2, 3), rowed(Pattern("square", 8.0, 8.0), 2, 2, (100.0, 0.0))]
    trees = trees_of(*rows, kind=[0, 1, 0, 1, 0, 1, 0, 0, 0, 0])
    found = need_of(on(38.0, one, two), trees, None, NeedSettings(eto_mm=(7.0,)))
    assert [(c.block, c.plant, c.trees) for c in found.classes] == [(0, 0, 3), (0, 1, 3), (1, 0, 4)]
    assert found.class_of.tolist() == [0, 1, 0, 1, 0, 1, 2, 2, 2, 2]
    np.testing.assert_array_equal(found.need_lpd, [found.classes[k].peak_lpd for k in found.class_of])


def test_single_trees_are_held_to_no_ground() -> None:
    found = need(tree(spread=6.0), said=NeedSettings(eto_mm=(7.0,)), pattern=Pattern("points", 0.0, 0.0))
    assert found.need_lpd[0] == pytest.approx(7 * 0.95 * math.pi * 9 / 0.85 / 0.9)
    assert math.isnan(found.classes[0].ground_m2)


def test_closed_canopy_uses_what_a_full_cover_does() -> None:
    found = need(tree(spread=9.0), said=NeedSettings(eto_mm=(7.0,)))
    assert found.need_lpd[0] == pytest.approx(7 * 0.95 * 25 / 0.9)


# --------------------------------------------------------------------------------------------- what is unknown


def test_no_weather() -> None:
    found = need(tree(), said=NeedSettings())
    assert np.isnan(found.need_lpd).all()
    assert codes(found) == ["need_no_weather"]
    assert "eto" in told(found.findings[0], "us").remedy


@pytest.mark.parametrize(
    ("plant", "code"),
    [
        (tree(spread=float("nan")), "need_no_spread"),
        (tree("fig", kc=float("nan")), "need_no_kc"),
        (tree(years_to_full_size=float("nan")), "need_no_growth"),
        (Plant(""), "need_no_kc"),
    ],
)
def test_unknown(plant: Plant, code: str) -> None:
    found = need(plant, said=NeedSettings(eto_mm=SUMMER, leaf_out=MARCH))
    assert code in codes(found)
    assert np.isfinite(found.need_lpd).all() == (code == "need_no_growth")
    assert all(told(finding, "us").remedy for finding in found.findings)


def test_trees_without_block_or_plant() -> None:
    trees = trees_of(rowed(SQUARE, 1, 3), kind=[0, -1, 0])
    found = need_of(on(38.0, block_of(SQUARE, tree())), trees, None, NeedSettings(eto_mm=(7.0,)))
    assert np.isfinite(found.need_lpd).tolist() == [True, False, True]
    stray = replace(trees, block=np.array([-1, -1, 0], np.int32))
    found = need_of(on(38.0, block_of(SQUARE, tree())), stray, None, NeedSettings(eto_mm=(7.0,)))
    assert np.isfinite(found.need_lpd).tolist() == [False, False, True]
    assert "need_no_kc" in codes(found)


def test_no_trees() -> None:
    nothing = np.empty(0)
    trees = Trees(*(nothing.astype(np.int32),) * 3, nothing, nothing, nothing.astype(np.int32))
    found = need_of(on(38.0, block_of(SQUARE, tree())), trees, None, NeedSettings(eto_mm=SUMMER, leaf_out=MARCH))
    assert (len(found.need_lpd), found.classes, found.lpd_by_month) == (0, (), ())


def test_a_month_that_is_missing_leaves_out_need_by_month() -> None:
    eleven = np.arange(1, 12)
    weather = Weather("w", "month", 0 * eleven, eleven, 15 + 0 * eleven, eto_mm=np.array(SUMMER[:11]))
    found = need(tree(), said=NeedSettings(), weather=weather)
    assert "need_month_missing" in codes(found)
    assert found.lpd_by_month == ()
    assert found.need_lpd[0] == pytest.approx(7 * 0.95 * math.pi * 4 / 0.85 / 0.9)


def test_what_was_taken_is_said() -> None:
    month = np.arange(1, 13)
    cold, warm = np.linspace(2, 14, 12), np.linspace(14, 28, 12)
    weather = Weather("w", "month", 0 * month, month, 15 + 0 * month, cold, warm)
    found = need(tree(), said=NeedSettings(), weather=weather)
    assert found.method == "hargreaves_samani"
    assert "need_weather_taken" in codes(found)
    assert not np.isnan(found.lpd_by_month).any()
    hot = need(tree(), said=NeedSettings(eto_mm=(16.0,)))
    assert "need_much_eto" in codes(hot)


# ------------------------------------------------------------------------------------------------- what must hold

RATES = st.floats(1.0, 12.0)


@settings(max_examples=40, deadline=None)
@given(RATES, st.floats(0.3, 1.5), st.floats(1.0, 9.0), st.floats(0.4, 1.0), st.floats(0.0, 0.5), st.floats(2.0, 9.0))
def test_need_goes_with_what_drives_it(eto: float, kc: float, spread: float, eff: float, salt: float, step: float) -> None:
    said = NeedSettings(eto_mm=(eto,), efficiency=eff, leaching=salt)
    pattern = Pattern("square", step, step)

    def litres(s: NeedSettings = said, k: float = kc, d: float = spread, p: Pattern = pattern) -> float:
        return float(need(tree(kc=k, spread=d), said=s, pattern=p).need_lpd[0])

    base = litres()
    assert base > 0
    assert litres(replace(said, eto_mm=(eto * 1.1,))) == pytest.approx(1.1 * base)
    assert litres(k=kc * 1.1) == pytest.approx(1.1 * base)
    assert litres(d=spread * 1.1) >= base - 1e-9
    assert litres(p=Pattern("square", step * 1.1, step * 1.1)) >= base - 1e-9
    assert litres(replace(said, efficiency=eff * 0.9)) == pytest.approx(base / 0.9)
    assert litres(replace(said, leaching=salt + 0.1)) > base
    # never more than a full cover on the tree's ground
    assert base <= eto * max(kc, 0.7) * step**2 / (eff * (1 - salt)) + 1e-9
    by = [litres(replace(said, canopy_factor=c)) for c in ("canopy", "keller-karmeli", "fereres")]
    assert by == sorted(by)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.1, 12.0), min_size=12, max_size=12), st.lists(st.floats(0, 400), min_size=12, max_size=12), st.floats(-60, 60))
def test_rain_never_adds_and_months_are_never_nan(eto: list[float], rain: list[float], latitude: float) -> None:
    said = NeedSettings(eto_mm=tuple(eto), rain_mm=tuple(rain), leaf_out=MARCH)
    found = need(tree(), said=said, latitude=latitude)
    one = found.classes[0]
    assert len(found.lpd_by_month) == 12
    assert all(0 <= wet <= dry + 1e-9 for wet, dry in zip(one.lpd_by_month, one.dry_lpd_by_month, strict=True))
    assert found.need_lpd[0] == max(one.dry_lpd_by_month)
    assert not np.isnan(found.lpd_by_month).any()


@given(st.floats(0, 1000), st.floats(0, 400), st.sampled_from(["scs", "fao", "none"]))
def test_effective_rain_is_never_more_than_falls_or_is_used(rain: float, use: float, method: str) -> None:
    found = effective_rain(rain, use, method)
    assert 0 <= found <= min(rain, use)
    assert effective_rain(rain + 10, use, method) >= found - 1e-9
