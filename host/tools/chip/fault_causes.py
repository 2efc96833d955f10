"""What makes faults happen on the emulated chip, with the time that docs/safety.md gives each until off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from strokefw import faults
from strokefw.guard import current as guard_current

from tools.chip.faults import HEARTBEAT_MS, HOLD, FaultBench
from tools.evidence.faults.causes import CAUSES, LIMITS

IN_TICK_MS = 1.0
"""What acts in a tick acts within it; and the tick that sees a cause first begins up to a tick after it."""
RAMP_MS = HOLD / LIMITS["slew_per_ms"]
LATE_MS = 1.2
CUT_EVERY_MS = 10
"""Cycles that the simulated bench around the chip cuts in a tick: every other one of the twenty."""
TRIPS_MS = guard_current.TRIPS_FULL / (CUT_EVERY_MS - guard_current.TRIPS_LEAK)
NTC_MS = 100.0
"""docs/safety.md: both thermistors share a converter channel, half of 64 ticks each."""

Begin = Callable[[FaultBench], Callable[[], bool | None]]


@dataclass(frozen=True)
class ChipCause:
    """``begin(bench)`` gives what is called each tick until it is not False; ``most_ms``: off by then."""

    code: int
    what: str
    begin: Begin
    end: Callable[[FaultBench], None]
    most_ms: float
    least_ms: float = 0.0


def _trouble(name: str, value: float = 1.0) -> tuple[Begin, Callable[[FaultBench], None]]:
    def begin(bench: FaultBench) -> Callable[[], None]:
        return lambda: bench.board.bench.set(name, value)

    def end(bench: FaultBench) -> None:
        bench.board.bench.end(name)

    return begin, end


def _by_hand(bench: FaultBench) -> None:
    """The supply's trouble is over; somebody discharges the bridge's capacitors, which takes them seconds."""
    bench.board.bench.end("supply")
    bench.board.plant.bus_v = bench.board.spec.supply_v


def _at_switch(name: str, to_part: bool) -> tuple[Begin, Callable[[FaultBench], None]]:
    """A trouble of the heatsink's thermistor that begins as its converter input goes to one thermistor."""

    def begin(bench: FaultBench) -> Callable[[], bool]:
        select: Any = bench.world.gpio("NTC_SELECT")
        was = [bool(select.output_value)]

        def due() -> bool:
            now = bool(select.output_value)
            changed, was[0] = now != was[0], now
            if not (changed and now == to_part):
                return False
            bench.board.bench.set(name)
            return True

        return due

    return begin, lambda bench: bench.board.bench.end(name)


def _shorted(bench: FaultBench) -> Callable[[], None]:
    cause = next(cause for cause in CAUSES if cause.code == faults.TRIPS)
    return lambda: cause.begin(bench)  # type: ignore[arg-type]


def _mended(bench: FaultBench) -> None:
    next(cause for cause in CAUSES if cause.code == faults.TRIPS).end(bench)  # type: ignore[arg-type]


def _late_tick(bench: FaultBench) -> Callable[[], None]:
    return lambda: bench.hold_back_tick(LATE_MS)


def _nothing(bench: FaultBench) -> None:
    return None


DRIVEN: tuple[ChipCause, ...] = (
    ChipCause(faults.ESTOP, "emergency line open", *_trouble("estop"), 1 + IN_TICK_MS),
    ChipCause(
        faults.TRIPS, "part shorted, the comparator cuts every other cycle",
        _shorted, _mended, TRIPS_MS + IN_TICK_MS, 20,
    ),
    ChipCause(
        faults.TICK_OVERRUN, f"a tick held back by {LATE_MS} ms", _late_tick, _nothing, LATE_MS + IN_TICK_MS
    ),
    ChipCause(
        faults.HEATSINK_NTC_OPEN, "heatsink thermistor open, as its input goes to the other one",
        *_at_switch("heatsink_ntc_open", to_part=True), NTC_MS,
    ),
    ChipCause(
        faults.HEATSINK_NTC_SHORT, "heatsink thermistor shorted, as its input comes from the other one",
        *_at_switch("heatsink_ntc_short", to_part=False), NTC_MS,
    ),
    ChipCause(faults.NO_SUPPLY, "supply cut", *_trouble("supply", 0.0), 2 + IN_TICK_MS),
    ChipCause(
        faults.SUPPLY_LOW, "supply at 9.3 V", *_trouble("supply", 9.3), 20 + RAMP_MS + IN_TICK_MS, 20
    ),
    ChipCause(
        faults.FEED_RANGE, "5 V feed at 4.2 V", *_trouble("feed", 4.2), 21 + RAMP_MS + IN_TICK_MS, 20
    ),
    ChipCause(
        faults.HEARTBEAT_LOST, f"computer silent, limit {HEARTBEAT_MS} ms", *_trouble("link_silent"),
        HEARTBEAT_MS + 1 + RAMP_MS + IN_TICK_MS, HEARTBEAT_MS * 0.7,
    ),
    ChipCause(faults.SUPPLY_HIGH, "supply at 17 V", _trouble("supply", 17.0)[0], _by_hand, 3 + IN_TICK_MS),
)  # fmt: skip
"""Raised while a part is driven, one after the other on one chip."""

WARM_C = 82.0
HOT = ChipCause(faults.HEATSINK_HOT, f"heatsink from {WARM_C:g} to 87 C", *_trouble("heatsink", 87.0), NTC_MS)
"""Raised after a power-up with a warm heatsink: a sudden rise would be taken for a broken thermistor."""

READY: tuple[ChipCause, ...] = (
    ChipCause(faults.ESTOP, "emergency line open", *_trouble("estop"), 0.0),
    ChipCause(faults.HEATSINK_NTC_OPEN, "heatsink thermistor open", *_trouble("heatsink_ntc_open"), 0.0),
)
"""Raised with the bridge off."""
