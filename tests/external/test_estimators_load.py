"""The load of a turning part against a fan that scipy solved (tests/helpers/solved_fan.py)."""

from __future__ import annotations

import pytest
from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose import diagnose
from strokebench.parts import load_part
from strokebench.verdict.decision import judge

from tests.helpers.solved_fan import Fan, record


def findings(fan: Fan, seed: int = 1) -> dict[str, Finding]:
    return {finding.key: finding for finding in diagnose(record(fan, seed), load_part("cooling-fan"))}


def holds(finding: Finding, truth: float, within: float) -> None:
    assert finding.value == pytest.approx(truth, abs=2 * finding.u)
    assert finding.value == pytest.approx(truth, rel=within)


@pytest.mark.parametrize("power", [1.75, 2.0, 2.2])
def test_drag_and_load_of_any_power_of_the_speed(power: float) -> None:
    # with the square as the only power, four levels alone made the drag 8 to 13 % too high at either end
    fan = Fan(power=power)
    found = findings(fan)
    rated, half = fan.torque(fan.rated), fan.torque(fan.rated / 2)
    holds(found["drag"], 1e3 * fan.dry, 0.05)
    holds(found["load_torque"], 1e3 * rated, 0.01)
    holds(found["load_rise"], 1e3 * (rated - half), 0.01)


def test_the_currents_zero_comes_off_the_torques() -> None:
    # left in, 30 mA would be 1.1 of 30 mN m
    plain, shifted = findings(Fan()), findings(Fan(zero_a=0.03))
    for key in ("drag", "load_torque", "load_rise"):
        assert shifted[key].value == pytest.approx(plain[key].value, abs=0.05 * plain[key].u)


def test_rows_that_are_a_blend_of_both_ranges_do_not_count() -> None:
    # the coarse range's zero is off, and peaks of 1.5 A bring half of it into the second level's 5.2 A
    fan = Fan(coarse_a=-0.3, blend=(0.0, 0.5, 1.0, 1.0), ripple_a=1.5)
    found = findings(fan)
    holds(found["load_torque"], 1e3 * fan.torque(fan.rated), 0.01)
    holds(found["drag"], 1e3 * fan.dry, 0.08)


def test_a_level_whose_ripple_is_too_faint_has_the_speed_that_its_volts_tell() -> None:
    fan = Fan(faint=(0.4,))
    found = findings(fan)
    assert found["speed"].known
    holds(found["load_torque"], 1e3 * fan.torque(fan.rated), 0.01)
    holds(found["drag"], 1e3 * fan.dry, 0.08)


def test_a_chargers_ripple_at_the_turns_frequency_is_no_uneven_turn() -> None:
    fan = Fan(ripple_v=0.05)
    found = {finding.key: finding for finding in judge(list(findings(fan).values()), kind="cooling_fan")}
    assert found["once_a_turn"].verdict is Verdict.PASS
    assert found["once_a_turn"].evidence["turn_hz"] < 0.95 * fan.settled(12.6)[1] / 6.2832
