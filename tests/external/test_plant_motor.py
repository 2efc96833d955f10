"""The turning motor plant against python-control, scipy and ngspice, and its commutation against arithmetic.

Worked example: University of Michigan CTMS, "DC Motor Speed: System Modeling" (Messner, Tilbury): J 0.01, b
0.1, K 0.01, R 1, L 0.5.  Ripples per turn: lcm(segments, poles), Vazquez-Sanchez et al., IEEE Trans. Ind.
Electron. 59(3), 2012 (from memory).
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import control
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.base import BRIDGE_OHM, Conditions
from strokebench.sim.plants.fuel_pump import NOMINAL
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.plants.rotary import Commutator, Rotary, Turner, shape

from tests.reference.motor import ripples_per_turn

COLD = Heat(1e9, 1.0, 1e9, 1.0)
STIFF = Conditions(12.0, source_ohm=0.0, lead_ohm=0.0, ambient_c=25.0)
SMOOTH = Commutator(bounce=0.0)
CTMS = Turner(
    resistance_ohm=1.0 - BRIDGE_OHM, inductance_h=0.5, k_si=0.01, inertia_kgm2=0.01, dry_nm=0.0,
    viscous_nms=0.1, flow_nms2=0.0, segments=401, pole_pairs=1, brush_v=0.0, once_a_turn=0.0,
    heat=COLD,
)  # fmt: skip
PUMP = replace(NOMINAL, segments=401, brush_v=0.0, once_a_turn=0.0, stiction=1.0, heat=COLD)


def powered(turner: Turner) -> Rotary:
    plant = Rotary(STIFF, turner, SMOOTH, np.random.default_rng(1))
    for _ in range(1500):
        plant.advance(0.0, False, 1)
    plant.advance(0.0, False, 2)
    return plant


def test_speed_step_of_the_worked_example() -> None:
    plant = powered(CTMS)
    speeds = []
    for _ in range(3000):
        plant.advance(1.0, True, 2)
        speeds.append(plant.speed_rad_s / 12.0)
    # published: 0.1 rad/s per volt; the times by python-control from the published parameters
    assert speeds[-1] == pytest.approx(0.0999, rel=0.005)
    system = control.tf([0.01], np.polymul([0.01, 0.1], [0.5, 1.0]) + np.array([0, 0, 0.01**2]))
    times = np.arange(1, 3001) * 1e-3
    reference = control.step_response(system, np.concatenate(([0.0], times))).outputs[1:]
    assert np.abs(np.array(speeds) - reference).max() < 0.005 * 0.1
    for time_s, value in (
        (0.1, 0.0068555),
        (0.25, 0.0262336),
        (0.5, 0.0541701),
        (1.0, 0.0830371),
        (2.0, 0.0976235),
    ):
        assert speeds[round(time_s * 1000) - 1] == pytest.approx(value, rel=0.005)


def test_pump_start_against_scipy() -> None:
    plant = powered(PUMP)
    speeds, currents = [], []
    for _ in range(150):
        plant.advance(1.0, True, 2)
        speeds.append(plant.speed_rad_s)
        currents.append(plant._amps)

    def rates(_t: float, state: np.ndarray) -> list[float]:
        amps, speed = state
        torque = PUMP.k_si * amps - PUMP.viscous_nms * speed - PUMP.flow_nms2 * speed**2
        dry = min(PUMP.dry_nm, max(torque, 0.0)) if speed <= 0 else PUMP.dry_nm
        return [
            (12.0 - (PUMP.resistance_ohm + BRIDGE_OHM) * amps - PUMP.k_si * speed) / PUMP.inductance_h,
            (torque - dry) / PUMP.inertia_kgm2,
        ]

    times = np.arange(1, 151) * 1e-3
    solved = solve_ivp(rates, (0, 0.151), [0.0, 0.0], "RK45", times, rtol=1e-9, atol=1e-9, max_step=2e-5)
    assert np.abs(np.array(currents) - solved.y[0]).max() < 0.005 * solved.y[0].max()
    assert np.abs(np.array(speeds) - solved.y[1]).max() < 0.005 * solved.y[1].max()


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_pump_start_against_ngspice(tmp_path: Path) -> None:
    # electro-mechanical analogue: speed is a voltage on a capacitor of J farads
    deck = tmp_path / "pump.cir"
    deck.write_text(f"""* brushed pump
