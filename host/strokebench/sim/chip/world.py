"""The simulated bench and part, attached to the pins of the emulated chip.

Every emulated millisecond the pins' mean states of that millisecond become the simulated board's outputs,
the board (plant, battery, troubles of the bench) goes on by one tick, and what it measures is what the
converters' inputs show for the next millisecond: the chip's own converter PWM-resolved (125 readings per
channel and tick), the external one by its channels. The comparator pulls TRIP_N once for each PWM period
that the plant says was cut.
"""

from __future__ import annotations

import math
from array import array
from typing import TYPE_CHECKING, Any

import numpy as np
from strokefw import channels as ch
from strokefw.pico import pins

from strokebench.sim.board.board import SimBoard
from strokebench.sim.board.converter import CODES, FAST_NOISE, LEFT
from strokebench.sim.chip import peripherals
from strokebench.sim.chip.machine import ChipMachine

if TYPE_CHECKING:
    from numpy.typing import NDArray

TICK_NS = 1_000_000
GROUPS, GROUP_US = 125, 8.0
"""Readings of each of the chip's channels in a tick, in turn."""
ROUND_ROBIN_SHIFT, ADC_MHZ = 16, 48.0
"""RP2040 datasheet 4.9: RROBIN in CS, and the converter's clock."""
PERIOD_NS = 50_000
GATES = ("A_HIGH", "A_LOW", "B_HIGH", "B_LOW")
ADC_CHANNELS = (ch.I_COARSE, ch.I_FINE, ch.BUS)
EXTERNAL = (ch.SENSOR_A, ch.SENSOR_B, ch.I_FINE, ch.LEG_A, ch.LEG_B, ch.NTC_HEATSINK, ch.VIN, ch.FEED)
TRIP_V_PER_A = 0.02
"""Of the reference bench; ten times as much on the small one."""
KIND_STRAPS = {0: False, 1: True}
LAMP_STRAP = 4
"""The kind whose strap is tied to the lamp."""


class PinClock:
    """How long an output was high since the last look, in ns, and whether it is now."""

    def __init__(self, machine: ChipMachine, net: str) -> None:
        self.net = net
        self.pin: Any = machine.mcu.gpio[pins.gpio(net)]
        self._machine = machine
        self.high = int(self.pin.value) == 1
        self.since_ns = machine.now_ns
        self._total_ns = 0.0
        self.pin.add_listener(self._on_change)

    def _on_change(self, value: int, _last: int) -> None:
        high = value == 1
        if high == self.high:
            return
        now = self._machine.now_ns
        if self.high:
            self._total_ns += now - self.since_ns
        self.high = high
        self.since_ns = now
        self.changed(high, now)

    def changed(self, high: bool, now_ns: float) -> None:
        """Called at each edge; for others to replace."""

    def take_ns(self) -> float:
        """Time high since the last call."""
        now = self._machine.now_ns
        total = self._total_ns
        if self.high:
            total += now - self.since_ns
            self.since_ns = now
        self._total_ns = 0.0
        return total


