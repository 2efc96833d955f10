"""What a simulated bench is asked to be: which part and specimen, what is wrong with it, conditions."""

from __future__ import annotations

import math
from dataclasses import dataclass

from strokebench.errors import UsageError

ENGINES = ("inprocess", "micropython", "chip", "plant")
BENCHES = ("reference", "small", "beginner")
"""Benches that can be simulated: 40 A, and with ten times finer current ranges 5 A and 3 A (stripboard)."""
FAMILIES = ("first", "second")
"""Sets of simulated parts with a physics of their own: estimators were tuned on the first."""


@dataclass(frozen=True)
class SimSpec:
    """A simulated bench.

    ``part``: name of a part (``strokebench.sim.plants.PARTS``).  ``seed``: each seed is another good
    specimen, with its own converter noise.  ``faults``: defects of the part,
    ``NAME[=SIZE|:moderate|:severe][@PLACE]`` such as ``"binding=0.6@0.45"`` (see
    :mod:`strokebench.sim.faults`).  ``bench_faults``: troubles of the bench itself,
    ``NAME[=VALUE][@TIME[+DURATION]]`` in seconds (see :mod:`strokebench.sim.board.troubles`). ``supply_v``:
    open-circuit voltage of the battery; ``source_ohm``: battery with its leads; ``lead_ohm``: leads to the
    part, there and back; ``ambient_c``: everything starts at this temperature.  ``None`` means: drawn from
    the seed within what is ordinary.  ``as_built``: readings are off by as much as a bench's parts allow,
    not by what an ordinary calibration leaves.  ``memory``: folder that takes the place of the chip's flash
    (calibration, events), so that they outlive the power; not with the engine "chip", which has a flash, nor
    with "plant". ``port``: with the engine "plant", the serial port of the Pico whose firmware runs on this
    computer's plant (see :mod:`strokebench.sim.engine.plant_port`). ``family``: one of :data:`FAMILIES`.
    ``bench``: one of :data:`BENCHES`.
    """

    part: str = "throttle-body"
    seed: int = 1
    faults: tuple[str, ...] = ()
    engine: str = "inprocess"
    supply_v: float = 12.6
    ambient_c: float = 23.0
    source_ohm: float | None = None
    lead_ohm: float | None = None
    bench_faults: tuple[str, ...] = ()
    as_built: bool = False
    memory: str | None = None
    port: str | None = None
    family: str = "first"
    bench: str = "reference"

    def __post_init__(self) -> None:
        """UsageError when a number is impossible, the family or the bench unknown."""
        if self.family not in FAMILIES:
            raise UsageError(
                f"There is no family of simulated parts called {self.family!r}.",
                f"Known: {', '.join(FAMILIES)}.",
            )
        if self.bench not in BENCHES:
            raise UsageError(
                f"There is no bench called {self.bench!r} to simulate.", f"Known: {', '.join(BENCHES)}."
            )
        ranges = (
            ("seed", self.seed, 0, 2**40),
            ("supply_v", self.supply_v, 0, 30),
            ("ambient_c", self.ambient_c, -40, 120),
            ("source_ohm", self.source_ohm, 0, 100),
            ("lead_ohm", self.lead_ohm, 0, 100),
        )
        for name, value, low, high in ranges:
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise UsageError(
                    f"The simulation's {name} = {value:g} is impossible.",
                    f"It lies between {low} and {high}.",
                )
