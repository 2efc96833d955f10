"""A stroke on any engine, with the raw bytes, to compare engines by."""

from __future__ import annotations

import numpy as np
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.data.run import Burst
from strokebench.data.samples import Samples
from strokebench.sim import open_port

from tests.helpers.strokes import stroke, throttle_limits


def run_stroke(spec: SimSpec) -> tuple[Samples, list[Burst], bytes]:
    """Samples, bursts and the raw bytes that the bench sent."""
    heard = bytearray()
    port = open_port(spec)
    read = port.read

    def listening(timeout_s: float) -> bytes:
        data = read(timeout_s)
        heard.extend(data)
        return data

    port.read = listening  # type: ignore[method-assign]
    with Bench(port, "test", spec.engine) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        run = bench.run(stroke())
        samples = np.concatenate(list(run))
    return samples, run.bursts, bytes(heard)
