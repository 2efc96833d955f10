"""Take one point: bring the bench into the state in which a channel can be read, and read its counts."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from typing import TYPE_CHECKING, Protocol

from strokefw import faults

from strokebench.calibrate.quantities import ARMED, BRAKING, IDLE, Quantity
from strokebench.calibrate.solve import Reading
from strokebench.errors import LinkError, Refused, StrokebenchError
from strokebench.link import conversion
from strokebench.parts.procedure import Planned

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.parts.limits import Limits

SCANS = 200
SETTLE_S = 0.15
STEADY_S = 60.0
STEADY_COUNTS = 4.0
"""A quarter of a converter step: less drift than that within ``SETTLE_S`` is rest."""
CHECK_S = 8.0
DISCHARGE_S = 120.0
BLOCKED_S = 20.0
BEAT_S = 0.2
"""Well below the 2 s after which the bench stops by itself."""
HOLD_S = 600.0
"""So long a person may take for one point."""


class Source(Protocol):
    """Whoever sets the sources and reads the reference: a person, or the simulated laboratory."""

    def prepare(self, quantity: Quantity, target: float) -> None:
        """Before the bench is armed: bring a supply to the target."""

    def reference(self, quantity: Quantity, target: float) -> float:
        """Bring the source to the target and return what the reference shows."""

    def finish(self, quantity: Quantity) -> None:
        """Take the source off, before the bench lets go."""


def limits_for(bench: Bench) -> Limits:
    """Return limits under which nothing can be driven, but the outputs may be held to ground."""
    from strokebench.parts.limits import Limits

    most, mean = bench.identity.current_max_a, bench.identity.current_mean_a
    return Limits(
        current_max_a=most,
        current_mean_a=mean,
        supply_min_v=bench.identity.supply_min_v,
        supply_max_v=bench.identity.supply_max_v,
        drive_min=0.0,
        drive_max=0.0,
        stall_a=most,
        stall_s=30.0,
        i2t_part_a2s=1000.0,
        i2t_part_rest_a=mean,
        i2t_leads_rest_a=min(20.0, mean),
        heartbeat_s=2.0,
        part_expected=False,
    )


@contextmanager
def holding(bench: Bench, mode: str) -> Iterator[Callable[[], None]]:
    """Keep the bench in ``mode`` inside the block; yields what has to be called every ``BEAT_S``."""
    if mode == IDLE:
        yield lambda: None
        return
    bench.set_limits(limits_for(bench))
    discharged(bench)
    _arm(bench)
    try:
        if mode == BRAKING:
            _brake(bench)
        yield lambda: _heartbeat(bench)
    finally:
        with suppress(StrokebenchError):
            bench.stop(now=True)
            bench.disarm()


def checked(bench: Bench) -> None:
    """Let the check at power-up come to its end; ask for it where a watchdog's reset made the bench wait."""
    if bench.status().state == "off":
        bench.selftest_report()
    until_s = bench.link.port.now() + CHECK_S
    while bench.status().state in ("off", "check") and bench.link.port.now() < until_s:
        bench.link.poll(0.1)


def discharged(bench: Bench) -> None:
    """Wait until the bridge's capacitors have come down to the supply: only their bleeder empties them."""
    until_s = bench.link.port.now() + DISCHARGE_S
    while bench.link.port.now() < until_s:
        status = bench.status()
        if not status.supply_v > 1.05 * status.terminals_v:  # or nobody measures the terminals
            return
        bench.link.poll(0.1)
    raise LinkError(
        f"The bridge supply does not come down to the terminals within {DISCHARGE_S:g} s.",
        "Something feeds it from elsewhere, or its bleeder resistor is open.",
    )


def _arm(bench: Bench) -> None:
    """Arm; a thermistor that was exchanged for a resistor blocks that for some seconds."""
    until_s = bench.link.port.now() + BLOCKED_S
    while True:
        try:
            with suppress(Refused):
                bench.clear()
            bench.arm()
            return
        except Refused as error:
            if error.code != faults.FAULT_LATCHED or bench.link.port.now() > until_s:
                raise
        bench.link.poll(0.5)


def _brake(bench: Bench) -> None:
    """Hold the drive at zero: both low sides on. A run, because it bears 2 s of silence, a jog only 0.5 s."""
    bench.link.request("procedure_begin", 1)
    hold = Planned("hold", "brake", 0.0, HOLD_S)
    bench.link.request("segment", *conversion.segment_values(0, hold))
    bench.link.request("run")


def _heartbeat(bench: Bench) -> None:
    bench.link.tell("heartbeat")
    bench.link.poll(0)  # the rows of a run, which nobody wants here


@contextmanager
def kept_alive(beat: Callable[[], None]) -> Iterator[None]:
    """Call ``beat`` from a thread while this one waits for a person; an error in it is raised at the end."""
    done, errors = threading.Event(), []

    def go() -> None:
        while not done.wait(BEAT_S):
            try:
                beat()
            except StrokebenchError as error:
                errors.append(error)
                return

    thread = threading.Thread(target=go, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()
    if errors:
        raise errors[0]


def take(bench: Bench, quantity: Quantity, target: float, source: Source, scans: int = SCANS) -> Reading:
    """Take one point near ``target`` (the channel's unit) and return it; the bench is off afterwards."""
    if quantity.mode == ARMED:
        source.prepare(quantity, target)
    with holding(bench, quantity.mode) as beat:
        try:
            with kept_alive(beat) if quantity.mode != IDLE and _waits(source) else nullcontext():
                if quantity.mode == ARMED:
                    steady(bench, quantity.index, beat)  # the capacitors take their time
                shown = source.reference(quantity, target)
            steady(bench, quantity.index, beat)
            mean, u = read_counts(bench, quantity.index, scans, beat)
        finally:
            source.finish(quantity)
    return Reading(quantity.name, shown, mean, u, scans)


def _waits(source: Source) -> bool:
    return bool(getattr(source, "waits", False))


def steady(bench: Bench, index: int, beat: Callable[[], None]) -> None:
    """Wait until a channel has come to rest; :class:`LinkError` when it does not."""
    until_s = bench.link.port.now() + STEADY_S
    last = read_counts(bench, index, 20, beat)[0]
    while bench.link.port.now() < until_s:
        beat()
        pause_s = bench.link.port.now() + SETTLE_S
        while bench.link.port.now() < pause_s:
            bench.link.poll(0.05)
        now, u = read_counts(bench, index, 20, beat)
        if abs(now - last) < STEADY_COUNTS + 4 * u:
            return
        last = now
    raise LinkError(
        "The bench's reading does not come to rest.", "Steady the source and take the point again."
    )


def read_counts(
    bench: Bench, index: int, scans: int = SCANS, beat: Callable[[], None] = lambda: None
) -> tuple[float, float]:
    """Return mean and standard uncertainty of the mean (JCGM 100, 4.2.3) of a channel's counts."""
    values: list[int] = []
    beat_s = bench.link.port.now()
    while len(values) < scans:
        values.append(bench.counts()[index])
        if bench.link.port.now() - beat_s > BEAT_S:
            beat()
            beat_s = bench.link.port.now()
    mean = math.fsum(values) / scans
    variance = math.fsum((value - mean) ** 2 for value in values) / max(1, scans - 1)
    return mean, math.sqrt(variance / scans)
