"""Solenoid statics against a numerical force balance."""

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.reference.solenoid import Solenoid, drop_out_a, force_n, inductance_h, pull_in_a

# A made-up valve of ordinary size: 40 mH open, 100 mH seated.
VALVE = Solenoid(base_h=20e-3, a_hm=4e-5, gap_m=0.5e-3, stroke_m=1.5e-3, preload_n=0.6, spring_n_per_m=300)


def test_force_is_the_slope_of_coenergy():
    """Fitzgerald/Kingsley/Umans ch. 3: force = i^2/2 dL/dx; the derivative is taken numerically."""
    at, step = 0.7e-3, 1e-9
    slope = (inductance_h(VALVE, at - step) - inductance_h(VALVE, at + step)) / (2 * step)
    assert force_n(VALVE, 0.4, at) == pytest.approx(0.4**2 / 2 * slope, rel=1e-6)


def net(current_a, position_m):
    spring = VALVE.preload_n + VALVE.spring_n_per_m * (VALVE.stroke_m - position_m)
    return force_n(VALVE, current_a, position_m) - spring


def test_thresholds_balance_force_and_spring():
    assert pull_in_a(VALVE) == pytest.approx(brentq(net, 0, 2, args=(VALVE.stroke_m,)), rel=1e-9)
    assert drop_out_a(VALVE) == pytest.approx(brentq(net, 0, 2, args=(0.0,)), rel=1e-9)
    assert drop_out_a(VALVE) / pull_in_a(VALVE) == pytest.approx(0.331, abs=1e-3)


def test_once_moving_it_snaps_shut():
    """Above pull-in the net force stays towards the seat all the way: the motion is unstable."""
    path = np.linspace(VALVE.stroke_m, 0, 200)
    assert all(net(pull_in_a(VALVE) * 1.001, x) > 0 for x in path)


def test_inductance_ends():
    assert inductance_h(VALVE, VALVE.stroke_m) == pytest.approx(40e-3)
    assert inductance_h(VALVE, 0) == pytest.approx(100e-3)
