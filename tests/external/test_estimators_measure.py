"""What `measure` works out, on pulses that scipy's ODE solver made: a brushed motor from rest with friction.

Equations of the permanent-magnet DC motor as in Fitzgerald, Kingsley, Umans, "Electric Machinery" (from
memory) and in the CTMS motor examples.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from strokebench.measure import Pulse, while_it_gathers_speed


def pulse(level_v: float, ohm: float, henry: float, k: float, inertia: float, dry_nm: float) -> Pulse:
    """Means over 1 ms of 40 ms: two ticks of rest, a rise of 2 ms to ``level_v``; brush drop 0.6 V."""

    def volts(t: float) -> float:
        return level_v * min(max((t - 0.002) / 0.002, 0.0), 1.0)

    def rates(t: float, y: np.ndarray) -> list[float]:
        amps, speed = y
        torque = k * amps
        net = torque - dry_nm if speed > 0 or torque > dry_nm else 0.0
        drive = max(volts(t) - 0.6, 0.0)
        return [(drive - ohm * amps - k * speed) / henry, net / inertia]

    times = np.arange(0, 0.042, 2e-5)
    solved = solve_ivp(rates, (0, 0.042), [0.0, 0.0], "RK45", times, rtol=1e-8, atol=1e-8, max_step=1e-4)
    amps = solved.y[0].reshape(42, 50).mean(axis=1)
    applied = np.array([volts(t) for t in times]).reshape(42, 50).mean(axis=1)
    return Pulse(amps, applied, 4)


@pytest.mark.parametrize(
    ("ohm", "henry", "k", "inertia", "dry_nm"),
    [
        (0.55, 0.42e-3, 0.020, 2.8e-5, 0.012),  # quick: its own voltage reaches that of the winding
        (0.18, 0.12e-3, 0.037, 1.5e-3, 0.05),  # heavy blades
        (0.55, 0.42e-3, 0.020, 2.8e-5, 0.0),
    ],
)
def test_resistance_of_a_motor_that_gathers_speed(
    ohm: float, henry: float, k: float, inertia: float, dry_nm: float
) -> None:
    found = [pulse(0.6 + amps * ohm, ohm, henry, k, inertia, dry_nm) for amps in (1.5, 2.5, 3.5, 5.0)]
    slope, drop_v, u_ohm = while_it_gathers_speed(found, henry / ohm)
    assert slope == pytest.approx(ohm, rel=0.005)
    assert drop_v == pytest.approx(0.6, abs=0.01)
    assert u_ohm < 0.005 * ohm


def test_its_uncertainty_is_that_of_repeated_noise() -> None:
    clean = [pulse(0.6 + amps * 0.55, 0.55, 0.42e-3, 0.02, 2.8e-5, 0.012) for amps in (1.5, 2.5, 3.5, 5.0)]
    rng = np.random.default_rng(3)
    slopes, told = [], []
    for _ in range(60):
        noisy = [Pulse(true.amps, true.volts + rng.normal(0, 0.005, 42), 4) for true in clean]
        slope, _drop, u_ohm = while_it_gathers_speed(noisy, 0.42e-3 / 0.55)
        slopes.append(slope)
        told.append(u_ohm)
    assert np.mean(told) == pytest.approx(np.std(slopes), rel=0.3)
