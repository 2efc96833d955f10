"""The fit of a mover on a published, identified motor, simulated by python-control.

"DC Motor Position: System Modeling" of the Control Tutorials for MATLAB and Simulink (University of Michigan,
Carnegie Mellon; from memory): R = 4 ohm, L = 2.75 uH, K = 0.0274, J = 3.2284e-6 kg m2, b = 3.5077e-6 N m s,
"derived by experiment from an actual motor". The motor has no stops here; 100 % of travel is 1000 rad.
"""

from __future__ import annotations

import control
import numpy as np
import pytest
from strokebench.diagnose.moving.fit.mover import fit_mover

OHM, HENRY, K, INERTIA, VISCOUS = 4.0, 2.75e-6, 0.0274, 3.2284e-6, 3.5077e-6
RAD_PER_PERCENT = 10.0


def driven(seed: int) -> dict[str, np.ndarray]:
    """Volts, current and place at 1 kHz: two swings of the volts, noise of the bench on what is
    measured."""
    time_s = np.arange(0, 6, 1e-3)
    volts = 6 * np.sin(2 * np.pi * 3.1 * time_s) + 6 * np.sin(2 * np.pi * 4.7 * time_s + 1)
    a = np.array([[-OHM / HENRY, -K / HENRY, 0], [K / INERTIA, -VISCOUS / INERTIA, 0], [0, 1, 0]])
    system = control.ss(a, [[1 / HENRY], [0], [0]], np.eye(3), np.zeros((3, 1)))
    amps, _, angle = control.forced_response(system, time_s, volts).states
    rng = np.random.default_rng(seed)
    return {
        "time_s": time_s,
        "volts": volts + rng.normal(0, 2e-3, len(time_s)),
        "current_a": amps + rng.normal(0, 2e-3, len(time_s)),
        "percent": angle / RAD_PER_PERCENT + rng.normal(0, 0.01, len(time_s)),
    }


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_resistance_and_constant_of_the_tutorials_motor(seed: int) -> None:
    electric = fit_mover(**driven(seed), rest=0.0).electric
    assert electric is not None
    (ohm, u_ohm), (constant, u_constant) = electric.ohm, electric.constant
    assert ohm == pytest.approx(OHM, abs=2 * u_ohm)
    assert constant / RAD_PER_PERCENT == pytest.approx(K, abs=2 * u_constant / RAD_PER_PERCENT)
    assert u_ohm < 0.05 * OHM and u_constant / RAD_PER_PERCENT < 0.01 * K
    drop_v, u_drop_v = electric.drop_v(0.2)
    assert drop_v == pytest.approx(0.0, abs=2 * u_drop_v)  # it has no brushes to speak of
