"""DC motor formulas against the CTMS worked examples, with python-control as an independent oracle."""

import control
import numpy as np
import pytest
from strokebench.physics import motor

from tests.reference import motor as reference_motor

# University of Michigan CTMS, "DC Motor Speed: System Modeling" (Messner, Tilbury).
NAMES = ("resistance_ohm", "inductance_h", "inertia_kgm2", "k_si", "viscous")
SPEED = dict(zip(NAMES, (1.0, 0.5, 0.01, 0.01, 0.1), strict=True))
# CTMS "DC Motor Position" (numbers by a third party's transcription).
POSITION = dict(zip(NAMES, (4.0, 2.75e-6, 3.2284e-6, 0.0274, 3.5077e-6), strict=True))


def transfer(p):
    s = control.tf("s")
    electrical = p["inductance_h"] * s + p["resistance_ohm"]
    return p["k_si"] / ((p["inertia_kgm2"] * s + p["viscous"]) * electrical + p["k_si"] ** 2)


def test_ctms_speed_published_figures():
    """Published: 0.1 rad/s per volt, poles about -2 and -10, settling 2.07 s."""
    assert reference_motor.speed_gain(1.0, 0.01, 0.1) == pytest.approx(0.1, rel=2e-3)
    slow, fast = reference_motor.poles(**SPEED)
    assert (slow.real, fast.real) == pytest.approx((-2, -10), rel=2e-3)
    info = control.step_info(transfer(SPEED))
    assert info["SettlingTime"] == pytest.approx(2.07, rel=0.01)


@pytest.mark.parametrize("example", [SPEED, POSITION], ids=["speed", "position"])
def test_poles_and_gain_agree_with_python_control(example):
    system = transfer(example)
    expected = sorted(system.poles(), key=abs)
    assert np.allclose(reference_motor.poles(**example), expected, rtol=1e-6)
    gain = reference_motor.speed_gain(example["resistance_ohm"], example["k_si"], example["viscous"])
    assert gain == pytest.approx(control.dcgain(system), rel=1e-9)


def test_ctms_position_mechanical_pole():
    slow, _ = reference_motor.poles(**POSITION)
    tau_s = reference_motor.mechanical_tau_s(4.0, 3.2284e-6, 0.0274, 3.5077e-6)
    assert slow.real == pytest.approx(-59.226, rel=1e-4)
    assert tau_s == pytest.approx(-1 / slow.real, rel=1e-3)


def test_stall_no_load_and_power():
    """Textbook identities on a 12 V, 0.4 ohm, K 0.012 motor with 0.015 N m of friction."""
    assert motor.stall_current_a(12, 0.4) == pytest.approx(30)
    speed = reference_motor.no_load_speed_rad_s(12, 0.4, 0.012, 0.015)
    assert speed * 60 / (2 * np.pi) == pytest.approx(9151, rel=1e-4)
    torque = np.linspace(0, 12 / 0.4 * 0.012, 10_001)
    shaft = torque * (12 - 0.4 * torque / 0.012) / 0.012
    assert reference_motor.max_shaft_power_w(12, 0.4) == pytest.approx(shaft.max(), rel=1e-6)


def test_k_in_other_units():
    assert reference_motor.volts_per_krpm(0.02) == pytest.approx(2.0944, rel=1e-4)
    assert reference_motor.rpm_per_volt(0.02) == pytest.approx(477.46, rel=1e-4)


@pytest.mark.parametrize("segments", [3, 5, 7, 8, 10, 12])
@pytest.mark.parametrize("poles_count", [2, 4])
def test_ripples_per_turn_against_rectified_coil_emfs(segments, poles_count):
    """Oracle: the sum of rectified coil EMFs over a turn, its lowest harmonic found by FFT."""
    angle = np.linspace(0, 2 * np.pi, 8192, endpoint=False)
    coils = 2 * np.pi * np.arange(segments) / segments
    emf = np.abs(np.sin(poles_count / 2 * (angle[:, None] - coils))).sum(axis=1)
    spectrum = np.abs(np.fft.rfft(emf - emf.mean()))
    lowest = np.flatnonzero(spectrum > 0.05 * spectrum.max())[0]
    assert reference_motor.ripples_per_turn(segments, poles_count) == lowest


def test_speed_from_ripple():
    """f = 2p k n/(60 gcd), Vazquez-Sanchez et al. 2012 (from memory)."""
    assert reference_motor.rpm_from_ripple(800, 8, 2) == pytest.approx(6000)
    assert reference_motor.rpm_from_ripple(1400, 7, 2) == pytest.approx(6000)
