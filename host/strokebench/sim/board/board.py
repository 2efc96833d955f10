"""The simulated board: what the firmware's app knows as a Board, on top of a plant.

Each simulated millisecond: ``SimBoard.step`` (the plant goes on with the outputs as they stand), then the
firmware's tick and service.  Everything random is drawn from the seed, so the same seed and requests give
the same bytes whoever runs the firmware.
"""

from __future__ import annotations

import math
from array import array
from dataclasses import replace
from math import nan, pi, sin
from typing import TYPE_CHECKING, Any

from strokefw import channels as ch
from strokefw.slots import Slots

from strokebench.bench.kinds import BOARDS, few_of
from strokebench.bench.spec import SimSpec
from strokebench.physics.ntc import resistance_ohm
from strokebench.sim.board.as_built import Built, built, late_share
from strokebench.sim.board.bridge import Bridge
from strokebench.sim.board.burst import BurstCapture, RawCapture
from strokebench.sim.board.converter import ROWS, Converter
from strokebench.sim.board.troubles import BenchFaults
from strokebench.sim.micropython_side.burst_rate import allowed, raw_allowed
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.base import Plant

KINDS = {"reference": 2, "small": 1, "beginner": 4}
"""By the bench of a spec: 2 is the simulated bench, which is like the reference bench."""
FULL = ch.FULL_SCALE
LOW, HIGH = 128.0, FULL - 128.0  # between them no curvature can push a reading out of the range
SENSOR_SHARE = 1 - math.exp(-1e-3 / 0.64e-3)  # input filter 100k || 180k with 10 nF, one tick
NTC_TICKS = 16
LEVEL_TICKS = 1.1
"""The fast limit's level behind 1 kOhm and 1 uF, at the end of their tolerance."""
LEVEL_AT_REST_MA = -82_500
"""Of the reference bench: nothing comes out of the pin yet."""
RIPPLE_HZ = 100.0  # a charger that rectifies both half waves of a 50 Hz mains
SLOTS = 4  # records that the firmware keeps are numbered below this
SCRATCH = 8  # halfwords that the chip keeps over a reset
NTC_BETA_K = 3950.0


def ntc_counts(celsius: float) -> float:
    """Counts of a 10 k B3950 thermistor to ground with its pull-up to the reference."""
    ohm = resistance_ohm(celsius, NTC_BETA_K)
    return float(FULL * ohm / (ohm + ch.NTC_PULLUP_OHM))


