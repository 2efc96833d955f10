"""What the bench itself measures in a bring-up: one function per ``what`` of steps.toml.

Each gets the test at hand and returns a number, or raises a :class:`StrokebenchError` whose sentence says why
there is none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from strokefw import faults, state
from strokefw.tick import selftest

from strokebench.bench.kinds import few_of
from strokebench.bringup.hands import Hands
from strokebench.calibrate.points import kept_alive, limits_for, read_counts
from strokebench.calibrate.quantities import quantities
from strokebench.errors import DataError, LinkError, Refused
from strokebench.link import conversion
from strokebench.parts.limits import Limits

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench

EMPTY_V = 0.3
EMPTY_S = 120.0
CHARGED_S, CHARGED_V, SETTLED_S = 5.0, 6.0, 0.2
SCANS = 50
LOAD_DRIVE, TRIP_DRIVE, IDLE_DRIVE = 0.2, 0.8, 0.1
FINER_DRIVE = 0.4
"""With finer ranges the load's peaks are in the coarse one, whose errors want more current beside them."""
TRIP_A = 1.0
NO_CURRENT_A, NO_CURRENT_FEW_A = 0.02, 0.1
"""Less is no current; a bench with few signals has no fine range, and its zero may be 0.06 A off."""


@dataclass
class Test:
    """A bring-up under way: the bench, who helps, and what was found on the way."""

    __test__ = False  # not one of pytest's

    bench: Bench
    hands: Hands
    metered: float = math.nan
    """What a person read in this step."""
    load_ohm: float = math.nan
    report: tuple[int, dict[str, int]] | None = None
    """The self-test's code and values by name, once it ran."""
    notes: list[str] = field(default_factory=list)

    def zero_current(self, name: str) -> float:
        """Return a current channel's reading with the calibration in force."""
        mine = self.bench.identity
        quantity = quantities(mine.finer, few_of(mine.board))[name]
        mean = read_counts(self.bench, quantity.index, SCANS)[0]
        counts = np.array([round(mean)], np.uint16)
        values, _unit = conversion.burst_values(quantity.index, counts, *self.bench.units)
        return float(values[0])

    def ready(self) -> None:
        """Clear what is latched, if that is possible, so that a check can begin."""
        with suppress(Refused):
            self.bench.clear()

    def arm(self, **changes: float) -> None:
        """Put wide limits of a bring-up in force (with ``changes``) and arm."""
        limits = limits_for(self.bench).model_dump() | {
            "drive_min": -1.0,
            "drive_max": 1.0,
            "slew_per_s": 20.0,
        }
        self.bench.set_limits(Limits(**{**limits, **changes}))
        self.ready()
        self.bench.arm()

    @contextmanager
    def armed(self, **changes: float) -> Iterator[None]:
        """Armed as by :meth:`arm` inside; off, and what was provoked cleared, at the end."""
        self.arm(**changes)
        try:
            yield
        finally:
            self.bench.stop_quietly()
            self.ready()

    def jog_for(self, drive: float, seconds: float) -> None:
        """Hold ``drive`` for ``seconds`` of the bench's time."""
        port = self.bench.link.port
        until_s = port.now() + seconds
        while port.now() < until_s:
            self.bench.jog(drive)
            self.bench.link.poll(0.1)

    def driven_rows(self, drive: float, settle_s: float, rows_s: float) -> np.ndarray:
        """Hold ``drive`` for ``settle_s``, repeat it once; return the driven rows of the next ``rows_s``."""
        with self.armed():
            self.jog_for(drive, settle_s)
            self.bench.link.poll(0)
            self.bench.jog(drive)
            rows = _rows(self.bench, rows_s)
        driven: np.ndarray = rows[rows["state"] == state.DRIVING]
        return driven


def board_kind(test: Test) -> float:
    from strokebench.bench.bench import BOARDS

    return float(BOARDS.index(test.bench.identity.board))


def vin_error_v(test: Test) -> float:
    return test.bench.status().terminals_v - test.metered


