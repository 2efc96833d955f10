"""Chopped current: closed forms against scipy's ODE solver and, when installed, ngspice."""

import math

import pytest
from scipy.integrate import solve_ivp
from strokebench.physics import chopper

from tests.reference import chopper as reference_chopper

V, R, L, E = 12.0, 2.5, 1e-3, 4.0


def integrate(volts, emf_v, start_a, time_s, resistance_ohm=R, inductance_h=L):
    """Independent oracle: the differential equation itself."""
    solution = solve_ivp(
        lambda _, i: (volts - emf_v - resistance_ohm * i) / inductance_h,
        (0, time_s),
        [start_a],
        rtol=1e-10,
        atol=1e-12,
    )
    return solution.y[0, -1]


@pytest.mark.parametrize(
    ("low_v", "emf_v", "duty", "frequency_hz"), [(0, 4, 0.6, 2000), (-12, 0, 0.75, 20000), (0, 0, 0.05, 500)]
)
def test_steady_state_repeats_itself(low_v, emf_v, duty, frequency_hz):
    found = reference_chopper.steady_state(V, low_v, emf_v, R, L, duty, frequency_hz)
    top = integrate(V, emf_v, found.minimum_a, duty / frequency_hz)
    bottom = integrate(low_v, emf_v, top, (1 - duty) / frequency_hz)
    assert top == pytest.approx(found.maximum_a, rel=1e-7)
    assert bottom == pytest.approx(found.minimum_a, rel=1e-6, abs=1e-9)


def test_worked_cases():
    """The closed form by hand; ngspice: .55296/1.94962/1.28000 and 2.28635/2.51130."""
    slow = reference_chopper.steady_state(V, 0, E, R, L, 0.6, 2000)
    assert (slow.minimum_a, slow.maximum_a, slow.mean_a) == pytest.approx((0.55296, 1.94963, 1.28), rel=1e-5)
    antiphase = reference_chopper.steady_state(V, -V, 0, R, L, 0.75, 20000)
    assert (antiphase.minimum_a, antiphase.maximum_a) == pytest.approx((2.28636, 2.51130), rel=1e-5)


def test_small_ripple_formula_errs_by_3_percent_at_t_over_tau_1_25():
    exact = reference_chopper.steady_state(V, 0, E, R, L, 0.6, 2000).peak_to_peak_a
    assert reference_chopper.small_ripple_a(V, 0.6, L, 2000) / exact - 1 == pytest.approx(0.031, abs=5e-4)
    fast = reference_chopper.steady_state(V, 0, E, R, L, 0.6, 40000)
    assert chopper.inductance_from_ripple(V, 0.6, fast.peak_to_peak_a, 40000) == pytest.approx(L, rel=1e-4)


def test_discontinuous_case_against_the_differential_equation():
    """Erickson/Maksimovic ch. 5: below the critical duty the CCM mean is wrong, even in sign."""
    found = reference_chopper.discontinuous(V, E, R, L, 0.3, 500)
    assert found.peak_a == pytest.approx(integrate(V, E, 0, 0.6e-3), rel=1e-7)
    assert integrate(0, E, found.peak_a, found.conduct_s - 0.6e-3) == pytest.approx(0, abs=1e-7)
    assert (found.peak_a, found.conduct_s, found.mean_a) == pytest.approx(
        (2.48598, 0.97502e-3, 0.65998), rel=2e-5
    )
    assert reference_chopper.steady_state(V, 0, E, R, L, 0.3, 500).mean_a == pytest.approx(-0.16)


def test_discontinuous_refuses_a_continuous_current():
    with pytest.raises(ValueError, match="continuous"):
        reference_chopper.discontinuous(V, 0.1, R, L, 0.8, 20000)


def test_step_and_release_times():
    """tau = L/R = 0.4 ms: 63.2 % after tau, t90 = ln(10) tau; the coil cases are clamp arithmetic."""
    assert chopper.step_current_a(0.4e-3, V, R, L) == pytest.approx(4.8 * (1 - math.exp(-1)))
    assert reference_chopper.time_to_current_s(0.9 * 4.8, V, R, L) == pytest.approx(0.92103e-3, rel=1e-5)
    assert reference_chopper.time_to_current_s(5, V, R, L) == math.inf
    assert chopper.step_current_a(0.4e-3, 0, R, L, 4.8) == pytest.approx(1.76582, rel=1e-5)
    assert reference_chopper.decay_time_s(0.7, 20, 60e-3, 0.7) == pytest.approx(9.1336e-3, rel=1e-4)
    assert reference_chopper.decay_time_s(0.7, 20, 60e-3, 22) == pytest.approx(1.47743e-3, rel=1e-4)
    assert reference_chopper.decay_time_s(0.0, 20, 60e-3, 22) == 0
    assert reference_chopper.decay_time_s(1.0, 20, 60e-3, 0) == math.inf


@pytest.mark.parametrize("bad", [{"resistance_ohm": 0}, {"duty": 1.1}, {"frequency_hz": -1}])
def test_nonsense_is_refused(bad):
    good = {
        "high_v": V,
        "low_v": 0,
        "emf_v": E,
        "resistance_ohm": R,
        "inductance_h": L,
        "duty": 0.5,
        "frequency_hz": 2e4,
    }
    with pytest.raises(ValueError, match="must"):
        reference_chopper.steady_state(**{**good, **bad})