class SimBoard:
    """Board methods of the firmware on a plant; ``to_host`` and ``from_host`` are the link's bytes.

    ``bench`` holds the troubles of the bench itself; ``tick`` counts simulated milliseconds.
    """

    def __init__(self, spec: SimSpec, plant: Plant | None = None, ideal: bool = False) -> None:
        self.spec = spec
        self.plant = make_plant(spec) if plant is None else plant
        self.bench = BenchFaults(spec.bench_faults)
        self._kind = KINDS[spec.bench]
        self.finer = ch.FINER[self._kind]
        chopper = not self.plant.conditions.stage.returns
        self.built = built(spec.seed, self.finer, chopper) if spec.as_built else Built()
        if not ideal and few_of(BOARDS[self._kind]):
            self.built = replace(self.built, late_share=late_share(spec.seed))
        if self.built.chopper_v:
            self.plant.clamp_v = self.built.chopper_v
        self._watchdog_ticks = self.built.watchdog_ticks
        self.bridge = Bridge(self.plant, spec.seed, self.built)
        self._few = few_of(BOARDS[self._kind])
        self.converter = Converter(spec.seed, ideal, spec.as_built, self.finer, self._few)
        if self._few:  # feed and reference are one: what the sensor gives is seen as a share of it
            self.plant.good_feed_v = 5.0
        self.tick = 0
        self.from_host = bytearray()
        self.to_host = bytearray()
        self.led_on = 0
        self.cause = 0
        self.scratch = array("H", bytes(2 * SCRATCH))
        self._flash = Slots(spec.memory) if spec.memory else None
        self.slots: dict[int, bytes] = self._remembered()
        self.capture: BurstCapture | None = None
        self.raw: RawCapture | None = None
        self._row_at = 0
        self._sensor_a_v = self._sensor_b_v = 0.0
        self._ntc_heatsink = self._ntc_part = 0.0
        self._trips = 0
        self._level_ma, self._level_tick = LEVEL_AT_REST_MA // self.finer, 0
        self._level_was_a = self._level_ma * 1e-3
        self._fed_tick = 0
        self._fine_zero = 0.0
        self._bench_seen = -1
        self._look_at_bench()
        self._read_ntcs()

    # -- time ------------------------------------------------------------------------------------------------

    def step(self) -> None:
        """Let one millisecond pass: troubles due, plant, filters, bursts."""
        bench = self.bench
        now_s = (self.tick + 1) * 1e-3
        if bench.next_s <= now_s:
            bench.go_on(now_s)
        if bench.version != self._bench_seen:
            self._look_at_bench()
        if self._ripple_v:
            self.plant.source_v = self._source_v + self._ripple_v * sin(2 * pi * RIPPLE_HZ * now_s)
        self.go_on()
        if self.capture is not None:
            self.capture.feed(self.plant, self.converter)
            self.plant.fine = not self.capture.ready or self.raw is not None
        if self.raw is not None:
            self.raw.feed(self.plant, self.converter)

    def go_on(self) -> None:
        """What is the same in every millisecond: watchdog, bridge and plant, filters, thermistors."""
        tick = self.tick = self.tick + 1
        bridge, plant = self.bridge, self.plant
        if tick - self._fed_tick > self._watchdog_ticks:
            bridge.gate = 0
        bridge.advance()
        self._trips += plant.cycles_cut
        self._sensor_a_v += (plant.sensor_a_v - self._sensor_a_v) * SENSOR_SHARE
        self._sensor_b_v += (plant.sensor_b_v - self._sensor_b_v) * SENSOR_SHARE
        self._row_at = tick % ROWS
        if tick % NTC_TICKS == 0:
            self._read_ntcs()

    def _look_at_bench(self) -> None:
        active, plant = self.bench.active, self.plant
        self._bench_seen = self.bench.version
        self.bridge.look(active)
        plant.source_v = self._source_v = active.get("supply", plant.conditions.supply_v)
        self._ripple_v = 0.5 * active.get("ripple", 0.0)
        plant.source_ohm = active.get("source", plant.conditions.source_ohm)
        plant.feed_v = active.get("feed", plant.good_feed_v)
        cut = "estop" in active or "precharge_open" in active
        plant.charged = plant.conditions.stage.charged and not cut
        self._fine_zero = active.get("fine_zero", 0.0) * self.converter.gain[ch.I_FINE]
        self._estop = 1 if "estop" in active else 0
        self._forced_heatsink_c = active.get("heatsink", nan)
        self._forced_part_c = active.get("part", nan)
        self._broken_heatsink = _broken_ntc("heatsink", active)
        self._broken_part = _broken_ntc("part", active)
        self._read_ntcs()

    def _read_ntcs(self) -> None:
        plant = self.plant
        if self._forced_heatsink_c == self._forced_heatsink_c:
            plant.heatsink_c = self._forced_heatsink_c
        if self._forced_part_c == self._forced_part_c:
            plant.part_c = self._forced_part_c
        self._ntc_heatsink = self._ntc("heatsink", plant.heatsink_c)
        self._ntc_part = self._ntc("part", plant.part_c)

    def _ntc(self, which: str, celsius: float) -> float:
        if self._few:
            return 0.0
        broken = self._broken_heatsink if which == "heatsink" else self._broken_part
        return ntc_counts(celsius) if broken < 0.0 else broken

    @property
    def sensor_a_v(self) -> float:
        """Volts of sensor A behind its input filter."""
        return self._sensor_a_v

    # -- what the firmware's tick calls ----------------------------------------------------------------------

    def scan(self, counts: array[int]) -> None:
        """One tick's readings; see ``strokefw.channels`` for order and scale.

        Written out flat, because it runs each simulated millisecond; channels whose curvature matters to
        nobody (leg and terminal volts, feed, thermistors) are left straight.
        """
        plant, gain, bend = self.plant, self.converter.gain, self.converter.bend
        row = self.converter.rows[self._row_at]
        amps = plant.current_a
        x = amps * gain[0] + row[0]
        counts[0] = int(x + bend[0][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = amps * gain[1] + row[1] + self._fine_zero
        counts[1] = int(x + bend[1][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = plant.bus_v * gain[2] + row[2]
        counts[2] = int(x + bend[2][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = plant.vin_v * gain[3] + row[3]
        counts[3] = int(x) if LOW < x < HIGH else _clipped(x)
        x = plant.leg_a_v * gain[4] + row[4]
        counts[4] = int(x) if LOW < x < HIGH else _clipped(x)
        x = plant.leg_b_v * gain[5] + row[5]
        counts[5] = int(x) if LOW < x < HIGH else _clipped(x)
        x = self._sensor_a_v * gain[6] + row[6]
        counts[6] = int(x + bend[6][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = self._sensor_b_v * gain[7] + row[7]
        counts[7] = int(x + bend[7][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = plant.feed_v * gain[8] + row[8]
        counts[8] = int(x) if LOW < x < HIGH else _clipped(x)
        x = self._ntc_heatsink + row[9]
        counts[9] = int(x) if LOW < x < HIGH else _clipped(x)
        x = self._ntc_part + row[10]
        counts[10] = int(x) if LOW < x < HIGH else _clipped(x)
        x = plant.current_max_a * gain[11] + row[11]
        counts[11] = int(x + bend[11][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)
        x = plant.current_min_a * gain[12] + row[12]
        counts[12] = int(x + bend[12][int(x) >> 4]) if LOW < x < HIGH else _clipped(x)

    def drive(self, drive: int, gate: int) -> None:
        """Set the bridge: ``drive`` -10000..10000, ``gate`` 0 = all MOSFETs off."""
        self.bridge.drive = drive
        self.bridge.gate = gate

    def trips(self) -> int:
        """Return the PWM cycles cut since the last call."""
        count, self._trips = self._trips, 0
        return count

    def trip_level(self, ma: int) -> None:
        """Set the fast current limit's level."""
        if ma != self._level_ma:
            self._level_was_a, self._level_ma, self._level_tick = self._level_a(), ma, self.tick
            self.bridge.set_trip(ma * 1e-3)

    def tripped(self) -> int:
        """Return 1 while a comparator of the fast current limit trips, with the bridge off."""
        return int(self.bridge.tripped(self._level_a()))

    def _level_a(self) -> float:
        """The fast limit's level behind its filter."""
        left = math.exp((self._level_tick - self.tick) / LEVEL_TICKS)
        return float(self._level_ma * 1e-3 + (self._level_was_a - self._level_ma * 1e-3) * left)

    def rail(self, mode: int) -> None:
        """0 open, 1 precharge, 2 main switch closed."""
        self.bridge.rail = mode

    def pulse(self, leg: int, side: int, us: int) -> None:
        """Switch one MOSFET alone on within the next tick (leg 0/1, side 0 low / 1 high)."""
        self.bridge.pulse(leg, side, us)

    def led(self, on: int) -> None:
        self.led_on = on

    def watchdog(self) -> None:
        self._fed_tick = self.tick

    def estop(self) -> int:
        """Return 1 while the emergency line is open."""
        return self._estop

    def ticks_us(self) -> int:
        return self.tick * 1000 & 0x3FFFFFFF

    def reset_cause(self) -> int:
        return self.cause

    def keep(self, record: array[int]) -> None:
        """Keep ``record`` over a reset of the firmware, as the chip's scratch registers do."""
        for place in range(len(record)):
            self.scratch[place] = record[place]

    def kept(self, record: array[int]) -> None:
        """Fill in what another board of this part kept before its firmware was reset, if it was handed on."""
        for place in range(len(record)):
            record[place] = self.scratch[place]

    # -- link, bursts, storage -------------------------------------------------------------------------------

    def read(self, buf: bytearray) -> int:
        """Take bytes from the host into ``buf``; return how many."""
        waiting = self.from_host
        n = min(len(buf), len(waiting))
        if n:
            buf[:n] = waiting[:n]
            del waiting[:n]
        return n

    def write(self, buf: Any, n: int) -> int:
        """Hand ``n`` bytes to the host; all are taken."""
        self.to_host += buf[:n]
        return n

    def hear(self, data: bytes) -> None:
        """Bytes from the host arrive (nothing does while the link is silent)."""
        if "link_silent" not in self.bench.active:
            self.from_host += data

    def burst_start(self, channel: int, rate_hz: int, count: int, pre: int) -> int:
        """Begin a capture; return the actual rate, 0 when it cannot be done."""
        absent = self._few and channel == ch.I_FINE
        rate: int = 0 if absent else allowed(channel, rate_hz, count)  # type: ignore[no-untyped-call]
        self.capture = BurstCapture(channel, rate, count, pre) if rate else None
        self.plant.fine = rate > 0 or self.raw is not None
        return rate

    def burst_trigger(self) -> None:
        if self.capture is not None:
            self.capture.trigger()

    def burst_ready(self) -> int:
        return 1 if self.capture is not None and self.capture.ready else 0

    def burst_copy(self, offset: int, buf: Any) -> int:
        """Copy captured counts (uint16 little endian) from value ``offset`` on; return how many bytes."""
        data = self.capture.data if self.capture is not None else b""
        piece = data[2 * offset : 2 * offset + len(buf)]
        buf[: len(piece)] = piece
        return len(piece)

    def raw_start(self, channel: int, rate_hz: int) -> int:
        """Begin an endless stream; return the actual rate."""
        self.raw = RawCapture(channel, rate_hz)
        self.plant.fine = True
        return int(raw_allowed(rate_hz))  # type: ignore[no-untyped-call]

    def raw_stop(self) -> None:
        self.raw = None
        self.plant.fine = self.capture is not None and not self.capture.ready

    def raw_head(self) -> int:
        return self.raw.head if self.raw is not None else 0

    def raw_oldest(self) -> int:
        return int(self.raw.oldest()) if self.raw is not None else 0  # type: ignore[no-untyped-call]

    def raw_copy(self, first: int, buf: Any, count: int) -> int:
        """Pack ``count`` readings from number ``first`` on; return how many bytes."""
        return int(self.raw.copy(first, buf, count)) if self.raw is not None else 0  # type: ignore[no-untyped-call]

    def load(self, slot: int) -> bytes | None:
        return self.slots.get(slot)

    def store(self, slot: int, data: bytes) -> None:
        self.slots[slot] = bytes(data)
        if self._flash is not None:
            self._flash.store(slot, data)

    def _remembered(self) -> dict[int, bytes]:
        found = {} if self._flash is None else {slot: self._flash.load(slot) for slot in range(SLOTS)}
        return {slot: data for slot, data in found.items() if data is not None}

    def stack_max(self) -> int:
        return 0

    def uid(self) -> bytes:
        return b"SIM" + (self.spec.seed % (1 << 40)).to_bytes(5, "big")

    def kind(self) -> int:
        return self._kind


if TYPE_CHECKING:  # the type checker compares it with what the firmware calls
    from strokebench.link.board import Board

    _BOARD: type[Board] = SimBoard


def _broken_ntc(which: str, active: dict[str, float]) -> float:
    """Counts of a thermistor that is broken; below 0 when it is not."""
    if f"{which}_ntc_open" in active:
        return float(FULL)
    return 0.0 if f"{which}_ntc_short" in active else -1.0


def _clipped(ideal: float) -> int:
    """A reading near or beyond the ends of the range, where the curvature is left out."""
    return 0 if ideal < 0.0 else FULL if ideal > FULL else int(ideal)
