"""Coils with solid iron: inductance and leak, on answers by scipy.signal and exact state transition.

Iron passes flux as tanh(sqrt(s tau))/sqrt(s tau) of what it passes at rest (magnetic diffusion into a sheet,
Bertotti, "Hysteresis in Magnetism", chapter 12, from memory); its expansion has the poles (2k+1)^2 pi^2 / (4
tau) with the weights 8 / ((2k+1)^2 pi^2). One pole of weight 1 is a plunger in one piece.
``work/SolenoidStroke-L.xlsx`` in akita11/SolenoidStrokeMeasureControl (MIT), a measured coil, is nearer to
that (diffusion of the order of 1 ms).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal
from scipy.linalg import expm
from strokebench.data.run import Burst
from strokebench.diagnose.coil.beside import from_ripple
from strokebench.diagnose.coil.inductor import first_order
from strokebench.diagnose.stats import Floats

Rings = tuple[tuple[float, ...], tuple[float, ...]]


def sheet(tau_s: float) -> Rings:
    odd = np.arange(1, 12, 2)
    weights, times = 8 / (odd * math.pi) ** 2, 4 * tau_s / (odd * math.pi) ** 2
    return tuple(weights / weights.sum()), tuple(times)


def one_ring(tau_s: float) -> Rings:
    return (1.0,), (4 * tau_s / math.pi**2,)


def answer(ohm: float, henry: float, air: float, rings: Rings, volts: Floats) -> Floats:
    """Means over ticks of the current of R + s L(s), by the exact transition over a tick of constant
    volts."""
    weights, times = (np.array(values) for values in rings)
    iron_h = weights * henry * (1 - air)
    ring_ohm, air_h, count = iron_h / times, henry * air, len(weights) + 1
    states = np.zeros((count + 2, count + 2))  # current, a flux a ring, the volts, the charge
    states[0, 0] = -(ohm + ring_ohm.sum()) / air_h
    states[0, 1:count], states[0, count] = ring_ohm / iron_h / air_h, 1 / air_h
    states[1:count, 0] = ring_ohm
    states[1:count, 1:count] = -np.diag(ring_ohm / iron_h)
    states[count + 1, 0] = 1.0
    tick, now, amps = expm(states * 1e-3), np.zeros(count + 2), []
    for level_v in volts:
        now[count], now[count + 1] = level_v, 0.0
        now = tick @ now
        amps.append(1e3 * now[count + 1])
    return np.array(amps)


VOLTS = np.r_[np.zeros(8), 0.8, 1.6, np.full(80, 2.4)]


@pytest.mark.parametrize("tau_s", [0.3e-3, 0.6e-3, 1.2e-3])
@pytest.mark.parametrize("rings", [sheet, one_ring])
@pytest.mark.parametrize(
    ("ohm", "henry", "air"), [(20.0, 40e-3, 0.05), (20.0, 40e-3, 0.3), (8.0, 12e-3, 0.1)]
)
def test_solid_iron_does_not_change_the_inductance_at_rest(
    ohm: float, henry: float, air: float, rings: Callable[[float], Rings], tau_s: float
) -> None:
    found = first_order(VOLTS, answer(ohm, henry, air, rings(tau_s), VOLTS), 1e-3)
    assert found.rest_henry == pytest.approx(henry, rel=0.005)
    assert 1 / (1 / found.ohm + found.siemens) == pytest.approx(ohm, rel=1e-3)


def test_a_ring_of_eddy_currents_and_a_leak_are_one_and_the_same_to_a_step() -> None:
    """20 ohm and 40 mH behind 5 mS answer as another coil without a leak whose iron has one ring."""
    time_s = np.arange(len(VOLTS) * 200) / 2e5
    ends = np.repeat(VOLTS, 200)
    coil_a = signal.lsim(([1.0], [40e-3, 20.0]), ends, time_s, interp=False)[1]
    leaking = (coil_a + 5e-3 * ends).reshape(-1, 200).mean(axis=1)
    ohm = 1 / (1 / 20.0 + 5e-3)
    henry = 40e-3 * (ohm / 20.0) ** 2
    ring_ohm = 1 / 5e-3 - ohm
    same = answer(ohm, henry, 1e-4, ((1.0,), (henry / ring_ohm,)), VOLTS)
    assert np.abs(same - leaking).max() < 2e-3 * leaking.max()


RATE_HZ, PWM_HZ, COUNT, FINER = 500e3, 20e3, 4000, 20


def ripple(
    supply_v: float,
    duty: float,
    ohm: float,
    henry: float,
    air: float,
    rings: Rings,
    siemens: float,
    seed: int,
) -> Burst:
    """A burst of the current: scipy.signal's square wave through an impedance, line by line, and converter
    noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(COUNT) / RATE_HZ + rng.uniform(0, 1 / PWM_HZ)
    fine_s = np.arange(COUNT * FINER) / RATE_HZ / FINER
    square = 0.5 * supply_v * (signal.square(2 * math.pi * PWM_HZ * fine_s, duty) + 1)
    lines, hz = np.fft.rfft(square), np.fft.rfftfreq(len(fine_s), fine_s[1])
    kept = np.arange(1, 60) * round(PWM_HZ * len(fine_s) * fine_s[1])
    turn = 2j * math.pi * hz[kept]
    weights, times = (np.array(values)[:, None] for values in rings)
    henries = henry * air + np.sum(weights * henry * (1 - air) / (1 + turn * times), axis=0)
    amps = 2 / len(fine_s) * lines[kept] * (1 / (ohm + turn * henries) + siemens)
    values = (amps[:, None] * np.exp(turn[:, None] * time_s)).real.sum(axis=0) + 0.12
    return Burst("current_fine", "A", RATE_HZ, 0.0, values + rng.normal(0, 0.009, COUNT), "burst_ripple")


@pytest.mark.parametrize("siemens", [0.0, 6e-3, 20e-3])
@pytest.mark.parametrize("rings", [sheet, one_ring])
@pytest.mark.parametrize(("tau_s", "air"), [(0.3e-3, 0.07), (0.3e-3, 0.2), (1.2e-3, 0.07), (1.2e-3, 0.2)])
def test_the_ripple_tells_a_leak_from_eddy_currents(
    siemens: float, rings: Callable[[float], Rings], tau_s: float, air: float
) -> None:
    """Four times: within 1 mS, and 2 u covers what it says it does."""
    made = [ripple(12.6, 0.2, 20.0, 40e-3, air, rings(tau_s), siemens, seed) for seed in range(4)]
    found = [from_ripple(burst, 0.2, 12.6) for burst in made]
    errors = np.array([measured.value for measured in found]) - siemens
    assert np.abs(errors).max() < 1e-3 + 0.05 * siemens
    assert sum(abs(e) <= 2 * m.u for e, m in zip(errors, found, strict=True)) >= 3
