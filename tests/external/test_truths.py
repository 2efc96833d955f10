"""What is laid beside the findings as their truth, against numbers worked out apart from the simulation.

The reference solenoid's static pull-in 0.34641 A, drop-out 0.11456 A, 40 and 100 mH and 8.07 ms are those of
the project's reference sheet; the throttle is that of Loh et al. (Engineering 5, 2013): 0.396 N m of preload,
0.284 N m of friction, 0.383 N m/A. The iron that saturates is solved again by scipy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from strokebench.bench.spec import SimSpec
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.parts import load_part
from strokebench.sim.plants import make_plant
from strokebench.sim.truth.coils import Curves
from strokebench.sim.truth.common import Specimen
from strokebench.sim.truths import MEANS, true_values


def truths(part: str, profile: str = "", **spec: object) -> dict[str, float]:
    """Truths of a specimen that was not stroked: those that need no recording."""
    plant = make_plant(SimSpec(part=part, **spec))  # type: ignore[arg-type]
    rows = empty(100)
    rows["current_a"] = 0.6
    specimen = Specimen(plant, load_part(profile or part), RunData(rows, []), {}, [])
    return true_values(specimen, "good")


def test_reference_solenoid() -> None:
    found = truths("solenoid-reference", "solenoid", lead_ohm=0.05)
    assert found["pull_in_current"] == pytest.approx(0.34641, abs=1e-5)
    assert found["drop_out_current"] == pytest.approx(0.11456, abs=1e-5)
    assert found["inductance"] == pytest.approx(40.0) and found["inductance_pulled"] == pytest.approx(100.0)
    assert found["pull_in_time"] == pytest.approx(8.07, rel=0.025)  # the plant's own deviation is 2 %
    assert found["winding_resistance"] == pytest.approx(20.0 * (234.5 + 20) / (234.5 + 25), rel=1e-4)


def test_loh_throttle() -> None:
    found = truths("throttle-loh2013", "throttle-body", lead_ohm=0.05)
    assert found["friction"] == pytest.approx(0.284 / 0.383, rel=1e-6)
    assert found["preload_open"] == pytest.approx(0.396 / 0.383, rel=1e-3)
    assert found["spring_slope"] == pytest.approx(0.087 * 1.5 / 0.383, rel=1e-3)
    assert found["preload_close"] == pytest.approx((0.396 + 0.087 * 0.07) / 0.383, rel=1e-3)
    assert found["motor_constant"] == 0.383


def test_iron_that_saturates_needs_a_current_of_its_own() -> None:
    """flux = L i_gap, i = i_gap + bend flux^3: the curves' flux against a root found by scipy."""
    curves = Curves(make_plant(SimSpec("solenoid", seed=5, family="second")))
    coil = curves.coil
    for share, amps in ((0.0, 0.3), (1.0, 0.6)):
        iron_h = float(coil.iron_h(np.array([share * coil.stroke_m]))[0])
        flux = brentq(lambda wb, h=iron_h, a=amps: wb / h + coil.bend * wb**3 - a, 0.0, 1.0, xtol=1e-15)
        assert curves.flux_wb(share, amps) == pytest.approx(coil.air_h * amps + flux, rel=1e-9)


@pytest.mark.parametrize("family", ["first", "second"])
@pytest.mark.parametrize("part", ["throttle-body", "egr-motor", "idle-actuator", "solenoid", "egr-solenoid"])
def test_every_truth_is_told_in_words(part: str, family: str) -> None:
    told = {key for meanings in MEANS.values() for key in meanings}
    found = truths(part, seed=3, family=family)
    assert len(found) > 4 and all(np.isfinite(list(found.values())))
    assert not found.keys() - told


@pytest.mark.parametrize(
    "part", ["throttle-body", "egr-motor", "idle-actuator", "solenoid", "egr-solenoid", "fuel-pump"]
)
def test_what_is_true_of_a_good_specimen_of_the_second_family_is_within_the_profiles_limits(
    part: str,
) -> None:
    profile = load_part(part)
    for seed in range(1, 6):
        for key, true in truths(part, seed=seed, family="second").items():
            limit = profile.limit(key)
            assert limit.lower is None or true > limit.lower, (seed, key)
            assert limit.upper is None or true < limit.upper, (seed, key)
