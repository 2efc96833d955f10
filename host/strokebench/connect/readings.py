"""What the bench reads of a part's leads with no more than a harmless current, nothing moving."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from strokefw import faults
from strokefw.tick import check

from strokebench.errors import UsageError
from strokebench.link.link import refusal

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench

SETTLE_S = 0.05
TIMES = 16
"""Readings that are averaged: the noise of one is about 2 mV."""
LOOP_SHARE = check.LOOP_DRIVE / 10_000
"""Share of the supply that the self-test puts on the part, for 6 ms: 0.4 V."""
BENCH_CAUSES = frozenset(
    {
        faults.ESTOP, faults.CURRENT_ZERO, faults.SUPPLY_LOW, faults.SUPPLY_HIGH, faults.NO_SUPPLY,
        faults.HEATSINK_NTC_SHORT, faults.HEATSINK_NTC_OPEN, faults.HEATSINK_HOT, faults.PRECHARGE,
        faults.CHECK_TIMEOUT, faults.SUPPLY_CUT, faults.FAST_LIMIT,
    }
)  # fmt: skip
"""Results of the self-test that no wire of the part brings about."""

WIRE_CAUSES = frozenset(
    {
        faults.REFERENCE, faults.FEED_RANGE, faults.OPEN_LOAD, faults.SHORTED_LOAD, faults.LEG_HIGH,
        faults.LEG_LOW, faults.LEG_DIFFER, faults.LEG_PULSE,
    }
)  # fmt: skip
"""Faults that a wire brings about, and that may be held since power-up."""


@dataclass(frozen=True)
class Readings:
    """Volts of feed and sensor inputs; the self-test's code and what it read, NaN where it did not get so
    far.

    ``leg_a``, ``leg_b``: where the outputs float, as shares of the bridge's supply; ``joined``: where output
    A follows when B is pulled up; ``loop_ohm``: between the outputs, infinite where no current flows;
    ``bus_v``: on the bridge's capacitors while the sensor inputs were read, V.
    """

    feed_v: float
    a_v: float
    b_v: float
    code: int
    leg_a: float = math.nan
    leg_b: float = math.nan
    joined: float = math.nan
    loop_ohm: float = math.nan
    bus_v: float = 0.0


def sees_wires(bench: Bench) -> None:
    """Raise :class:`UsageError` on a bench that does not read its outputs."""
    if bench.units.few:
        raise UsageError(
            f"The {bench.identity.board} cannot check the wiring: it does not read its outputs.",
            "Compare it with the drawing, `strokebench connect PART --draw-only`, and use an ohmmeter.",
        )


def mean_volts(bench: Bench) -> tuple[float, float, float]:
    """Return the means of feed, sensor input A and B, V."""
    sees_wires(bench)
    bench.link.poll(SETTLE_S)
    rows = []
    for _ in range(TIMES):
        rows.append((bench.status().sensor_feed_v, *bench.sensors_v()))
        bench.link.poll(0.001)
    feed_v, a_v, b_v = (sum(column) / len(rows) for column in zip(*rows, strict=True))
    return feed_v, a_v, b_v


def read(bench: Bench) -> Readings:
    """Read everything; the part's limits are in force. A fault that a wire brought about is cleared.

    Raises :class:`Refused` when the bench holds another fault.
    """
    feed_v, a_v, b_v = mean_volts(bench)
    before = bench.status()
    if before.state == "latched":
        if before.fault not in WIRE_CAUSES:
            raise refusal("selftest", faults.FAULT_LATCHED, before.fault)
        bench.clear()  # the self-test looks for the same again
    code, rows = bench.selftest_report()
    found = {row[0]: float(row[2]) for row in rows}
    if bench.status().state == "latched":
        bench.clear()
    loop_ma = found.get(check.LOOP, math.nan)
    return Readings(
        feed_v,
        a_v,
        b_v,
        code,
        found.get(check.LEG_A, math.nan) / 1000,
        found.get(check.LEG_B, math.nan) / 1000,
        found.get(check.JOINED, math.nan) / 1000,
        _loop_ohm(loop_ma, before.terminals_v),
        before.supply_v,
    )


def _loop_ohm(loop_ma: float, supply_v: float) -> float:
    """Return the ohms between the outputs; infinite without a current, NaN where the test did not come so
    far.
    """
    if math.isnan(loop_ma):
        return math.nan
    return LOOP_SHARE * supply_v / (loop_ma / 1000) if loop_ma > 0 else math.inf
