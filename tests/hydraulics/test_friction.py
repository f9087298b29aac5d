"""Loss in pipes: slopes are those of the losses, laws join where they meet, bad days are no surprise."""

from __future__ import annotations

import numpy as np
import pytest

from setout.hydraulics.friction import Friction, Pipes, friction_factor, loss_m

LAWS = ("hazen-williams", "swamee-jain", "churchill")


@pytest.mark.parametrize("law", LAWS)
def test_the_slope_is_that_of_the_loss(law: str) -> None:
    flow = np.geomspace(1.0, 1e5, 400)
    pipes = Pipes.of(10.0, 16.0, Friction(law, minor_share=0.1, minor_k=2.0))  # type: ignore[arg-type]
    loss, slope = pipes.loss_and_slope(flow)
    step = flow * 1e-6
    by_difference = (pipes.loss_and_slope(flow + step)[0] - pipes.loss_and_slope(flow - step)[0]) / (2 * step)
    corner = np.abs(np.diff(slope, append=slope[-1])) > 0.5 * slope  # the laminar law ends at Re 2000
    assert np.abs(slope / by_difference - 1)[~corner].max() < 1e-5
    assert np.all(np.diff(loss) > 0)
    assert np.all(slope > 0)


@pytest.mark.parametrize("law", LAWS)
def test_backwards_is_the_same_with_the_other_sign(law: str) -> None:
    pipes = Pipes.of(10.0, 16.0, Friction(law, minor_k=1.0))  # type: ignore[arg-type]
    there, back = pipes.loss_and_slope(np.array([0.0, 50.0, 5e3])), pipes.loss_and_slope(np.array([-0.0, -50.0, -5e3]))
    assert there[0] == pytest.approx(-back[0])
    assert there[1] == pytest.approx(back[1])


def test_laminar_flow_is_hagen_poiseuille() -> None:
    # h = 128 nu L Q / (pi g d^4), exact for laminar flow; Re = 1,000 here
    from setout.hydraulics.friction import GRAVITY, VISCOSITY

    d = 0.016
    flow = 1000 * np.pi * d * VISCOSITY / 4
    exact = 128 * VISCOSITY * 10.0 * flow / (np.pi * GRAVITY * d**4)
    for law in LAWS[1:]:
        assert loss_m(flow * 3.6e6, 10.0, 16.0, Friction(law)) == pytest.approx(exact, rel=1e-3)  # type: ignore[arg-type]


def test_swamee_jain_has_no_jump_between_laminar_and_turbulent() -> None:
    rough = np.full(2, 1e-4)
    for edge in (2000.0, 4000.0):
        f, _ = friction_factor("swamee-jain", np.array([edge - 1e-6, edge + 1e-6]), rough)
        assert f[0] == pytest.approx(f[1], rel=2e-5)


def test_fittings_as_a_share_are_as_longer_pipe() -> None:
    assert loss_m(500.0, 10.0, 16.0, Friction(minor_share=0.15)) == pytest.approx(loss_m(500.0, 11.5, 16.0), rel=1e-12)
