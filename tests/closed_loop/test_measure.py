"""An unknown load on the simulated bench: what is told against the plant's own numbers, and what flows."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.bench.bench import SimSpec, open_bench
from strokebench.cli import main
from strokebench.errors import DataError, StrokebenchError, UsageError
from strokebench.measure import Load, limits_for, measure
from strokebench.parts import load_part

pytestmark = pytest.mark.slow

LOADS = [
    ("throttle-body", 3.0), ("egr-motor", 2.0), ("solenoid", 1.0), ("egr-solenoid", 2.0),
    ("idle-actuator", 0.8), ("water-pump", 8.0), ("cooling-fan", 12.0), ("fuel-pump", 10.0),
]  # fmt: skip


def plant_of(bench: Any) -> Any:
    """Dig the plant out of a simulated bench; only a test may."""
    found = bench.link.port
    for name in ("board", "_board", "rig", "_rig"):
        found = getattr(found, name, found)
    return found.plant


def watched(part: str, allowed_a: float, seed: int, flowed: list[float], **more: Any) -> tuple[Load, Any]:
    """Measure ``part``; return the result and its plant; what really flowed goes to ``flowed``."""
    with open_bench(sim=SimSpec(part=part, seed=seed, **more)) as bench:
        plant = plant_of(bench)
        advance = plant.advance

        def noted(*args: Any) -> None:
            advance(*args)
            flowed.append(max(plant.current_max_a, abs(plant.current_a)))

        plant.advance = noted
        load, _data = measure(bench, allowed_a)
    return load, plant


@pytest.mark.parametrize(("part", "allowed_a"), LOADS)
def test_resistance_inductance_and_never_more_current(part: str, allowed_a: float) -> None:
    flowed: list[float] = []
    load, plant = watched(part, allowed_a, 8, flowed)
    contact = float(np.mean(getattr(plant, "_bounce", [0.0])))  # what brushes add on the average
    truth_ohm = plant._winding_ohm * (1 + contact) + plant.conditions.lead_ohm
    assert load.resistance.value == pytest.approx(truth_ohm, rel=0.02)
    assert load.inductance.value == pytest.approx(plant._inductance_h * 1e3, rel=0.10)
    assert abs(load.resistance.value - truth_ohm) < 3 * load.resistance.u
    assert 0.3 * allowed_a < max(flowed) < allowed_a
    if load.method == "ripple":
        assert load.spectrum[0][0] == pytest.approx(20_000, rel=0.005)


@pytest.mark.parametrize(
    ("part", "allowed_a"), [("cooling-fan", 1.0), ("fuel-pump", 1.5), ("throttle-body", 0.5)]
)
def test_a_load_that_could_take_far_more(part: str, allowed_a: float) -> None:
    """Whatever can or cannot be told with so little, the allowed current is not exceeded."""
    flowed: list[float] = []
    with contextlib.suppress(StrokebenchError):
        watched(part, allowed_a, 4, flowed)
    assert len(flowed) > 300, "something was tried"
    assert max(flowed) < allowed_a


def test_nothing_connected_is_said() -> None:
    with pytest.raises(DataError, match="too small to measure"):
        watched("solenoid", 1.0, 1, [], faults=("open_winding:severe",))


def test_impossible_currents_are_refused_before_anything_is_opened() -> None:
    for wrong in (0.0, 0.1, 60.0, float("nan")):
        with pytest.raises(UsageError, match="is not possible"):
            limits_for(wrong)
    assert main(["measure", "--sim", "solenoid", "--max-current", "0.01"]) == 2


@pytest.mark.parametrize(
    ("part", "allowed", "kind"), [("solenoid", "1", "solenoid"), ("water-pump", "8", "cooling_fan")]
)
def test_the_command_proposes_a_profile_that_loads(
    part: str, allowed: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "Mystery 1.toml"
    command = ["measure", "--sim", part, "--max-current", allowed, "-o", str(path)]
    assert main(command) == 0
    shown = capsys.readouterr().out
    assert "The part may move" in shown
    assert max(map(len, shown.splitlines()[:-1])) <= 80
    profile = load_part(path)
    assert (profile.name, profile.kind) == ("mystery-1", kind)
    assert profile.limits.current_max_a <= float(allowed)
    assert main(["run", str(path), "--sim", "--book", str(tmp_path / "b.book"), "--no-report"]) == 0
    capsys.readouterr()
    assert main([*command, "--force", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    limit = next(iter(profile.findings.values()))
    assert limit.lower is not None
    assert limit.upper is not None
    assert limit.lower < told["resistance"]["value"] < limit.upper
