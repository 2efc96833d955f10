"""A stretch of driving on the emulated chip, watched for what only it can show: gaps, late ticks, memory."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.data.samples import Samples
from strokebench.link.conversion import Status
from strokebench.parts import load_part
from strokebench.parts.procedure import Planned, Procedure
from strokebench.sim.engine.chip import ChipPort


@dataclass(frozen=True)
class Drive:
    """Samples of the stretch, rows that did not come, and the bench's status before and after."""

    samples: Samples
    lost_rows: int
    before: Status
    after: Status

    @property
    def gaps(self) -> int:
        """Rows missing between the first and the last."""
        steps_ms = np.diff(np.round(self.samples["time_s"] * 1000).astype(int))
        return int((steps_ms - 1).sum())


def ready_bench(
    image: str | Path | None = None, part: str = "throttle-body", kind: str = "reference"
) -> Bench:
    """Return a bench of :class:`SimSpec`'s ``kind`` on an emulated chip that passed its power-up test."""
    port = ChipPort(SimSpec(part, bench=kind), image)
    bridge = port.world.board.bridge
    for rail in (1, 0):  # it precharges, then opens the supply again
        port.machine.run(4, lambda rail=rail: bridge.rail == rail)  # type: ignore[misc]
    return Bench(port, "emulated chip", "chip")


def there_and_back(seconds: float) -> list[Planned]:
    """A procedure of ``seconds`` that opens and shuts a throttle in ramps of half a second and steps."""
    quarter_s = seconds / 4
    segments = [
        {"kind": "ramp", "to": 0.4, "over_s": quarter_s, "label": "open"},
        {"kind": "step", "to": -0.3, "for_s": quarter_s, "label": "shut"},
        {"kind": "ramp", "to": 0.3, "over_s": quarter_s, "label": "again"},
        {"kind": "hold", "for_s": quarter_s, "label": "stay"},
    ]
    return Procedure.model_validate({"title": "there and back", "segments": segments}).plan()


def drive(bench: Bench, seconds: float) -> Drive:
    """Arm, run :func:`there_and_back` and return what came."""
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    before = bench.status()  # its maxima begin anew with each status
    run = bench.run(there_and_back(seconds))
    chunks = list(run)
    after = bench.status()
    return Drive(np.concatenate(chunks), run.lost_rows, before, after)
