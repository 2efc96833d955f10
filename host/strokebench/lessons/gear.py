"""What several lessons use: a plain coil as a part, a bench around any plant, limits as wide as allowed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.data.run import RunData
from strokebench.errors import ProtectionTripped
from strokebench.link.port import Port
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine.inprocess import InProcessPort
from strokebench.sim.plants.base import Conditions, Plant
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.plants.rotary import Commutator, Rotary, Turner

Made = TypeVar("Made", bound=Rotary)

_pico: str | None = None
"""Port of the Pico that runs the firmware; None: this process does."""

COOL = Heat(1e6, 0.01, 1e6, 0.01)
"""A winding that does not warm, so that Ohm's law can be seen without copper's temperature in it."""


def coil(
    resistance_ohm: float,
    inductance_h: float,
    conditions: Conditions,
    make: type[Made] = Rotary,  # type: ignore[assignment]
) -> Made:
    """Return a part that is nothing but resistance and inductance: a motor that cannot turn."""
    turner = Turner(
        resistance_ohm, inductance_h, k_si=1e-3, inertia_kgm2=1.0, dry_nm=1.0, viscous_nms=0.0, flow_nms2=0.0,
        segments=10, pole_pairs=1, brush_v=0.0, heat=COOL,
    )  # fmt: skip
    plant = make(conditions, turner, Commutator(bounce=0.0), np.random.default_rng(1))
    plant.jammed = True
    return plant


def wide(**changes: float) -> Limits:
    """Return limits as wide as the reference bench allows, some changed."""
    values: dict[str, Any] = {
        "current_max_a": 60.0, "current_mean_a": 45.0, "supply_min_v": 8.0, "supply_max_v": 17.0,
        "drive_min": 0.0, "drive_max": 1.0, "slew_per_s": 100.0, "stall_a": 60.0, "stall_s": 30.0,
        "i2t_part_a2s": 100_000.0, "i2t_part_rest_a": 40.0, "i2t_leads_a2s": 100_000.0,
        "i2t_leads_rest_a": 40.0,
    }  # fmt: skip
    return Limits(**{**values, **changes})


def procedure(*segments: dict[str, Any]) -> Procedure:
    """Return a procedure of these segments."""
    return Procedure.model_validate({"title": "lesson", "segments": list(segments)})


@contextmanager
def on_pico(name: str) -> Iterator[None]:
    """Within this, the firmware runs on the bare Pico at port ``name``, fed by the lessons' plants."""
    global _pico
    before, _pico = _pico, name
    try:
        yield
    finally:
        _pico = before


def _port(spec: SimSpec, board: SimBoard) -> Port:
    if _pico is None:
        return InProcessPort(spec, board)
    from strokebench.sim.engine.plant_port import PlantPort

    return PlantPort(replace(spec, engine="plant", port=_pico), board=board)


POLL_S = 0.1


def drive(
    plant: Plant,
    limits: Limits,
    plan: Procedure,
    board: SimBoard | None = None,
    spec: SimSpec | None = None,
    rest_s: float = 0.0,
) -> RunData:
    """Run ``plan`` on ``plant`` with the real firmware in this process, or on the Pico of :func:`on_pico`; a
    run that protection ends is returned like any other, ``info["fault"]`` is then its code.

    ``rest_s``: so long the bench rests first. After power-up it counts half of its budgets as spent.
    """
    spec = SimSpec("fuel-pump") if spec is None else spec
    with Bench(_port(spec, SimBoard(spec, plant) if board is None else board), "lesson") as bench:
        bench.set_limits(limits)
        rested_s = bench.link.port.now() + rest_s
        while bench.link.port.now() < rested_s:
            bench.link.poll(POLL_S)
            bench.link.tell("heartbeat")
        bench.arm()
        run, chunks = bench.run(plan), []
        try:
            for chunk in run:
                chunks.append(chunk)
        except ProtectionTripped:
            pass  # the lesson is about it
        return run.data(np.concatenate(chunks), fault=run.fault)
