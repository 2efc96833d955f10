"""Keeps a connected bench company: samples, heartbeat, jog, status, and takes drive and supply off."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from strokefw import state

from strokebench.link import conversion

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.link.conversion import Status
    from strokebench.link.link import Message
    from strokebench.panel.deadman import Deadman
    from strokebench.panel.orders import Orders
    from strokebench.panel.strip import Strip
    from strokebench.panel.view import View

SLICE_S = 0.02
JOG_EVERY_S = 0.1
BEAT_EVERY_S = 0.15
STATUS_EVERY_S = 0.25
SILENT = "The page that drives fell silent. The part was stopped."
OFF = ("off", "ready", "latched")
"""States in which neither drive nor supply is on the part."""
LET_GO = "The bench took the supply off the part by itself: it heard nothing for too long."


class Keeper:
    """Used by the thread that owns the bench alone. ``bench``: None where none is connected.

    ``jog``: the drive that a hand asks for, -1..1. ``letting_off``: what goes on must not be
    broken off by a further STOP.
    """

    def __init__(self, orders: Orders, deadman: Deadman, strip: Strip, view: View) -> None:
        self.bench: Bench | None = None
        self.letting_off = False
        self.jog = 0.0
        self._orders = orders
        self._deadman = deadman
        self._strip = strip
        self._view = view
        self._jogged_s = self._asked_s = 0.0
        self._tick0: int | None = None

    def keep(self, bench: Bench) -> None:
        """Begin with another bench; have its samples sent."""
        self.bench = bench
        self._tick0 = None
        self.stream()

    def leave(self) -> None:
        """Let go of the bench; it leaves the part off."""
        bench, self.bench = self.bench, None
        if bench is not None:
            with self.undisturbed():
                bench.close()

    def hold(self, drive: float) -> None:
        """Move by hand with this drive from the next slice on."""
        self.jog = drive
        self._jogged_s = 0.0

    @contextmanager
    def undisturbed(self) -> Iterator[None]:
        """Within it no STOP breaks off what is done: it takes the part off, or drives nothing."""
        self.letting_off = True
        try:
            yield
        finally:
            self.letting_off = False

    def take_off(self) -> None:
        """Drive and supply off the part; a further STOP that comes meanwhile must not break this off."""
        if self.bench is None:
            return
        with self.undisturbed():
            self.bench.close_run()
            self.bench.stop_quietly()
            self.ask(self.bench)
            self.stream()

    def ask(self, bench: Bench) -> Status:
        """Return what the bench says of itself; that it is off answers every STOP until then."""
        number = self._orders.stops
        now = bench.status()
        if now.state in OFF:
            self._orders.confirmed(number)
        return now

    def stream(self, *, on: bool = True) -> None:
        """Have samples sent in every state, or only while a run goes on."""
        if self.bench is None:
            return
        self.bench.link.request("stream", int(on))
        while not on and self.bench.link.poll(SLICE_S):
            pass

    def attend(self, bench: Bench) -> None:
        """One slice of 20 ms: jog, heartbeat, status, and whatever the bench says."""
        now_s = time.monotonic()
        phase = self._view.now.phase
        if phase == "jog" and now_s - self._jogged_s >= JOG_EVERY_S:
            self._jogged_s = now_s
            bench.jog(self.jog)
        elif phase == "armed" and now_s - bench.link.sent_s >= BEAT_EVERY_S:
            bench.link.tell("heartbeat")
        if now_s - self._asked_s >= STATUS_EVERY_S:
            self._asked_s = now_s
            self.status(bench)
        for message in bench.link.poll(SLICE_S):
            self._hear(message)

    def status(self, bench: Bench) -> None:
        """Ask the bench how it is and show that; notice where it took the supply off by itself."""
        now = self.ask(bench)
        view = self._view
        if view.now.phase in ("armed", "jog") and now.state in OFF:
            self.jog = 0.0
            view.set(phase="idle")
            if now.state != "latched" and not view.now.fault:  # else the fault tells itself
                view.say(SILENT if self._deadman.silent() else LET_GO)
        view.set(  # not the phase: "judging" may end meanwhile in another thread
            state=now.state,
            latched=now.state == "latched",
            fault=now.fault if now.state == "latched" else view.now.fault,
            junction_c=now.junction_c,
            drive_cap=now.drive_cap,
            budget_left=tuple(now.budget_left.items()),
        )

    def _hear(self, message: Message) -> None:
        if message.name == "samples":
            tick = int.from_bytes(message.tail[:4], "little")
            self._tick0 = tick if self._tick0 is None else self._tick0
            few = self.bench is not None and self.bench.units.few
            rows = conversion.decode_rows(message.tail, self._tick0, few)
            self._strip.append(rows)
            self._view.set(warning=int(rows["fault"][-1]))
        elif message.name == "event" and message.fields["kind"] == state.EVENT_FAULT:
            self._view.set(fault=message.fields["code"])