def bus_error_v(test: Test) -> float:
    return test.bench.status().supply_v - test.metered


def sensor_a_v(test: Test) -> float:
    test.bench.link.poll(0.1)
    return float(np.mean([test.bench.sensors_v()[0] for _ in range(SCANS)]))


def feed_v(test: Test) -> float:
    return test.bench.status().sensor_feed_v


def heatsink_c(test: Test) -> float:
    return _known(test.bench.status().heatsink_c, "The bench cannot read the heatsink thermistor.")


def part_c(test: Test) -> float:
    return _known(test.bench.status().part_c, "The bench cannot read the loose thermistor.")


def _known(value: float, sentence: str) -> float:
    if math.isnan(value):
        raise DataError(sentence)
    return value


def current_fine_zero_a(test: Test) -> float:
    return test.zero_current("current_fine")


def current_coarse_zero_a(test: Test) -> float:
    return test.zero_current("current_coarse")


def estop_open(test: Test) -> float:
    test.bench.link.poll(0.1)
    return float(test.bench.status().emergency_open)


def stopped_bus_v(test: Test) -> float:
    """Volts of the bridge supply once it is empty, with the stop button pressed."""
    _empty(test, EMPTY_V)
    return test.bench.status().supply_v


def charged_s(test: Test) -> float:
    """Seconds from the stop button's release until the bridge supply has nine tenths of what it comes to."""
    bench, seen = test.bench, [(0.0, 0.0)]
    begin_s = bench.link.port.now()
    while not _settled(seen):
        if seen[-1][0] > CHARGED_S:
            raise DataError(f"The bridge supply has come to {seen[-1][1]:.1f} V only.")
        bench.link.poll(0.02)
        seen.append((bench.link.port.now() - begin_s, bench.status().supply_v))
    return next(time_s for time_s, volts in seen if volts >= 0.9 * seen[-1][1])


def _settled(seen: list[tuple[float, float]]) -> bool:
    """Whether volts over time are more than a little, and have stood still for a while."""
    now_s, volts = seen[-1]
    before = [v for time_s, v in seen if time_s < now_s - SETTLED_S]
    return bool(before) and volts > CHARGED_V and abs(volts - before[-1]) < 0.01 * volts


def precharge_s(test: Test) -> float:
    """Seconds from 20 % to 80 % of the supply, during the self-test's precharge."""
    _empty(test)
    bench = test.bench
    bench.link.poll(0)
    bench.link.request("stream", 1)
    try:
        bench.link.tell("selftest")
        rows = _rows(bench, 4.0)
    finally:
        bench.link.request("stream", 0)
    share = rows["supply_v"] / bench.status().terminals_v
    reached = [np.nonzero(share > level)[0] for level in (0.2, 0.8)]
    if not all(len(found) for found in reached):
        raise DataError(f"The bridge supply came to {100 * float(share.max()):.0f} % of the terminals' only.")
    return float(rows["time_s"][reached[1][0]] - rows["time_s"][reached[0][0]])


def _empty(test: Test, left_v: float = 0.0) -> None:
    port = test.bench.link.port
    until_s = port.now() + EMPTY_S
    test.ready()
    while test.bench.status().supply_v > (left_v or EMPTY_V + 0.1 * test.bench.status().terminals_v):
        if port.now() > until_s:
            raise LinkError("The bulk capacitors do not get empty by themselves.")
        test.bench.link.poll(0.5)


def _rows(bench: Bench, seconds: float) -> np.ndarray:
    raw, until_s = b"", bench.link.port.now() + seconds
    while bench.link.port.now() < until_s:
        raw += b"".join(m.tail for m in bench.link.poll(0.05) if m.name == "samples")
    return conversion.decode_rows(raw, int.from_bytes(raw[:4], "little"), bench.units.few)


