"""The one thread that owns the bench: carries out orders, and stops on a STOP or when no page answers."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from strokebench.bench.bench import Bench, Identity
from strokebench.errors import LinkError, Refused, StrokebenchError
from strokebench.panel.choice import Choice, open_choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.examiner import Examiner
from strokebench.panel.keeper import SILENT, Keeper
from strokebench.panel.orders import Order, Orders
from strokebench.panel.procedure_run import Papers, ProcedureRun
from strokebench.panel.strip import Strip
from strokebench.panel.view import Snapshot, View
from strokebench.panel.watched_port import StopNow
from strokebench.panel.wiring_desk import WiringDesk
from strokebench.parts import load_part
from strokebench.parts.limits import Limits
from strokebench.parts.on_bench import on_bench
from strokebench.parts.profile import Profile

STOP_TOOK_S = 0.3
"""A run that goes on this long after a stop is torn off."""
PLANNED = ("run", "gentle")
"""Phases in which the part moves by the bench's own clock."""


class Driver:
    """The panel's hold on a bench. ``order`` and ``stop`` may be called from any thread, at any time."""

    def __init__(self, book: Path, deadman: Deadman) -> None:
        self.book = book
        self.deadman = deadman
        self.orders = Orders()
        self.strip = Strip()
        self.view = View()
        self.examiner = Examiner(self.view)
        self.profile: Profile | None = None
        self.keeper = Keeper(self.orders, deadman, self.strip, self.view)
        self._running: ProcedureRun | None = None
        self._stopped_at_s = 0.0
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._live, name="bench", daemon=True)
        self._acts: dict[str, Callable[..., None]] = {
            "open": self._open,
            "arm": self._arm,
            "disarm": self._disarm,
            "jog": self._set_jog,
            "release": self._release,
            "run": self._run,
            "clear": self._clear,
            "tighten": self._tighten,
            **WiringDesk(self).acts,
            "close": self._let_go,
        }

    # -- for everybody -------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, why: str = "Stopped by hand.") -> int:
        """Take the drive and the supply off the part, before anything else; return the stop's number."""
        return self.orders.stop(why)

    def order(self, name: str, **args: object) -> None:
        """Ask for one of open, arm, disarm, jog, release, run, clear, tighten, close, or of the wiring's."""
        self.orders.put(Order(name, args))

    @property
    def identity(self) -> Identity | None:
        """Which bench this is, None when none is connected."""
        bench = self.keeper.bench
        return None if bench is None else bench.identity

    def close(self) -> None:
        """De-energise, let go of the bench and end the thread."""
        self.stop("The panel was closed.")
        self._closing.set()
        self._thread.join(10.0)
        self.examiner.close()

    # -- the thread ----------------------------------------------------------------------------------

    def _live(self) -> None:
        act: Callable[[], None] | None = self._turn
        while act is not None:
            act = self._follow_up(act) or (None if self._closing.is_set() else self._turn)
        self._follow_up(self._let_go)

    def _follow_up(self, act: Callable[[], None]) -> Callable[[], None] | None:
        """Do ``act``; return what its end calls for, None when nothing.

        A mistake of ours, too, must not leave the part without a keeper.
        """
        try:
            act()
        except StopNow as stop:
            return partial(self._halt, str(stop))
        except Refused as error:  # a LinkError, but the bench is there
            return partial(self._calm, error)
        except LinkError as error:
            self.view.complain(error)
            return self._let_go
        except StrokebenchError as error:
            return partial(self._calm, error)
        except Exception as error:
            return partial(self._calm, StrokebenchError(f"Internal error: {error!r}.", "Please report it."))
        return None

    def _turn(self) -> None:
        if self.orders.stop_asked:
            raise StopNow(self.orders.stop_asked)
        bench = self.keeper.bench
        order = self.orders.take(0.0 if bench else 0.05)
        if order is not None:
            self._acts[order.name](**order.args)
        elif bench is not None:
            self.keeper.attend(bench)

    def _look(self) -> None:
        """Called by the port while anything waits: raise, or tell the run, when the part must stop."""
        if self.keeper.letting_off:
            return
        why = self.orders.stop_asked
        planned = self._running is not None or self.view.now.phase in PLANNED
        if not why and self.view.now.moving and self.deadman.silent(planned):
            why = SILENT
        if not why:
            return
        run = self._running.going if self._running else None
        now_s = time.monotonic()
        if run is not None and run.outcome != "running" and self._stopped_at_s:
            return  # done; the supply comes off next
        if run is None or run.outcome != "running":
            raise StopNow(why)
        if not self._stopped_at_s:
            self._stopped_at_s = now_s
            run.stop(now=True)
            self.view.say(why)
        elif now_s - self._stopped_at_s > STOP_TOOK_S:
            raise StopNow(why)

    def _halt(self, why: str) -> None:
        """De-energise at once; only then think."""
        was = self.view.now
        self.keeper.jog = 0.0
        if was.moving or why == SILENT:
            self.view.say(why)  # before the phase: whoever sees it idle can read why
        self.view.set(phase="none" if self.keeper.bench is None else "idle")
        self.orders.stopped()
        self.keeper.take_off()

    def _calm(self, error: StrokebenchError) -> None:
        """Tell the error and leave the part off."""
        self.view.complain(error)
        self.keeper.jog = 0.0
        if self.view.now.phase != "idle":
            self.view.set(phase="none" if self.keeper.bench is None else "idle")
            self.keeper.take_off()

    @contextmanager
    def with_bench(self, phase: str) -> Iterator[Bench]:
        """Give the bench for a ``phase``; afterwards part and supply are off, the part's limits in force."""
        bench, profile = self.keeper.bench, self.profile
        assert bench is not None and profile is not None
        self.view.set(phase=phase)
        self.keeper.stream(on=False)
        try:
            yield bench
        finally:
            with self.keeper.undisturbed():
                bench.close_run()
                bench.stop_quietly()
                bench.set_limits(profile.limits)
                self.keeper.stream()
        self.view.set(phase="idle")

    # -- orders --------------------------------------------------------------------------------------

    def _open(self, choice: Choice) -> None:
        self._let_go()
        self.view.set(phase="connecting", part=choice.part)
        try:
            profile = load_part(choice.part)
            with self.keeper.undisturbed():  # nothing is driven yet, and a STOP needs a bench to confirm it
                self.keeper.bench = bench = open_choice(choice, profile, self._look)
                bench.on_stop_request = lambda: self.stop("`strokebench stop` stopped it.")
                profile = on_bench(profile, bench.identity.board)
                bench.set_limits(profile.limits)
                self.profile = profile
                self.keeper.keep(bench)
        except StrokebenchError:
            self._let_go()
            raise
        self.view.set(
            phase="idle", bench=bench.name, part=profile.name, title=profile.part.title,
            simulated=choice.simulated,
        )  # fmt: skip
        self.view.say(f"Connected to {bench.name}, firmware {bench.identity.firmware}.")

    def _let_go(self) -> None:
        self.orders.stopped()
        self.keeper.jog = 0.0
        number = self.view.now.message
        self.view.set(**{**vars(Snapshot()), "message": number})
        self._running = self.profile = None
        self.keeper.leave()

    def _tighten(self, limits: Limits) -> None:
        """Put other limits of the part in force; runs keep them in their profile."""
        bench = self.keeper.bench
        if bench is None or self.profile is None or self.view.now.phase != "idle":
            return
        bench.set_limits(limits)
        self.profile = self.profile.model_copy(update={"limits": limits})

    def _arm(self) -> None:
        bench = self.keeper.bench
        if bench is None or self.view.now.phase != "idle":
            return
        self.view.set(phase="arming")
        bench.arm()
        self.view.hush()
        self.view.set(phase="armed")

    def _disarm(self) -> None:
        bench = self.keeper.bench
        if bench is not None and self.view.now.phase in ("armed", "jog"):
            self.keeper.jog = 0.0
            bench.stop(now=True)
            bench.disarm()
            self.view.set(phase="idle")

    def _set_jog(self, drive: float) -> None:
        if self.keeper.bench is None or self.profile is None or self.view.now.phase not in ("armed", "jog"):
            return
        limits = self.profile.limits
        self.view.set(phase="jog")
        self.keeper.hold(min(max(drive, limits.drive_min), limits.drive_max))

    def _release(self) -> None:
        if self.keeper.bench is not None and self.view.now.phase == "jog":
            self.keeper.jog = 0.0
            self.keeper.bench.stop()
            self.view.set(phase="armed")

    def _run(self, papers: Papers) -> None:
        bench, profile = self.keeper.bench, self.profile
        if bench is None or profile is None or self.view.now.phase not in ("idle", "armed"):
            return
        self.view.hush()
        self.keeper.stream(on=False)
        self._stopped_at_s = 0.0
        self._running = ProcedureRun(
            profile, self.book, papers, self.view, self.strip, self.examiner, self.keeper.undisturbed
        )
        try:
            if self.view.now.phase == "armed":
                bench.disarm()
            self._running.carry_out(bench)
        finally:
            self._running = None
        if self._stopped_at_s:
            self.orders.stopped()
            self.keeper.ask(bench)
        self.keeper.stream()

    def _clear(self) -> None:
        bench = self.keeper.bench
        if bench is not None:
            self.keeper.status(bench)  # a fault may be younger than the last look at what the bench holds
            if self.view.now.latched:
                bench.clear()
                self.view.hush()
        self.view.set(fault=0, latched=False)
