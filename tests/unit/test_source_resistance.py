"""The source's resistance with a charger's ripple on the supply; closed forms, nothing of the simulation."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.data.findings import Finding
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose.case import Case
from strokebench.diagnose.supply import find
from strokebench.parts import load_part

OHM, OPEN_V = 0.020, 12.6


def source(ripple_v: float, hz: float) -> Finding:
    """Ten steps of 0.5 s at full drive from 0.4 A to 2.2 A."""
    count = 5000
    rows = empty(count)
    rows["time_s"] = np.arange(count) * 1e-3
    rows["drive"] = 1.0
    rows["current_a"] = np.repeat(np.linspace(0.4, 2.2, 10), 500)
    rng = np.random.default_rng(3)
    turn = 2 * np.pi * hz * rows["time_s"]
    rows["supply_v"] = OPEN_V - OHM * rows["current_a"] + ripple_v * np.sin(turn + 0.4)
    rows["supply_v"] += rng.normal(0, 0.001, count)
    case = Case(RunData(rows, [Mark("hold", 0.0, 5.0, 0, "hold")]), load_part("throttle-body"))
    return next(finding for finding in find(case) if finding.key == "source_resistance")


@pytest.mark.parametrize("hz", [99.8, 120.2])
def test_ripple_widens_it_by_little(hz: float) -> None:
    calm, restless = source(0.0, hz), source(0.15, hz)
    for found in (calm, restless):
        assert found.value == pytest.approx(1e3 * OHM, abs=2 * found.u)
    # with a mean over 5 ms: seven times
    assert restless.u < 1.5 * calm.u
