"""What a simulated bench is asked to be: which part and specimen, what is wrong with it, conditions."""

from __future__ import annotations

from dataclasses import dataclass

ENGINES = ("inprocess", "micropython", "chip")


@dataclass(frozen=True)
class SimSpec:
    """A simulated bench.

    ``part``: name of a part (``strokebench.sim.plants.PARTS``).  ``seed``: each seed is another good
    specimen, with its own converter noise.  ``faults``: defects of the part,
    ``NAME[=SIZE|:moderate|:severe][@PLACE]`` such as ``"binding=0.6@0.45"`` (see
    :mod:`strokebench.sim.faults`).  ``bench_faults``: troubles of the bench itself,
    ``NAME[=VALUE][@TIME[+DURATION]]`` in seconds (see :mod:`strokebench.sim.bench_faults`). ``supply_v``:
    open-circuit voltage of the battery; ``source_ohm``: battery with its leads; ``lead_ohm``: leads to the
    part, there and back; ``ambient_c``: everything starts at this temperature.  ``None`` means: drawn from
    the seed within what is ordinary.
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
