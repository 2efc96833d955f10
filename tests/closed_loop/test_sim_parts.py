"""Every simulated part on the whole bench: good specimens pass the self-test and run without objection."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.data.samples import Samples
from strokebench.errors import StrokebenchError
from strokebench.parts.limits import Limits
from strokebench.sim.plants import PARTS
from strokefw import faults

from tests.helpers.strokes import procedure

LIMITS = Limits(
    current_max_a=45.0, current_mean_a=40.0, drive_min=-0.8, drive_max=1.0, slew_per_s=5.0, stall_a=30.0,
    stall_s=5.0, i2t_part_a2s=5000.0, i2t_part_rest_a=15.0,
)  # fmt: skip
HARMLESS = {0, faults.REGEN_SLOWED}  # a fan slowed down in a second feeds back, and the bench says so
# part: (highest drive, mean current in A while it is on that, for an ordinary specimen)
EXPECTED = {
    "throttle-body": (0.5, (3.4, 4.7)),
    "throttle-loh2013": (0.5, (3.4, 4.7)),
    "egr-motor": (0.5, (2.3, 3.3)),
    "idle-actuator": (0.5, (0.4, 0.62)),
    "solenoid": (1.0, (0.52, 0.70)),
    "solenoid-reference": (1.0, (0.58, 0.66)),
    "egr-solenoid": (1.0, (1.3, 1.75)),
    "fuel-pump": (1.0, (4.5, 7.5)),
    "fuel-pump-fuse": (1.0, (4.5, 7.5)),
    "cooling-fan": (1.0, (9.5, 14.5)),
    "water-pump": (1.0, (4.0, 6.2)),
    "wiring": (0.4, (3.4, 4.4)),
}


def ride(spec: SimSpec, drive: float) -> Samples:
    """Up to ``drive`` in 1 s, stay, down in 1 s, let go."""
    with open_bench(sim=spec) as bench:
        bench.set_limits(LIMITS)
        bench.arm()
        segments = (
            {"kind": "ramp", "to": drive, "over_s": 1.0, "label": "up"},
            {"kind": "hold", "for_s": 0.6, "label": "on"},
            {"kind": "ramp", "to": 0.0, "over_s": 1.0, "label": "down"},
            {"kind": "pause", "for_s": 0.2, "label": "off"},
        )
        return np.concatenate(list(bench.run(procedure(*segments))))


def test_every_part_is_expected_to_do_something() -> None:
    assert set(EXPECTED) == set(PARTS)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("part", sorted(PARTS))
def test_good_parts_run(part: str, seed: int) -> None:
    drive, (low_a, high_a) = EXPECTED[part]
    samples = ride(SimSpec(part=part, seed=seed, supply_v=12.6), drive)
    on = samples[samples["drive"] > 0.99 * drive][-200:]
    assert low_a < on["current_a"].mean() < high_a
    assert abs(samples["current_a"][-20:].mean()) < 0.03
    assert set(samples["fault"]) <= HARMLESS


@pytest.mark.parametrize("supply_v", [11.5, 14.2])
@pytest.mark.parametrize("ambient_c", [0.0, 45.0])
@pytest.mark.parametrize("part", ["throttle-body", "cooling-fan", "solenoid"])
def test_good_parts_run_in_any_ordinary_condition(part: str, supply_v: float, ambient_c: float) -> None:
    samples = ride(SimSpec(part=part, seed=9, supply_v=supply_v, ambient_c=ambient_c), EXPECTED[part][0])
    assert set(samples["fault"]) <= HARMLESS
    assert samples["supply_v"][0] == pytest.approx(supply_v, abs=0.1)
    assert samples["heatsink_c"][0] == pytest.approx(ambient_c, abs=0.5)


@pytest.mark.parametrize("part", sorted(part for part in PARTS if part != "wiring"))
def test_an_open_winding_is_found_before_power(part: str) -> None:
    with pytest.raises(StrokebenchError, match="No part is connected"):
        ride(SimSpec(part=part, faults=("open_winding",)), 0.3)
