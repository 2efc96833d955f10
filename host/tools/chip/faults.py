"""Faults raised on the emulated chip while it drives a part, and the time from each to the bridge off.

The cause acts on the simulated bench around the chip (or on the chip itself: a held-back timer, a hung
processor, a reset), the effect is read off the chip's pins. All times are emulated ones.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from strokebench.bench.spec import SimSpec
from strokebench.errors import Refused
from strokebench.link import conversion
from strokebench.link.conversion import Status
from strokebench.link.link import Link
from strokebench.sim.chip import flash
from strokebench.sim.chip.world import GATES
from strokebench.sim.engine import chip
from strokebench.sim.engine.chip import ChipPort
from strokefw import state
from strokefw.drive import ramp

from tools.evidence.faults.causes import LIMITS, TamperedBoard

HEARTBEAT_MS = 100
HOLD = 2000
"""Drive while the cause begins, in 1/10000."""
RAMP_MS = 20
BEAT_S = 0.02
SETTLE_S = 0.06
STORED_S = 2.0
"""Twice two erases at their slowest."""
NEIGHBOUR_NS = 100_000
STAYS_OFF_NS = 3e6
CLEAR_TRIES = 40
SPEC = SimSpec("throttle-body", seed=7)
PARKING = 0x20040000  # the second core's memory, which nothing uses
BRANCH_TO_SELF = 0xE7FE


class CausedBoard(TamperedBoard):
    """A simulated board on which a cause begins with a tick: ``due`` is called before each until it has."""

    due: Callable[[], bool] | None = None

    def step(self) -> None:
        """Let the cause begin, if it is due, then a millisecond pass."""
        if self.due is not None and self.due():
            self.due = None
        super().step()


@dataclass(frozen=True)
class Outcome:
    """What a fault came to.

    ``code`` first reported (0: none), ``off_ms`` from the cause to the enable line low for good (None: it was
    low already, or stayed high), ``status`` of the bench afterwards.
    """

    code: int
    off_ms: float | None
    status: Status


class PinEdges:
    """When each of the bridge's five pins last fell, in emulated ns, and when one last rose."""

    def __init__(self, world: Any) -> None:
        self.fell: dict[str, float] = {}
        self.rose_ns = -1.0
        self._clocks = {net: world.clocks[net] for net in ("BRIDGE_ENABLE", *GATES)}
        for net, clock in self._clocks.items():
            clock.changed = self._noting(net, clock.changed)

    def _noting(self, net: str, inner: Callable[[bool, float], None]) -> Callable[[bool, float], None]:
        def changed(high: bool, now_ns: float) -> None:
            if high:
                self.rose_ns = now_ns
            else:
                self.fell[net] = now_ns
            inner(high, now_ns)

        return changed

    def high(self, net: str) -> bool:
        """Whether the pin is high now."""
        return bool(self._clocks[net].high)

    @property
    def all_low(self) -> bool:
        """Whether none of the five is high."""
        return not any(clock.high for clock in self._clocks.values())


