"""Pipes and emitters against figures in print; the source stands beside each, and "by hand" where it is arithmetic."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction, loss_m, velocity_ms
from setout.hydraulics.network import PipeTree, solve
from setout.hydraulics.uniformity import class_of, emission_uniformity
from setout.model import IrrigationPlan
from setout.units import FOOT, GALLON, KPA_PER_M, PSI

INCH_MM, GPM = 25.4, 60 * GALLON
HUNDRED_FEET = 100 * FOOT
PLANNED = {setting.name: setting.default for setting in fields(IrrigationPlan)}


def psi_per_100_ft(gpm: float, inside_in: float, c: float) -> float:
    lost = loss_m(gpm * GPM, HUNDRED_FEET, inside_in * INCH_MM, Friction(roughness_c=c))
    return float(lost) * KPA_PER_M / PSI


def test_emitter_exponent_from_two_flows() -> None:
    # form of ASABE EP405; x by hand: log(1.27 / 0.90) / log(20 / 10) = 0.497
    x = float(np.log(1.27 / 0.90) / np.log(2))
    assert x == pytest.approx(0.497, abs=5e-4)
    assert Emitters.rated(0.90, 10 * KPA_PER_M, x).flow(20.0) == pytest.approx(1.27, abs=1e-9)


@pytest.mark.parametrize(("x", "up", "down"), [(0.5, 4.9, -5.1), (0.0, 0.0, 0.0), (1.0, 10.0, -10.0)])
def test_flow_changes_as_pressure_to_the_exponent(x: float, up: float, down: float) -> None:
    # by hand, q ratio = p ratio ^ x
    found = 100 * (Emitters(2.0, x).flow([11.0, 9.0]) / Emitters(2.0, x).flow(10.0) - 1)
    assert found == pytest.approx([up, down], abs=0.05)


def test_emission_uniformity() -> None:
    # Keller and Karmeli 1974; NRCS NEH 623 chapter 7 (2013); numbers by hand from the formula
    assert emission_uniformity([0.92, 1.08], variation=0.05, per_plant=4) == pytest.approx(89.1, abs=0.05)
    assert emission_uniformity([0.90, 1.10], variation=0.05, per_plant=1) == pytest.approx(84.3, abs=0.05)
    # ASABE EP405 by way of handbooks: 90 % and more on uniform ground is what a design aims at
    assert [class_of(eu) for eu in (90.0, 89.1, 84.3)] == ["excellent", "good", "good"]


def test_pressure_spread_of_20_per_cent_is_flow_within_about_10() -> None:
    # ASABE EP405 by way of handbooks: 20 % of pressure, 10 % of flow at x = 0.5
    low, high = Emitters(2.0, 0.5).flow([8.0, 10.0])
    assert 1 - low / high == pytest.approx(0.10, abs=0.01)
    assert PLANNED["spread_limit"] == pytest.approx(0.20)


def share_left(outlets: int, flow_lph: float = 4.0, inside_mm: float = 13.6, friction: Friction | None = None) -> float:
    """Solve a level lateral of equal outlets; return its loss as a share of that of the whole flow over the whole length."""
    # emitters of constant flow on level ground are the case the factor was made for
    n, pipe = np.arange(outlets + 1), friction or Friction()
    tree = PipeTree(
        n - 1, np.where(n > 0, 2.0, 0.0), np.full(n.size, inside_mm), 0.0 * n, Emitters(np.where(n > 0, flow_lph, 0.0), 0.0), pipe
    )
    whole = float(loss_m(flow_lph * outlets, 2.0 * outlets, inside_mm, pipe))
    source = 60.0 + whole
    return (source - float(solve(tree, source).head_m[-1])) / whole


@pytest.mark.parametrize(
    ("outlets", "share"), [(1, 1.0), (2, 0.639), (3, 0.534), (4, 0.485), (5, 0.457), (10, 0.402), (20, 0.376), (50, 0.361), (100, 0.356)]
)
def test_christiansen_factor(outlets: int, share: float) -> None:
    # Christiansen 1942, m = 1.852
    assert share_left(outlets) == pytest.approx(share, abs=0.002)


@pytest.mark.parametrize(("outlets", "share"), [(10, 0.385), (20, 0.359)])
def test_christiansen_factor_of_rough_pipe(outlets: int, share: float) -> None:
    # the same, m = 2: Darcy-Weisbach, in pipe so rough that its friction factor depends on no flow
    assert share_left(outlets, 400.0, 20.0, Friction("churchill", roughness_mm=1.0)) == pytest.approx(share, abs=0.002)


@pytest.mark.parametrize(("outlets", "share"), [(10, 0.415), (20, 0.389)])
def test_christiansen_factor_of_smooth_pipe(outlets: int, share: float) -> None:
    # the same, m = 1.75 as Blasius 1913 has it for smooth pipe
    assert share_left(outlets, 200.0, 20.0, Friction("churchill", roughness_mm=0.0)) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(
    ("inside_in", "gpm", "psi", "feet_s", "within"),
    [
        (1.195, 10, 1.27, 2.85, 0.02),
        (1.195, 20, 4.59, 5.71, 0.02),
        (2.193, 40, 0.86, None, 0.03),
        (2.193, 80, 3.12, None, 0.03),
        (3.230, 80, 0.47, None, 0.03),
        (4.154, 200, 0.76, None, 0.03),
    ],
)
def test_pvc_class_160_table(inside_in: float, gpm: float, psi: float, feet_s: float | None, within: float) -> None:
    # friction table of PVC class 160 pipe, C = 150, of a university irrigation course
    assert psi_per_100_ft(gpm, inside_in, 150) == pytest.approx(psi, rel=within)
    if feet_s is not None:
        # its velocities are 0.3 % below 0.4085 Q / d^2
        assert velocity_ms(gpm * GPM, inside_in * INCH_MM) / FOOT == pytest.approx(feet_s, rel=0.005)


@pytest.mark.parametrize(("inside_in", "gpm", "feet"), [(1.049, 10, 5.50), (2.067, 40, 2.62)])
def test_schedule_40_table(inside_in: float, gpm: float, feet: float) -> None:
    # 77 Illinois Administrative Code 906, appendix A, exhibit I: head loss in feet per 100 feet, C = 150
    lost = loss_m(gpm * GPM, HUNDRED_FEET, inside_in * INCH_MM, Friction(roughness_c=150)) / FOOT
    assert lost == pytest.approx(feet, rel=0.01)


def test_polyethylene_and_the_si_form() -> None:
    # by hand from 452 Q^1.852 / (C^1.852 d^4.87) and 10.67 L Q^1.852 / (C^1.852 d^4.8704)
    assert psi_per_100_ft(10, 1.049, 140) == pytest.approx(2.70, rel=0.005)
    lost = float(loss_m(10 * GPM, 30.48, 1.195 * INCH_MM, Friction(roughness_c=150)))
    assert lost == pytest.approx(0.887, rel=0.005)
    assert lost * KPA_PER_M / PSI == pytest.approx(1.26, rel=0.005)


def test_velocity() -> None:
    # v = 0.4085 Q / d^2 [ft/s, gal/min, in], as under friction tables; 5 ft/s is the usual limit
    assert velocity_ms(10 * GPM, 1.195 * INCH_MM) / FOOT == pytest.approx(2.86, abs=0.01)
    assert PLANNED["velocity_m_s"] / FOOT == pytest.approx(5.0)


def test_static_head() -> None:
    # 62.4 lb/ft3 over 144 in2/ft2; 0.433 psi/ft in pipe makers' data
    still = PipeTree(np.array([-1, 0, 1]), np.full(3, FOOT), np.full(3, 16.0), np.array([0.0, FOOT, 2.308 * FOOT]), Emitters(np.zeros(3)))
    source, one, more = solve(still, 10.0).pressure_kpa / PSI
    assert source - one == pytest.approx(0.4333, abs=1e-4)
    assert source - more == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("law", ["swamee-jain", "churchill"])
@pytest.mark.parametrize("rough", [1e-6, 1e-4, 1e-2])
@pytest.mark.parametrize("reynolds", [5e3, 1e5, 1e7])
def test_friction_factor_against_colebrook(law: str, rough: float, reynolds: float) -> None:
    # Colebrook 1939, 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))). Swamee and Jain 1976 give 1 % for their own
    # from Re 5,000 to 1e8, which is nearly so at its corners; Churchill's 1977 is of the same kind.
    from setout.hydraulics.friction import friction_factor

    root = 0.1
    for _ in range(60):
        root = -1 / (2 * np.log10(rough / 3.7 + 2.51 / (reynolds * root)))
    f, _ = friction_factor(law, np.array([reynolds]), np.array([rough]))  # type: ignore[arg-type]
    assert f[0] == pytest.approx(root**2, rel=0.035)
