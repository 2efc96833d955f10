"""Short procedures and limits for tests that drive a simulated bench."""

from __future__ import annotations

from typing import Any

import numpy as np
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.parts import load_part
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure


def throttle_limits() -> Limits:
    """Limits of the throttle body's own profile."""
    return load_part("throttle-body").limits


def procedure(*segments: dict[str, Any]) -> Procedure:
    """Return a procedure of ``segments`` as they stand in TOML."""
    return Procedure.model_validate({"title": "test", "segments": list(segments)})


def stroke() -> Procedure:
    """Rest, open with a burst on the way, shut, let go: 1.7 s of every kind of movement."""
    return procedure(
        {"kind": "pause", "for_s": 0.1, "label": "rest"},
        {"kind": "ramp", "to": 0.5, "over_s": 0.4, "label": "open"},
        {"kind": "hold", "for_s": 0.2, "label": "stall"},
        # at the stop about 4 A flow: far from 2.06 A, where the chip's converter jumps
        {
            "kind": "burst",
            "channel": "current_fine",
            "rate_hz": 100_000,
            "count": 1000,
            "pre": 200,
            "label": "ripple",
        },
        {"kind": "ramp", "to": -0.5, "over_s": 0.6, "label": "shut"},
        {"kind": "pause", "for_s": 0.4, "label": "release"},
    )


def stroked_bytes(spec: SimSpec, within: dict[str, float], *segments: dict[str, Any]) -> bytes:
    """Drive ``segments`` on a simulated bench under the throttle's limits, changed by ``within``; return all
    samples as bytes.
    """
    with open_bench(sim=spec) as bench:
        bench.set_limits(throttle_limits().model_copy(update=within))
        bench.arm()
        return np.concatenate(list(bench.run(procedure(*segments)))).tobytes()
