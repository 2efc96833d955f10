"""Simulated benches: plants with faults to inject, simulated boards, ways to run the firmware on them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.bench.spec import ENGINES, SimSpec
from strokebench.errors import UsageError

if TYPE_CHECKING:
    from strokebench.link.port import Port


def open_port(spec: SimSpec) -> Port:
    """Return a port to the simulated bench of ``spec``, with the firmware on the engine it names.

    Raises :class:`UsageError` for an unknown engine, part or fault, LinkError when the engine is not
    installed.
    """
    if spec.engine == "inprocess":
        from strokebench.sim.engine.inprocess import InProcessPort

        return InProcessPort(spec)
    if spec.engine == "micropython":
        from strokebench.sim.engine.micropython import MicroPythonPort

        return MicroPythonPort(spec)
    if spec.engine == "chip":
        from strokebench.sim.engine.chip import ChipPort

        return ChipPort(spec)
    if spec.engine == "plant":
        from strokebench.sim.engine.plant_port import PlantPort

        return PlantPort(spec)
    raise UsageError(f"There is no engine called {spec.engine!r}.", f"Known: {', '.join(ENGINES)}.")