class ChipWorld:
    """Couples ``board`` (a :class:`SimBoard`) to ``machine``; ``kind`` is what the strap says (0, 1, 4, or 3
    = none).
    """

    def __init__(self, machine: ChipMachine, board: SimBoard, kind: int = 0) -> None:
        self.machine = machine
        self.board = board
        mcu = machine.mcu
        peripherals.mend_converter(mcu)
        peripherals.mend_pwm_requests(mcu)
        peripherals.mend_fifos(mcu)
        self.clocks = {
            net: PinClock(machine, net) for net in (*GATES, "BRIDGE_ENABLE", "PRECHARGE", "MAIN_SWITCH")
        }
        for net in GATES:
            self.clocks[net].changed = self._pulse_watch(net)  # type: ignore[method-assign]
        self._latch = False
        self._latches = board.plant.conditions.stage.latches
        self._few = board.kind() == ch.FEW
        self._pulsed: tuple[int, int] | None = None
        self.fed_ns = -1e12
        self.gpio("LATCH_ARM").add_listener(self._on_latch_arm)
        self.gpio("WATCHDOG").add_listener(self._on_watchdog)
        self._counts = array("H", [0] * ch.N_CHANNELS)
        self._codes: list[list[int]] = [[0] * GROUPS for _ in range(4)]
        self._taken = [0, 0, 0, 0, 0]
        self._dither = np.random.default_rng((board.spec.seed, 11)).random(4096).tolist()
        self._noise = np.random.default_rng((board.spec.seed, 12)).normal(0, 1, 1 << 16)
        self._at = 0
        self.inputs = peripherals.ChipInputs(mcu, self._chip_code)
        nets = {net: pins.gpio(net) for net in ("CONV_CS_N", "CONV_CLK", "CONV_DIN", "CONV_DOUT")}
        self.external = peripherals.ExternalInputs(mcu, nets, self._external_code)
        for net, level in (
            ("TRIP_N", True),
            ("LATCH_OK", False),
            ("ESTOP_OPEN", self._few),
            ("CHOPPER_ON", False),
        ):
            self.gpio(net).set_input_value(level)
        if kind in KIND_STRAPS:
            self.gpio("BOARD_KIND").set_input_value(KIND_STRAPS[kind])
        elif kind == LAMP_STRAP:
            strap, lamp = self.gpio("BOARD_KIND"), self.gpio("LED")
            strap.set_input_value(int(lamp.value) == 1)
            lamp.add_listener(lambda value, _last: strap.set_input_value(value == 1))
        self._cuts_left = 0
        self._cut_alarm = machine.alarm(self._cut)
        self._tripped = False
        self._release_alarm = machine.alarm(lambda: self.gpio("TRIP_N").set_input_value(not self._tripped))
        self._refresh()
        self._ticked_ns = machine.now_ns
        self._alarm = machine.alarm(self._tick)
        self._alarm.schedule(TICK_NS)
        self._follow_timer()

    def gpio(self, net: str) -> Any:
        """The emulated pin of a net of the pin table."""
        return self.machine.mcu.gpio[pins.gpio(net)]

    def _follow_timer(self) -> None:
        # a millisecond here ends when the firmware's timer strikes, so that a tick reads whole milliseconds
        timer = self.machine.mcu.timer
        fire = timer._fire_alarm

        def strike(index: int) -> None:
            if self.machine.now_ns - self._ticked_ns >= 0.9 * TICK_NS:
                self._alarm.cancel()
                self._tick()
            fire(index)

        timer._fire_alarm = strike

    # -- what the chip does to the world
    # -------------------------------------------------------------------------

    def _on_latch_arm(self, value: int, _last: int) -> None:
        if value == 1 and self._latches:
            self._set_latch(True)

    def _set_latch(self, is_set: bool) -> None:
        self._latch = is_set
        self.gpio("LATCH_OK").set_input_value(is_set)

    def _on_watchdog(self, value: int, _last: int) -> None:
        if value == 1:
            self.fed_ns = self.machine.now_ns
            self.board.watchdog()
            if not self._latches and not self._latch and not self.board.estop():
                self._set_latch(True)

    def _pulse_watch(self, net: str) -> Any:
        """Edges of one gate input: high alone for longer than PWM can be is a pulse of the self-test."""
        leg, side = (0 if net[0] == "A" else 1), int(net.endswith("HIGH"))
        started = 0.0

        def alone() -> bool:
            others = any(self.clocks[other].high for other in GATES if other != net)
            return not others and self.clocks["BRIDGE_ENABLE"].high

        def look() -> None:
            if self.clocks[net].high and alone():
                self._pulsed = (leg, side)

        later = self.machine.alarm(look)

        def changed(high: bool, now_ns: float) -> None:
            nonlocal started
            self._pulsed = None
            if high:
                started = now_ns
                later.schedule(2 * PERIOD_NS)
            elif alone() and now_ns - started > 2 * PERIOD_NS:
                self.board.pulse(leg, side, round((now_ns - started) / 1000))

        return changed

    def _pulsed_leg(self, leg: int) -> float:
        """Counts of a leg while a pulse is on: at once, not with the next tick."""
        bridge, converter = self.board.bridge, self.board.converter
        assert self._pulsed is not None
        on = list(bridge._shorted) + ([self._pulsed] if self._pulsed not in bridge._dead else [])
        channel = (ch.LEG_A, ch.LEG_B)[leg]
        counts: float = bridge._levels(on)[leg] * converter.gain[channel] + converter.zero[channel]
        return counts

    def _tick(self) -> None:
        board = self.board
        passed_ns = self.machine.now_ns - self._ticked_ns
        self._ticked_ns = self.machine.now_ns
        on = {net: clock.take_ns() / passed_ns for net, clock in self.clocks.items()}
        alive = self.machine.now_ns - self.fed_ns < 10 * TICK_NS
        gate = int(on["BRIDGE_ENABLE"] > 0.2 and self._latch and alive)
        gates_used = on["A_LOW"] + on["B_LOW"] + on["A_HIGH"] + on["B_HIGH"] > 1.5
        board.drive(round((on["A_HIGH"] - on["B_HIGH"]) * 10000), int(gate and gates_used))
        main = self.clocks["MAIN_SWITCH"].high and self._latch and alive
        board.rail(2 if main else int(self.clocks["PRECHARGE"].high))
        compare = self.machine.mcu.pwm.channels[4].alarm_a.target
        board.trip_level(round((compare / 2048 * 3.3 - 1.65) / (TRIP_V_PER_A * board.finer) * 1000))
        board.step()
        peak_a = max(board.plant.current_max_a, -board.plant.current_min_a)
        # without a latch the pin is the watchdog's yes, which the stop button takes away
        stopped = not alive or bool(board.estop())
        fell = peak_a > board.plant.conditions.stage.hard_trip_a if self._latches else stopped
        if fell and self._latch:
            self._set_latch(False)
        self.gpio("ESTOP_OPEN").set_input_value(bool(board.estop()) != self._few)
        self._tripped = not gate and bool(board.tripped())
        self.gpio("TRIP_N").set_input_value(not self._tripped)
        self._cuts_left = board.trips()
        if self._cuts_left:
            self._cut_alarm.schedule(PERIOD_NS / 2)
        self._refresh()
        self._alarm.schedule(1.05 * TICK_NS)

    def _cut(self) -> None:
        self.gpio("TRIP_N").set_input_value(False)
        self._release_alarm.schedule(1000)
        self._cuts_left -= 1
        if self._cuts_left > 0:
            self._cut_alarm.schedule(PERIOD_NS)

    # -- what the chip sees of it
    # --------------------------------------------------------------------------------

    def _refresh(self) -> None:
        board, plant, converter = self.board, self.board.plant, self.board.converter
        board.scan(self._counts)
        self._taken = [0, 0, 0, 0, 0]
        at_us = self._sampled_at_us()
        amps = _ripple(at_us, plant.current_a, plant.current_min_a, plant.current_max_a)
        gain, zero = converter.gain, converter.zero
        volts = np.full(len(at_us), plant.bus_v)
        for i, (channel, values) in enumerate(zip(ADC_CHANNELS, (amps, amps, volts), strict=True)):
            self._codes[i] = self._codes_of(values * gain[channel] + zero[channel])
        if self._few:  # the sensor is where the fine current is else
            sensor_v = np.full(len(at_us), board.sensor_a_v)
            self._codes[1] = self._codes_of(sensor_v * gain[ch.SENSOR_A] + zero[ch.SENSOR_A])

    def _sampled_at_us(self) -> NDArray[np.float64]:
        """Times within a tick at which one channel of the chip's converter is read: in turn with the others,
        or alone and at its own rate in a burst."""
        adc: Any = self.machine.mcu.adc
        if adc.cs >> ROUND_ROBIN_SHIFT & 31:
            return np.asarray(np.arange(GROUPS) * GROUP_US, np.float64)
        step_us = max(float(adc.sample_time), adc.divider / ADC_MHZ)
        return np.asarray(np.arange(math.ceil(1000 / step_us)) * step_us, np.float64)

    def _codes_of(self, counts: NDArray[np.float64]) -> list[int]:
        codes = counts / LEFT
        if not self.board.converter.ideal:
            count = len(codes)
            self._at = (self._at + count) % (len(self._noise) - count)
            codes = codes + FAST_NOISE * self._noise[self._at : self._at + count]
            bend = np.asarray(self.board.converter.bend[ch.BUS]) / LEFT
            codes = codes + bend[np.clip(codes, 0, CODES - 1).astype(int)]
        return [int(code) for code in np.clip(np.round(codes), 0, CODES - 1)]

    def _chip_code(self, channel: int) -> int:
        if channel > 2:
            return 2048
        taken = self._taken[channel]
        self._taken[channel] = taken + 1
        codes = self._codes[channel]
        return codes[taken % len(codes)]

    def _external_code(self, channel: int) -> int:
        source = EXTERNAL[channel]
        if channel == 5 and self.gpio("NTC_SELECT").output_value:
            source = ch.NTC_PART
        self._at = (self._at + 1) % (len(self._noise) - GROUPS)
        counts: float = self._counts[source]
        if self._pulsed is not None and channel in (3, 4):
            counts = self._pulsed_leg(channel - 3)
        code = int(counts / LEFT + self._dither[self._at & 4095])
        return max(0, min(code, CODES - 1))


def _ripple(at_us: NDArray[np.float64], mean: float, low: float, high: float) -> NDArray[np.float64]:
    """Current at times of a tick: a triangle in the PWM's period around ``mean``."""
    phase = at_us * 1e3 % PERIOD_NS / PERIOD_NS
    return np.asarray(mean + max(high - low, 0.0) * (np.abs(2 * phase - 1) - 0.5))
