"""Step response of the fold-back: ``python -m tools.evidence.foldback`` draws docs/img/foldback.svg.

The firmware drives a motor with a gear against its end stop, from rest to full drive at the steepest slew
allowed, with a mean limit far below the stall current. Shown for windings from quick to slow.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants.moving import assemble
from strokebench.sim.plants.positioner import Positioner
from strokebench.sim.plants.throttle import IDEAL, LOH, LOH_COULOMB_NM
from strokefw.drive import ramp

from tools import DOCS
from tools.evidence.rig import Rig

TAUS_MS = (0.1, 1.0, 5.0)
SLEWS = (20, 100, 1000)
LIMIT_A = 3.0
DRIVE_S = 1.0


@dataclass(frozen=True)
class Response:
    """Time in s from the start of the drive; current in A and drive (0..1), both as the firmware saw them."""

    tau_ms: float
    slew_per_ms: int
    time_s: NDArray[np.float64]
    current_a: NDArray[np.float64]
    drive: NDArray[np.float64]

    @property
    def peak_a(self) -> float:
        """Highest mean current of a tick."""
        return float(self.current_a.max())

    def over_s(self, level_a: float) -> float:
        """Seconds spent above a level."""
        return float((self.current_a > level_a).sum() * 1e-3)

    def settled(self, last_s: float = 0.2) -> NDArray[np.float64]:
        """Current over the last stretch."""
        return self.current_a[-round(last_s * 1000) :]


def motor(spec: SimSpec, tau_ms: float) -> Positioner:
    """Return a throttle-like motor whose winding has the time constant ``tau_ms``."""
    mover = replace(LOH, inductance_h=LOH.resistance_ohm * tau_ms * 1e-3)
    return assemble(spec, mover, LOH_COULOMB_NM, [], IDEAL, np.random.default_rng(spec.seed), uneven=0.0)


def respond(tau_ms: float, slew_per_ms: int, limit_a: float = LIMIT_A) -> Response:
    """Drive one motor against its stop and return what happened."""
    spec = SimSpec(part="throttle-loh2013")
    rig = Rig(spec, motor(spec, tau_ms))
    mean_ma = round(limit_a * 1000)
    rig.arm((
        40000, mean_ma, 9000, 16000, slew_per_ms, 0, 10000, 30000, 40000, 1000, 3000, 20000, 5000, 10000,
        1100, 0,
    ))  # fmt: skip
    rig.load((ramp.STEP, 10000, round(DRIVE_S * 1000), 0, 0, 0, 0, 0, 0, 0, 0, 0))
    begin = len(rig.steps)
    assert rig.result("run") == 0
    rig.tick(round(DRIVE_S * 1000) - 5)
    steps = rig.steps[begin:]
    return Response(
        tau_ms,
        slew_per_ms,
        np.arange(len(steps), dtype=np.float64) * 1e-3,
        np.array([step.current_ma for step in steps]) / 1000,
        np.array([step.drive for step in steps]) / 10000,
    )


def draw(responses: list[Response], path: Path) -> None:
    """Draw current and drive, a column per time constant."""
    import matplotlib
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 5), layout="constrained")
    axes = figure.subplots(2, len(TAUS_MS), sharex=True, sharey="row")
    for column, tau_ms in enumerate(TAUS_MS):
        above, below = axes[0][column], axes[1][column]
        for response in (response for response in responses if response.tau_ms == tau_ms):
            label = f"slew {response.slew_per_ms / 10:g} /s"
            above.plot(response.time_s * 1000, response.current_a, label=label)
            below.plot(response.time_s * 1000, response.drive * 100)
        above.axhline(LIMIT_A, color="black", linewidth=0.8, linestyle="--")
        above.set_title(f"winding L/R = {tau_ms:g} ms")
        below.set_xlabel("time in ms")
    axes[0][0].set_ylabel("current in A")
    axes[1][0].set_ylabel("drive in %")
    axes[0][-1].legend()
    path.parent.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context({"svg.hashsalt": "foldback"}):
        figure.savefig(path, metadata={"Date": None})


def main() -> None:
    """Draw the picture and print the numbers."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.foldback", description=__doc__)
    parser.add_argument("--out", type=Path, default=DOCS / "img" / "foldback.svg")
    out = parser.parse_args().out
    responses = [respond(tau_ms, slew) for tau_ms in TAUS_MS for slew in SLEWS]
    for response in responses:
        held = response.settled()
        print(
            f"L/R {response.tau_ms:g} ms, slew {response.slew_per_ms / 10:g}/s: peak {response.peak_a:.2f} A,"
            f" above {1.1 * LIMIT_A:.1f} A for {response.over_s(1.1 * LIMIT_A) * 1000:.0f} ms,"
            f" held {held.min():.3f} to {held.max():.3f} A"
        )
    draw(responses, out)


if __name__ == "__main__":
    main()