V1 in 0 PULSE(0 12 0 1n 1n 1 2)
R1 in a {PUMP.resistance_ohm + BRIDGE_OHM}
L1 a b {PUMP.inductance_h} ic=0
B1 b s V={PUMP.k_si}*V(w)
Vs s 0 0
B2 0 w I={PUMP.k_si}*I(Vs)-{PUMP.dry_nm}*tanh(V(w)/0.05)
B3 w 0 I={PUMP.viscous_nms}*V(w)+{PUMP.flow_nms2}*V(w)*abs(V(w))
C1 w 0 {PUMP.inertia_kgm2} ic=0
.options method=gear reltol=1e-5
.tran 20u 0.1 0 20u uic
.control
run
meas tran i5 find i(Vs) at=5m
meas tran i30 find i(Vs) at=30m
meas tran w30 find v(w) at=30m
meas tran w99 find v(w) at=99m
.endc
.end
""")
    done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, timeout=60)
    found = dict(
        line.split("=")[:2] for line in done.stdout.splitlines() if line[:3] in ("i5 ", "i30", "w30", "w99")
    )
    values = {name.strip(): float(text.split()[0]) for name, text in found.items()}
    assert set(values) == {"i5", "i30", "w30", "w99"}, done.stdout
    plant = powered(PUMP)
    ours: dict[str, float] = {}
    for n in range(1, 100):
        plant.advance(1.0, True, 2)
        ours[f"i{n}"], ours[f"w{n}"] = plant._amps, plant.speed_rad_s
    for name, value in values.items():
        assert ours[name] == pytest.approx(value, rel=0.01), (name, ours[name], value)


@pytest.mark.parametrize(
    "segments, percent", [(3, 14.03), (5, 4.98), (7, 2.53), (8, 7.81), (10, 4.98), (12, 3.45)]
)
def test_emf_ripple_of_two_pole_commutators(segments: int, percent: float) -> None:
    # peak to peak over mean of the summed rectified coil EMFs, computed from trigonometry
    wave = shape(np.linspace(0, 2 * np.pi, 20001), segments, 1)
    assert 100 * np.ptp(wave) == pytest.approx(percent, rel=0.01)


def ripple_record(part: str) -> tuple[NDArray[np.float64], float]:
    """Current at full drive, 0.8 s at 20 kS/s, and the turns made in it."""
    plant = make_plant(SimSpec(part=part, seed=2))
    assert isinstance(plant, Rotary)
    for n in range(3000):
        plant.advance(min(1.0, n / 1000), True, 2 if n > 500 else 1)
    plant.fine = True
    before_rad, turns, wave = plant.angle_rad, 0.0, []
    for _ in range(800):
        plant.advance(1.0, True, 2)
        turns += ((plant.angle_rad - before_rad) % (2 * np.pi)) / (2 * np.pi)
        before_rad = plant.angle_rad
        wave.append(plant.waveform("current", 20_000, 20))
    current = np.concatenate(wave)
    return current, turns


@pytest.mark.parametrize(
    "part, segments, poles", [("fuel-pump", 8, 2), ("cooling-fan", 10, 4), ("water-pump", 7, 2)]
)
def test_ripple_counts_the_turns(part: str, segments: int, poles: int) -> None:
    current, turns = ripple_record(part)
    spectrum = np.abs(np.fft.rfft((current - current.mean()) * np.hanning(len(current))))
    peak_hz = (np.argmax(spectrum[80:]) + 80) / 0.8
    assert peak_hz == pytest.approx(ripples_per_turn(segments, poles) * turns / 0.8, rel=0.005)


def test_bad_segment_shows_at_the_brush_passing_order() -> None:
    # with two brushes orders 2, 4, 6 appear; order 1 stays away while both brushes are alike
    plant = make_plant(SimSpec(part="fuel-pump", seed=2, faults=("bad_segment",)))
    assert isinstance(plant, Rotary)
    for n in range(3000):
        plant.advance(min(1.0, n / 1000), True, 2 if n > 500 else 1)
    plant.fine = True
    wave = []
    for _ in range(1000):
        plant.advance(1.0, True, 2)
        wave.append(plant.waveform("current", 20_000, 20))
    current = np.concatenate(wave)
    spectrum = np.abs(np.fft.rfft((current - current.mean()) * np.hanning(len(current))))
    turn_hz = plant.speed_rad_s / (2 * np.pi)

    def order(number: float) -> float:
        at = round(number * turn_hz)
        return float(spectrum[at - 4 : at + 5].max())

    assert order(2) > 3 * order(8)
    assert order(2) > order(4) > order(6)
    assert order(1) < 0.05 * order(2)