class FaultBench:
    """The whole firmware on an emulated chip, held so that faults can be raised one after the other.

    ``contents`` of the flash, if not the firmware alone; ``times`` that it takes until the start is logged,
    in two erases if there are a log and other than the typical times.
    """

    def __init__(
        self,
        image: str | Path | None = None,
        spec: SimSpec = SPEC,
        contents: bytes | None = None,
        times: flash.FlashTimes = flash.TYPICAL,
    ) -> None:
        self.board = CausedBoard(spec)
        self.port = ChipPort(spec, image or chip.find_image(), board=self.board, contents=contents)
        self.machine, self.world = self.port.machine, self.port.world
        self.machine.flash.times = times
        self.edges = PinEdges(self.world)
        self.began_ns = 0.0
        self.events: list[tuple[int, int]] = []
        self.event_ticks: list[int] = []
        self._struck_ns = 0.0
        self._held = -1
        self._held_ms = 0.0
        self._follow_timer()
        trigger = self.machine.mcu.watchdog.on_watchdog_trigger
        self.machine.mcu.watchdog.on_watchdog_trigger = lambda: self._by_watchdog(trigger)
        self.resets = 0
        self._parked_pc = 0
        self.fed_ns = 0.0
        self.world.gpio("WATCHDOG").add_listener(self._on_watchdog)
        for rail in (1, 0):  # the first self-test precharges, then opens the supply again: it is over
            if not self.machine.run(3, lambda rail=rail: self.board.bridge.rail == rail):  # type: ignore[misc]
                raise AssertionError("the firmware on the emulated chip did not come through its self-test")
        self.ready_s = self.port.now()
        if times is not flash.TYPICAL:
            self._store_log()
        self.machine.flash.times = flash.TYPICAL
        self.connect()

    def _store_log(self) -> None:
        slow = self.machine.flash
        if not self.machine.run(STORED_S, lambda: slow.erases >= 2 and not slow.busy):
            raise AssertionError(f"the log of the start was not stored: {slow.erases} erases")

    def _on_watchdog(self, value: int, _last: int) -> None:
        if value == 1:
            self.fed_ns = self.machine.now_ns

    def _follow_timer(self) -> None:
        timer = self.machine.mcu.timer
        inner = timer._fire_alarm
        late = self.machine.alarm(lambda: inner(self._held))

        def strike(index: int) -> None:
            pause_ns = self.machine.now_ns - self._struck_ns
            self._struck_ns = self.machine.now_ns
            if self._held_ms and pause_ns > NEIGHBOUR_NS:
                self._held = index
                self.began_ns = self.machine.now_ns
                late.schedule(self._held_ms * 1e6)
                self._held_ms = 0.0
            else:
                inner(index)

        timer._fire_alarm = strike

    def hold_back_tick(self, late_ms: float) -> None:
        """Let the timer's next strike come so much too late; the cause begins when it was due.

        MicroPython keeps a timer of its own, often a microsecond beside the tick's: the first of such a pair
        is held, and so both are.
        """
        self._held_ms = late_ms

    def park(self, interrupts_off: bool) -> None:
        """Let the main loop hang: it goes round on one instruction; ``interrupts_off``: the tick too."""
        mcu: Any = self.machine.mcu
        mcu.write_uint16(PARKING, BRANCH_TO_SELF)
        while mcu.core.ipsr or mcu.core.pm:
            self.machine.run(1e-6)
        self._parked_pc = mcu.core.pc
        mcu.core.waiting = False
        mcu.core.pc = PARKING
        mcu.core.pm = interrupts_off
        self.began_ns = self.machine.now_ns

    def unpark(self) -> None:
        """Let the main loop go on where it was."""
        core: Any = self.machine.mcu.core
        while core.ipsr:
            self.machine.run(1e-6)
        core.pc = self._parked_pc

    def reset(self) -> None:
        """Take the chip's supply away for a moment: everything but the flash is lost."""
        self.began_ns = self.machine.now_ns
        self._after(self.machine.power_cycle)

    def _by_watchdog(self, reset: Callable[[], None]) -> None:
        self.resets += 1
        self._after(reset)

    def _after(self, reset: Callable[[], None]) -> None:
        # nobody hears from the emulator that a reset makes its pins inputs, which the board holds low
        reset()
        for clock in self.world.clocks.values():
            clock._on_change(int(clock.pin.value), 0)

    def connect(self) -> str:
        """Shake hands and put the limits in force; return the reset cause that the firmware reports."""
        self.link = Link(self.port, "emulated chip")
        cause = conversion.RESET_CAUSES[self.link.hello().fields["reset_cause"]]
        self.limits()
        return cause

    def limits(self, **changes: int) -> None:
        """Put the part's limits in force."""
        values = {**LIMITS, "heartbeat_ms": HEARTBEAT_MS, **changes}
        self.link.request("limits", *values.values(), answer="limits_in_force")

    def status(self) -> Status:
        """What the bench says about itself."""
        return conversion.status_of(self.link.request("status", answer="status_report"))

    def disarm(self) -> None:
        """Stop, within the slew limit, and open the supply."""
        self.forget_events()
        self.link.request("disarm")
        self.beat(0.2, lambda: (state.EVENT_STATE, state.READY) in self.events)

    def beat(self, seconds: float, until: Callable[[], bool] = lambda: False) -> bool:
        """Let time pass with the host alive; collect events; return whether ``until()`` came true."""
        end_s = self.port.now() + seconds
        while not until():
            if self.port.now() >= end_s:
                return False
            if self.port.now() - self.link.sent_s > HEARTBEAT_MS / 4000:
                self.link.tell("heartbeat")
            for message in self.link.poll(BEAT_S):
                if message.name == "event":
                    self.events.append((message.fields["kind"], message.fields["code"]))
                    self.event_ticks.append(message.fields["tick"])
        return True

    def forget_events(self) -> None:
        """Begin to collect anew."""
        self.events.clear()
        self.event_ticks.clear()

    def drive(self, drive: int = HOLD) -> None:
        """Arm and hold a drive."""
        self.forget_events()
        self.link.request("arm", timeout_s=6)
        rest = (0,) * 9
        self.link.request("procedure_begin", 2)
        self.link.request("segment", 0, ramp.RAMP, drive, RAMP_MS, *rest)
        self.link.request("segment", 1, ramp.HOLD, drive, 60000, *rest)
        self.link.request("run")
        self.beat(SETTLE_S)
        if not self.edges.high("BRIDGE_ENABLE"):
            raise AssertionError(f"does not drive: {self.status()}")

    def cause(
        self, begin: Callable[[], bool | None], end: Callable[[], None], patience_s: float = 0.5
    ) -> Outcome:
        """Let a cause begin with a tick of the bench, wait for what comes of it, and end it.

        ``begin`` is called each tick until it returns something other than False.
        """
        self.forget_events()
        was_on = self.edges.high("BRIDGE_ENABLE")

        def due() -> bool:
            begun = begin() is not False
            if begun:
                self.began_ns = self.machine.now_ns
            return begun

        self.board.due = due
        self.beat(patience_s, lambda: self.board.due is None)
        self.beat(patience_s, lambda: self._fault() > 0 and (not was_on or self._stays_off()))
        off_ms = None
        if was_on and self._stays_off():
            off_ms = (self.edges.fell["BRIDGE_ENABLE"] - self.began_ns) * 1e-6
        end()
        return Outcome(self._fault(), off_ms, self.status())

    def _fault(self) -> int:
        return next((code for kind, code in self.events if kind == state.EVENT_FAULT), 0)

    def _stays_off(self) -> bool:
        fell_ns = self.edges.fell.get("BRIDGE_ENABLE", 0.0)
        return not self.edges.high("BRIDGE_ENABLE") and self.machine.now_ns - fell_ns > STAYS_OFF_NS

    def recover(self) -> None:
        """Clear a latched fault whose cause has ended, as soon as the bench lets; one that does not latch is
        over when the drive is at zero."""
        for _ in range(CLEAR_TRIES):
            self.beat(BEAT_S)
            with suppress(Refused):
                self.link.request("clear")
                if self.status().state == "ready":
                    return
        raise AssertionError(f"cannot be cleared: {self.status()}")
