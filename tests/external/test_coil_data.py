"""The second family's iron against a coil that somebody measured.

Inductance of an open-frame solenoid with a solid iron plunger, by an LCR meter, against the plunger's way to
go: `work/SolenoidStroke-L.xlsx` of the public repository akita11/SolenoidStrokeMeasureControl (MIT licence,
Junichi Akita). Not an automotive coil, and a small signal.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from strokebench.sim.second.iron import blend, inductance_at

HZ = np.array([1e2, 1e3, 1e4, 1e5])
GAP_MM = (4.10, 3.05, 2.52, 1.15, 0.35, 0.00)
MEASURED_MH = np.array([
    [64.54, 20.28, 4.324, 4.219],
    [78.56, 19.66, 4.229, 4.212],
    [86.81, 19.05, 4.193, 4.218],
    [100.4, 17.98, 4.152, 4.219],
    [110.47, 17.1, 4.125, 4.217],
    [113.91, 16.78, 4.117, 4.217],
])  # fmt: skip


def model_mh(parameters: np.ndarray, single: float) -> np.ndarray:
    """Series inductance as the meter shows it: air, time and growth are one, the iron has its own places."""
    air_mh, tau_s = np.exp(parameters[:2])
    iron = blend(float(tau_s), single, float(parameters[2]))
    at_dc = np.exp(parameters[3:])
    return np.array([inductance_at(iron, float(air_mh), float(mh), float(at_dc[0]), HZ).real for mh in at_dc])


def fitted(single: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the parameters that fit best and the relative errors left."""
    start = np.r_[np.log([4.2, 0.7e-3]), 0.8, np.log(MEASURED_MH[:, 0] - 4)]
    found = least_squares(lambda p: np.log(model_mh(p, single) / MEASURED_MH).ravel(), start)
    return found.x, np.expm1(found.fun)


def test_one_ring_gives_the_measured_inductance_at_every_place_and_frequency() -> None:
    parameters, errors = fitted(single=1.0)
    assert np.abs(errors).max() < 0.04  # four decades of frequency, six places, nine parameters
    assert np.exp(parameters[0]) == pytest.approx(4.12, rel=0.02)
    ring_s = 4 / np.pi**2 * np.exp(parameters[1])
    assert ring_s == pytest.approx(0.27e-3, rel=0.05)
    assert parameters[2] == pytest.approx(0.84, abs=0.02)


def sheet_mh(parameters: np.ndarray) -> np.ndarray:
    """The same with the diffusion of a sheet in full: tanh(sqrt(s tau)) / sqrt(s tau)."""
    air_mh, tau_s = np.exp(parameters[:2])
    at_dc = np.exp(parameters[3:])[:, None]
    root = np.sqrt(2j * np.pi * HZ * tau_s * (at_dc / at_dc[0]) ** parameters[2])
    return np.asarray(air_mh + (at_dc * np.tanh(root) / root).real)


def test_a_sheet_in_full_misses_single_points_by_a_quarter_and_more() -> None:
    start = np.r_[np.log([4.2, 0.7e-3]), 0.8, np.log(MEASURED_MH[:, 0] - 4)]
    found = least_squares(lambda p: np.log(sheet_mh(p) / MEASURED_MH).ravel(), start)
    assert np.abs(np.expm1(found.fun)).max() > 0.25


def test_at_1_khz_the_pulled_in_plunger_lowers_the_inductance_and_at_100_hz_it_raises_it() -> None:
    model = model_mh(fitted(single=1.0)[0], single=1.0)
    assert model[-1, 1] < model[0, 1] and MEASURED_MH[-1, 1] < MEASURED_MH[0, 1]
    assert model[-1, 0] > model[0, 0] and MEASURED_MH[-1, 0] > MEASURED_MH[0, 0]
