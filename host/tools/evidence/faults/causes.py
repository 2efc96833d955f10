"""What makes each fault happen on the simulated bench: the causes of the fault matrix."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokefw import channels, faults, state
from strokefw.drive import ramp
from strokefw.guard import limits as guard_limits
from strokefw.sensing import calib

from tools.evidence.rig import Rig

LIMITS: dict[str, int] = {
    "current_max_ma": 14000, "current_mean_ma": 11000, "supply_min_mv": 10000, "supply_max_mv": 16000,
    "slew_per_ms": 100, "drive_min": -10000, "drive_max": 10000, "stall_ms": 30000, "stall_ma": 14000,
    "heartbeat_ms": 500, "i2t_leads_a2s": 3000, "i2t_leads_rest_ma": 20000, "i2t_part_a2s": 600,
    "i2t_part_rest_ma": 4000, "part_temp_max_dc": 1100,
    "flags": guard_limits.PART_EXPECTED | guard_limits.SENSORS,
}  # fmt: skip
HOLD = 2000
SPEC = SimSpec(seed=7)
Segment = tuple[int, ...]


class TamperedBoard(SimBoard):
    """A simulated board whose readings, clock and link can be bent, for what its plant cannot do wrong."""

    tamper: Callable[[Any], None] | None = None
    late_us = 0
    deaf = False

    def scan(self, counts: Any) -> None:
        """Readings, then whatever bends them."""
        super().scan(counts)
        if self.tamper is not None:
            self.tamper(counts)

    def ticks_us(self) -> int:
        """The clock, with the ticks that were lost."""
        return super().ticks_us() + self.late_us & 0x3FFFFFFF

    def write(self, buf: Any, n: int) -> int:
        """Bytes to the host, unless it does not read."""
        return 0 if self.deaf else super().write(buf, n)


def nothing(rig: Rig) -> None:
    """Do nothing."""


@dataclass(frozen=True, eq=False)
class Cause:
    """One way to make fault ``code`` happen.

    ``begin`` and ``end`` the cause, ``each`` tick of it, ``prepare`` the board before power-up. ``hold`` is
    the drive held before, ``segments`` replaces the whole procedure. The cause begins ``at_ms`` after the
    run, or ``lead_ms`` before arming; ``patience`` is how many ms to wait for its effect.
    """

    code: int
    how: str
    begin: Callable[[Rig], None] = nothing
    end: Callable[[Rig], None] = nothing
    each: Callable[[Rig], None] = nothing
    prepare: Callable[[SimBoard], None] = lambda board: None
    limits: Mapping[str, int] = field(default_factory=dict)
    spec: SimSpec = SPEC
    hold: int = HOLD
    segments: tuple[Segment, ...] = ()
    at_ms: int = 800
    lead_ms: int = 0
    patience: int = 1500


def _bench(code: int, how: str, name: str, value: float = 1.0, **more: Any) -> Cause:
    return Cause(
        code, how, lambda rig: rig.board.bench.set(name, value), lambda rig: rig.board.bench.end(name), **more
    )


def _warm(name: str, to_c: float, per_ms: float = 0.015) -> Callable[[Rig], None]:
    def begin(rig: Rig) -> None:
        plant, bench = rig.board.plant, rig.board.bench
        from_c = bench.active.get(name, getattr(plant, f"{name}_c"))
        ticks = round(abs(to_c - from_c) / per_ms)
        for n in range(0, ticks + 8, 8):
            value = from_c + (to_c - from_c) * min(n / ticks, 1)
            bench.at((rig.board.tick + n) * 1e-3, name, value)

    return begin


def _heat(code: int, how: str, name: str, to_c: float, **more: Any) -> Cause:
    return Cause(code, how, _warm(name, to_c), _warm(name, 30.0), patience=7000, lead_ms=6500, **more)


def _add(*shifts: tuple[int, float], while_gate: int | None = None) -> Callable[[Rig], None]:
    def begin(rig: Rig) -> None:
        board = rig.board
        assert isinstance(board, TamperedBoard)

        def bend(counts: Any) -> None:
            if while_gate is None or board.bridge.gate == while_gate:
                for channel, add in shifts:
                    counts[channel] = max(0, min(channels.FULL_SCALE, counts[channel] + round(add)))

        board.tamper = bend

    return begin


def _straight(rig: Rig) -> None:
    assert isinstance(rig.board, TamperedBoard)
    rig.board.tamper = None


def _amps(amps: float, while_gate: int | None = 1) -> Callable[[Rig], None]:
    coarse = amps * 1000 * channels.FULL_SCALE / channels.COARSE_FULL_MA
    fine = amps * 1000 * channels.FULL_SCALE / channels.FINE_FULL_MA
    places = (
        (channels.I_COARSE, coarse),
        (channels.I_FINE, fine),
        (channels.I_MAX, coarse),
        (channels.I_MIN, coarse),
    )
    return _add(*places, while_gate=while_gate)


def _tighter(**changes: int) -> Callable[[Rig], None]:
    def begin(rig: Rig) -> None:
        rig.send("limits", *({**LIMITS, **changes}[name] for name in LIMITS))

    return begin


def _set(name: str, value: Any) -> Callable[[Rig], None]:
    return lambda rig: setattr(rig.board, name, value)


def _winding(ohm: float, henry: float, k_si: float) -> Callable[[Rig], None]:
    def begin(rig: Rig) -> None:
        plant: Any = rig.board.plant
        plant.mover = replace(plant.mover, inductance_h=henry, k_si=k_si)
        plant._resistance_ohm = ohm
        plant._refresh()

    return begin


def _turn_faster(rig: Rig) -> None:
    plant: Any = rig.board.plant
    plant.speed_rad_s *= 2.0


def _loose_mosfet(rig: Rig) -> None:
    rig.app.guard.junction.load(((12000, 20),), 2)
    _amps(54.0)(rig)


_BIG = {
    "current_max_ma": 60000,
    "current_mean_ma": 45000,
    "stall_ma": 60000,
    "i2t_part_rest_ma": 45000,
    "i2t_leads_rest_ma": 45000,
    "i2t_part_a2s": 100000,
    "i2t_leads_a2s": 100000,
}
_NTC = {"flags": LIMITS["flags"] | guard_limits.PART_NTC}
_FAN: tuple[Segment, ...] = (
    (ramp.RAMP, 9500, 2000, 0, 0, 0, 0, 0, 0, 0, 0, 0),
    (ramp.HOLD, 9500, 2500, 0, 0, 0, 0, 0, 0, 0, 0, 0),
    (ramp.STEP, 2000, 3000, 0, 0, 0, 0, 0, 0, 0, 0, 0),
)

CAUSES: tuple[Cause, ...] = (
    _bench(faults.SUPPLY_LOW, "battery at 9.3 V, little load", "supply", 9.3, hold=1500),
    _bench(
        faults.SUPPLY_SAG,
        "1 ohm in the supply, part at its stop",
        "source",
        1.0,
        hold=7000,
        limits={"supply_min_mv": 11000},
    ),
    _bench(faults.SUPPLY_HIGH, "supply at 17 V", "supply", 17.0),
    _bench(faults.NO_SUPPLY, "supply taken away", "supply", 0.0),
    _bench(faults.PRECHARGE, "precharge resistor open", "precharge_open"),
    _bench(faults.SUPPLY_CUT, "main switch opens by itself", "main_open", patience=8000),
    _bench(faults.ESTOP, "emergency stop pressed", "estop"),
    _bench(faults.LEG_HIGH, "high-side MOSFET shorted", "mosfet_short_ah"),
    _bench(faults.LEG_LOW, "low-side MOSFET shorted", "mosfet_short_al"),
    Cause(
        faults.LEG_DIFFER,
        "sense divider of output B reads 20 % high",
        _add((channels.LEG_B, 2600.0)),
        _straight,
    ),
    _bench(faults.LEG_PULSE, "low-side MOSFET does not switch on", "mosfet_open_bl"),
    _bench(faults.LEG_FOLLOW, "high-side MOSFET does not switch on", "mosfet_open_ah"),
    Cause(
        faults.CURRENT_PEAK,
        "peaks of 16 A that the comparator does not cut",
        _add((channels.I_MAX, 6353.0), while_gate=1),
        _straight,
    ),
    Cause(
        faults.CURRENT_MEAN,
        "15 A that no drive asks for",
        _amps(15.0),
        _straight,
        limits={"current_max_ma": 18000},
    ),
    Cause(
        faults.TRIPS, "part shorted while it runs", _winding(0.002, 1e-4, 1e-3), _winding(1.5, 1.5e-3, 0.383)
    ),
    Cause(faults.BUDGET_BENCH, "55 A", _amps(54.0), _straight, limits=_BIG, patience=16000),
    Cause(
        faults.BUDGET_LEADS,
        "leads' budget cut to 1 A2s above 0.5 A",
        _tighter(i2t_leads_a2s=1, i2t_leads_rest_ma=500),
        patience=4000,
    ),
    Cause(
        faults.BUDGET_PART,
        "part's budget cut to 1 A2s above 0.5 A",
        _tighter(i2t_part_a2s=1, i2t_part_rest_ma=500),
        patience=4000,
    ),
    Cause(
        faults.STALL,
        "stall allowed only 200 ms above 0.5 A",
        _tighter(stall_ms=200, stall_ma=500),
        at_ms=2000,
    ),
    Cause(faults.CURRENT_OFF, "1 A that flows with the bridge off", _amps(1.0, 0), _straight),
    Cause(faults.FOLDBACK, "mean limit cut to 0.8 A", _tighter(current_mean_ma=800), patience=300),
    _heat(faults.HEATSINK_HOT, "heatsink warms to 90 C", "heatsink", 90.0),
    Cause(
        faults.JUNCTION_HOT,
        "MOSFET loose on its heatsink (12 K/W) at 55 A",
        _loose_mosfet,
        _straight,
        limits=_BIG,
        spec=SimSpec(seed=7, ambient_c=60.0),
    ),
    _heat(faults.PART_HOT, "part warms to 115 C", "part", 115.0, limits=_NTC),
    _heat(faults.DERATING, "heatsink warms to 77 C", "heatsink", 77.0),
    _bench(faults.HEATSINK_NTC_OPEN, "heatsink sensor unplugged", "heatsink_ntc_open"),
    _bench(faults.HEATSINK_NTC_SHORT, "heatsink sensor shorted", "heatsink_ntc_short"),
    _bench(faults.HEATSINK_NTC_STEP, "heatsink sensor jumps to 60 C", "heatsink", 60.0),
    _bench(faults.PART_NTC_OPEN, "part's sensor unplugged", "part_ntc_open", limits=_NTC),
    _bench(faults.PART_NTC_SHORT, "part's sensor shorted", "part_ntc_short", limits=_NTC),
    _bench(faults.PART_NTC_STEP, "part's sensor jumps to 60 C", "part", 60.0, limits=_NTC),
    _bench(faults.FEED_RANGE, "5 V feed at 4.2 V", "feed", 4.2),
    _bench(faults.RANGES_DIFFER, "fine current amplifier 2 A off", "fine_zero", 2.0),
    _bench(faults.HEARTBEAT_LOST, "computer silent", "link_silent", patience=7000),
    Cause(faults.BAD_FRAMES, "noise on the link", each=lambda rig: rig.board.hear(b"\x07noise\0")),
    Cause(
        faults.SAMPLES_DROPPED,
        "computer does not read",
        _set("deaf", True),
        _set("deaf", False),
        patience=3000,
    ),
    Cause(
        faults.CALIBRATION,
        "calibration record damaged",
        prepare=lambda board: board.store(calib.SLOT, b"x" * 64),
    ),
    _bench(faults.CURRENT_ZERO, "fine current amplifier 0.15 A off", "fine_zero", 0.15),
    _bench(faults.REFERENCE, "5 V feed at 4.65 V", "feed", 4.65),
    _bench(faults.OPEN_LOAD, "leads off the part", "leads_off"),
    Cause(faults.SHORTED_LOAD, "part shorted", _winding(0.002, 1e-4, 1e-3), _winding(1.5, 1.5e-3, 0.383)),
    Cause(
        faults.CHECK_TIMEOUT,
        "sense divider of the bridge's supply reads 25 % high",
        _add((channels.BUS, 8200.0)),
        _straight,
    ),
    _bench(faults.FAST_LIMIT, "the fast current limit's comparators are dead", "comparator_dead"),
    Cause(faults.TICK_OVERRUN, "one tick comes 1.2 ms late", _set("late_us", 1200)),
    Cause(faults.WATCHDOG_RESET, "started by the watchdog", prepare=lambda board: setattr(board, "cause", 1)),
    Cause(faults.INTERNAL, "a forbidden change of state, forced", lambda rig: rig.app._move(state.OFF)),
    Cause(
        faults.REGEN_SLOWED,
        "fan slowed quickly, supply cannot take current back",
        segments=_FAN,
        at_ms=4490,
        spec=SimSpec(part="cooling-fan", seed=7),
        limits=_BIG,
        patience=1500,
    ),
    Cause(
        faults.REGEN_HIGH,
        "a fan's blades are turned from outside, twice as fast",
        _turn_faster,
        segments=_FAN,
        at_ms=4000,
        patience=1500,
        spec=SimSpec(part="cooling-fan", seed=7),
        limits=_BIG,
    ),
)
