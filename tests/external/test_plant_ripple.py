"""The PWM ripple that plants put back on their averaged current, against ngspice's steady state.

Chopped R-L-EMF loads run in ngspice 39 (values in the project's reference sheet), formula after Mohan,
Undeland, Robbins, "Power Electronics" (chapters from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.pieces import ripple

from tests.reference.chopper import small_ripple_a, steady_state


def test_shape_has_the_extremes_that_ngspice_finds() -> None:
    # 12 V, duty 0.6, 2 kHz, 2.5 ohm, 1 mH, EMF 4 V: 0.55296 .. 1.94962 A, mean 1.28000 A
    time_s = np.arange(0, 2e-3, 1e-7)
    wave = 1.28 + ripple.shape_a(time_s, 12.0, 0.6, 2.5, 1e-3, 2000.0)
    assert wave.min() == pytest.approx(0.55296, abs=1e-3)
    assert wave.max() == pytest.approx(1.94962, abs=1e-3)
    assert wave.mean() == pytest.approx(1.28, abs=1e-3)
    assert np.sqrt((wave**2).mean()) == pytest.approx(1.34343, rel=1e-3)


@pytest.mark.parametrize("duty", [0.05, 0.3, 0.5, 0.95])
@pytest.mark.parametrize("ohm, henry", [(1.5, 1.5e-3), (0.2, 30e-6), (1.2, 3e-6)])
def test_peak_to_peak_agrees_with_the_closed_form(duty: float, ohm: float, henry: float) -> None:
    reference = steady_state(12.0, 0.0, 0.0, ohm, henry, duty, 20e3)
    assert ripple.peak_to_peak_a(12.0, duty, ohm, henry, 20e3) == pytest.approx(
        reference.peak_to_peak_a, rel=1e-9
    )
    wave = ripple.shape_a(np.arange(0, 50e-6, 5e-9), 12.0, duty, ohm, henry, 20e3)
    assert wave.max() - wave.min() == pytest.approx(reference.peak_to_peak_a, rel=0.01)
    assert abs(wave.mean()) < 0.005 * reference.peak_to_peak_a


@pytest.mark.parametrize("duty", [0.0, 1.0])
def test_no_ripple_without_switching(duty: float) -> None:
    assert ripple.peak_to_peak_a(12.0, duty, 1.0, 1e-3, 20e3) == 0.0
    assert not ripple.shape_a(np.linspace(0, 1e-3, 50), 12.0, duty, 1.0, 1e-3, 20e3).any()


def test_peaks_of_a_tick_are_those_of_its_waveform() -> None:
    plant = make_plant(SimSpec(part="throttle-loh2013", supply_v=12.0, source_ohm=0.0))
    for n in range(1500):
        plant.advance(0.3 if n > 1000 else 0.0, n > 1000, 2 if n > 900 else 1)
    wave = plant.waveform("current", 2e6, 2000)
    height = small_ripple_a(12.0, 0.3, 1.5e-3, 20e3)
    assert plant.current_max_a - plant.current_min_a == pytest.approx(height, rel=0.01)
    assert wave.max() == pytest.approx(plant.current_max_a, abs=0.02 * height)
    assert wave.min() == pytest.approx(plant.current_min_a, abs=0.02 * height)
    assert wave.mean() == pytest.approx(plant.current_a, abs=0.01 * height)


def test_bus_ripple_is_the_charge_over_the_capacitor() -> None:
    # I D (1 - D) / (C f), the design note's 0.11 V at 40 A, duty 0.5, 4.4 mF
    wave = ripple.bus_v(np.linspace(0, 1e-3, 20001), 40.0 * 0.5, 0.5, 4.4e-3, 20e3)
    assert np.ptp(wave) == pytest.approx(0.11, abs=0.005)
    assert abs(wave.mean()) < 1e-3