def of_selftest(test: Test, name: str) -> float:
    """Return the self-test's code or one of its values; it runs when it is first asked for."""
    if test.report is None:
        test.ready()
        code, rows = test.bench.selftest_report()
        test.report = code, {selftest.NAMES[item]: value for item, _failed, value in rows}
    code, values = test.report
    if name == "code":
        if code:
            test.notes.append(f"code {code}: {faults.row(code)[4]}")
        return float(code)
    if name not in values:
        raise DataError(f"The self-test ended before it came to this (code {code}: {faults.row(code)[4]})")
    return float(values[name])


def main_switch_drop_v(test: Test) -> float:
    with test.armed():
        test.bench.link.poll(0.2)
        status = test.bench.status()
        return status.terminals_v - status.supply_v


def main_switch_loaded_v(test: Test) -> float:
    """What the bridge supply loses under the load, with the main switch closed."""
    with test.armed():
        test.bench.link.poll(0.2)
        before_v = test.bench.status().supply_v
        test.jog_for(_load_drive(test), 0.5)
        return before_v - test.bench.status().supply_v


def load_ratio_forward(test: Test) -> float:
    test.load_ohm = test.metered
    return _load_ratio(test, _load_drive(test))


def load_ratio_backward(test: Test) -> float:
    return _load_ratio(test, -_load_drive(test))


def _load_drive(test: Test) -> float:
    return LOAD_DRIVE if test.bench.identity.finer == 1 else FINER_DRIVE


def _load_ratio(test: Test, drive: float) -> float:
    """Resistance by the bench's own volts and amperes, relative to what the ohmmeter said."""
    if math.isnan(test.load_ohm):
        raise DataError("The resistor's value is not known: repeat the step that asks for it.")
    rows = test.driven_rows(drive, 0.5, 0.3)
    current_a = float(rows["current_a"].mean())
    if abs(current_a) < (NO_CURRENT_FEW_A if test.bench.units.few else NO_CURRENT_A):
        raise DataError(f"Only {1000 * current_a:.0f} mA flow: no load, or the bridge does not conduct.")
    across_v = rows["output_a_v"] - rows["output_b_v"]
    if test.bench.units.few:  # nothing measures them
        across_v = rows["drive"] * rows["supply_v"]
    return float(across_v.mean()) / current_a / test.load_ohm


def trips(test: Test) -> float:
    bench = test.bench
    with test.armed(current_max_a=TRIP_A, current_mean_a=TRIP_A, stall_a=TRIP_A):
        before = bench.status().counters["trips"]
        with suppress(Refused):  # the bench gives up, as it should
            test.jog_for(TRIP_DRIVE, 0.5)
        return float(bench.status().counters["trips"] - before)


def estop_stops(test: Test) -> float:
    bench = test.bench
    test.arm()
    try:
        test.jog_for(IDLE_DRIVE, 0.3)
        if test.hands.waits:
            with suppress(Refused), kept_alive(lambda: bench.jog(IDLE_DRIVE)):
                test.hands.press()
        else:
            test.hands.press()
        bench.link.poll(0.1)
        status = bench.status()
        return float(status.state == "latched" and status.fault == faults.ESTOP and status.drive == 0.0)
    finally:
        bench.stop_quietly()


def silence_s(test: Test) -> float:
    """Seconds from the last word until the bench is off."""
    time_s = test.driven_rows(IDLE_DRIVE, 0.3, 1.5)["time_s"]
    return float(time_s[-1] - time_s[0]) if len(time_s) else 0.0


MEASURES: dict[str, Callable[[Test], float]] = {
    function.__name__: function
    for function in (
        board_kind, vin_error_v, bus_error_v, sensor_a_v, feed_v, heatsink_c, part_c,
        current_fine_zero_a, current_coarse_zero_a,
        estop_open, stopped_bus_v, charged_s, precharge_s, main_switch_drop_v,
        main_switch_loaded_v, load_ratio_forward, load_ratio_backward, trips, estop_stops, silence_s,
    )
}  # fmt: skip


def measure(test: Test, what: str) -> float:
    """Return what step ``what`` asks for."""
    if what.startswith("selftest:"):
        return of_selftest(test, what.partition(":")[2])
    return MEASURES[what](test)
