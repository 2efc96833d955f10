"""Every kind of part when it is plainly bad: the procedure ends early, it is off, and the verdict says why.

An open circuit never gets so far: arming refuses it (tests/closed_loop/test_sim_parts.py). A rotor that is
blocked: tests/closed_loop/test_rotors.py.
"""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module
from typing import Any

import pytest
from pytest_mock import MockerFixture
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.data.findings import Finding, Verdict
from strokebench.sim.plants.turning import Design
from strokebench.sim.trials import stroke
from strokebench.verdict import root_cause
from strokebench.verdict.examine import examine

pytestmark = pytest.mark.slow

SHORT, JAM = "shorted_turns", "binding=40@0.1"
CASES = [
    ("throttle-body", "shorted_turns=0.9", SHORT, 1.5),
    ("egr-motor", "shorted_turns=0.9", SHORT, 1.5),
    ("egr-solenoid", "shorted_turns=0.9", SHORT, 1.0),
    ("idle-actuator", "shorted_turns=0.9", SHORT, 1.0),
    ("solenoid", "shorted_turns=0.9", SHORT, 1.0),
    ("throttle-body", JAM, "stuck_shut", 4.5),
    ("throttle-body", "binding=40@0.13", "stuck_shut", 4.5),
    ("egr-motor", "binding=40@0.02", "stuck_shut", 3.5),
    ("egr-solenoid", "stuck_shut", "stuck_shut", 3.5),
    ("idle-actuator", "jammed", "jammed", 2.5),
    ("fuel-pump-fuse", "blocked", "blocked", 3.5),
]  # fmt: skip


def tried(part: str, defect: str) -> tuple[Any, dict[str, Finding], Verdict]:
    run, profile, _ = stroke(SimSpec(part, 3, (defect,)))
    findings, verdict = examine(run, profile)
    return run, {finding.key: finding for finding in findings}, verdict


@pytest.mark.parametrize(("part", "defect", "name", "within_s"), CASES)
def test_it_ends_early_and_says_so(part: str, defect: str, name: str, within_s: float) -> None:
    run, found, verdict = tried(part, defect)
    assert run.info["outcome"] in ("watch", "fault")
    assert float(run.samples["time_s"][-1]) < within_s
    assert run.samples["drive"][-1] == 0
    assert (verdict, root_cause(list(found.values()))) == (Verdict.FAIL, name)
    assert "ended it" in found["run_complete"].reason
    if name == SHORT:
        told = found["run_resistance"]
        assert told.upper is None and told.lower is not None and told.value < told.lower


@pytest.mark.parametrize(
    ("part", "named"), [("fuel-pump", SHORT), ("water-pump", SHORT), ("cooling-fan", "")]
)
def test_a_dead_short_where_a_motor_should_be(part: str, named: str, mocker: MockerFixture) -> None:
    """A fan's sound winding is hardly more than the bench's own leads: ended and told, but not named."""
    module = import_module(f"strokebench.sim.plants.{part.replace('-', '_')}")
    short = replace(module.NOMINAL, resistance_ohm=0.02, inductance_h=2e-5, brush_v=0.0, k_si=1e-4)
    design: Design = module.build.__self__
    mocker.patch.object(module, "build", replace(design, nominal=short).build)
    run, profile, _ = stroke(SimSpec(part, 3))
    findings, verdict = examine(run, profile)
    assert run.info["outcome"] == "watch"
    assert float(run.samples["time_s"][-1]) < 0.7
    assert float(run.samples["current_a"].max()) < 12
    assert root_cause(findings) == named
    assert verdict is (Verdict.FAIL if named else Verdict.INCONCLUSIVE)


@pytest.mark.parametrize("defect", ["track_dead@a", "track_dead@b", "track_shorted@a"])
def test_a_throttle_that_moves_with_a_bad_track_is_stroked_to_the_end(defect: str) -> None:
    run, found, _verdict = tried("throttle-body", defect)
    assert run.info["outcome"] == "done"
    assert found["movement"].verdict is Verdict.PASS


def test_on_the_command_line_it_is_a_fail_with_its_reason(
    tmp_path: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    code = main(["run", "solenoid", "--sim", "--inject", "shorted_turns=0.9", "--no-report"])
    shown = capsys.readouterr().out
    assert code == 1
    assert "ended itself early" in shown
    assert "FAIL" in shown and "shorted_turns" in shown
