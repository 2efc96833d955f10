"""The finer benches on the emulated chip: strap, self-test and a step, as in process. Some minutes each."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.parts.procedure import Procedure
from strokebench.sim import open_port
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip.drive import ready_bench

pytestmark = [pytest.mark.chip, pytest.mark.long]
PART = "solenoid"
STEP = Procedure.model_validate(
    {
        "title": "one step",
        "segments": [
            {"kind": "pause", "for_s": 0.05, "label": "rest"},
            {"kind": "step", "to": 0.5, "for_s": 0.2, "label": "step"},
        ],
    }
)


def stepped(bench: Bench, name: str) -> float:
    """Amperes at the end of the step; no row may be lost, no tick late."""
    assert bench.identity.board == f"{name} bench"
    bench.set_limits(on_bench(load_part(PART), bench.identity.board).limits)
    bench.arm()
    run = bench.run(STEP.plan())
    samples = np.concatenate(list(run))
    counters = bench.status().counters
    assert run.lost_rows == 0 and counters["overruns"] == 0
    print("longest tick in us:", counters["tick_max_us"])
    driven = samples["current_a"][samples["drive"] > 0.49]
    return float(np.mean(driven[-50:]))


@pytest.mark.parametrize("name", ["small", "beginner"])
def test_a_step_on_the_chip_as_in_process(name: str) -> None:
    with Bench(open_port(SimSpec(PART, bench=name)), "in process", "inprocess") as bench:
        here_a = stepped(bench, name)
    try:
        on_chip_a = stepped(ready_bench(chip.find_image(), PART, name), name)
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    print(here_a, on_chip_a)
    assert 0.3 < here_a < 5.0
    assert on_chip_a == pytest.approx(here_a, rel=0.02)
