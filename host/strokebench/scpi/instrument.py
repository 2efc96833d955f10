"""The bench as every client sees it: what drives it, what it measured last, what it waits for."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from strokebench.data.run import RunData
from strokebench.link.link import fault_row
from strokebench.panel.choice import Choice
from strokebench.panel.driver import Driver
from strokebench.panel.procedure_run import Papers
from strokebench.panel.strip import Bucket
from strokebench.panel.view import Snapshot
from strokebench.parts import load_part, part_names
from strokebench.parts.limits import Limits
from strokebench.parts.profile import Profile
from strokebench.scpi import status
from strokebench.scpi.attendance import Attendance
from strokebench.scpi.errors import ScpiError

EVERY_S = 0.005
OPEN_S, ARM_S, READING_S = 20.0, 10.0, 1.0
BUSY = ("connecting", "arming", "run", "judging")


class Instrument:
    """One bench and the part that is selected; orders go to the thread that keeps the bench.

    Its coroutines raise :class:`ScpiError` when the bench will not.
    """

    def __init__(self, book: Path, choice: Choice, attendance: Attendance) -> None:
        self.attendance = attendance
        self.choice = choice
        self.first = choice
        self.driver = Driver(book, attendance)
        self.limited = False
        self.trigger = "IMM"
        self.waits_for_trigger = False
        self.ordering = 0
        """Orders under way, whose errors go to whoever gave them."""
        self._book = book
        self._last: tuple[int, RunData] | None = None

    @property
    def now(self) -> Snapshot:
        """The newest state of things."""
        return self.driver.view.now

    @property
    def busy(self) -> bool:
        """Something goes on that ``*OPC?`` waits for."""
        return self.now.phase in BUSY

    @property
    def operation(self) -> int:
        """The condition of the operation register."""
        phase = self.now.phase
        bits = status.SWEEPING * (phase == "run") | status.MEASURING * (phase == "judging")
        bits |= status.ENERGISED * (phase in ("armed", "jog", "run")) | status.BY_HAND * (phase == "jog")
        return bits | status.WAITS_FOR_TRIGGER * self.waits_for_trigger

    @property
    def questionable(self) -> int:
        """The condition of the questionable register: the latched fault, by its tens."""
        return status.OF_FAULTS.get(self.now.fault // 10, 0) if self.now.latched else 0

    def profile(self) -> Profile:
        """Return the selected part's profile; raises -221 when no bench is connected."""
        if self.driver.profile is None:
            raise ScpiError(-221, "no bench is connected")
        return self.driver.profile

    # -- waiting --------------------------------------------------------------------------------------

    async def until(self, done: Callable[[], bool], seconds: float) -> bool:
        """Wait until ``done``; return whether it came true within ``seconds``."""
        end_s = time.monotonic() + seconds
        while not done():
            if time.monotonic() > end_s:
                return False
            await asyncio.sleep(EVERY_S)
        return True

    async def idle(self) -> None:
        """Wait until nothing goes on any more."""
        while self.busy or self.waits_for_trigger:
            await asyncio.sleep(EVERY_S)

    async def carry_out(self, name: str, done: Callable[[], bool], seconds: float, **what: object) -> None:
        """Give an order, wait until it is ``done``; raises -200 with the bench's sentence if it refuses."""
        said = self.now.message.number

        def refused() -> bool:
            return self.now.message.number > said and self.now.message.error

        self.ordering += 1
        try:
            self.driver.order(name, **what)
            if not await self.until(lambda: done() or refused(), seconds):
                raise ScpiError(-240, "the bench did not answer in time")
            if refused():
                raise ScpiError(-200, self.now.message.text)
        finally:
            self.ordering -= 1

    # -- orders ---------------------------------------------------------------------------------------

    async def connect(self) -> None:
        """Connect the bench with the selected part."""
        await self.carry_out(
            "open", lambda: self.now.phase == "idle" and self.now.part != "", OPEN_S, choice=self.choice
        )

    async def select(self, part: str) -> None:
        """Select a built-in part, or the one that the server was started with; its limits come into force."""
        if self.now.phase not in ("none", "idle"):
            raise ScpiError(-221, "the part is energised")
        if part not in (*part_names(), self.first.part, self._first_name()):
            raise ScpiError(-224, part)
        named = self.first.part if part in (self.first.part, self._first_name()) else part
        if named != self.choice.part or self.now.phase == "none":
            self.choice = (
                self.first if named == self.first.part else replace(self.first, part=named, faults=())
            )
            self.driver.view.set(phase="connecting")
            await self.connect()
        self.limited = True

    def _first_name(self) -> str:
        return load_part(self.first.part).name

    async def tighten(self, **limits: float) -> None:
        """Put tighter limits of the part in force; raises -222 for any that are wider than the part's own."""
        own = load_part(self.choice.part).limits
        for name, value in limits.items():
            if value > getattr(own, name):
                raise ScpiError(-222, f"the part allows {getattr(own, name):g}")
        if self.now.phase != "idle":
            raise ScpiError(-221, "the part is energised")
        wanted = _tighter(self.profile().limits, limits)
        await self.carry_out("tighten", lambda: self.profile().limits == wanted, ARM_S, limits=wanted)
        self.limited = True

    async def output(self, *, on: bool) -> None:
        """Put the supply on the part after the self-test, or take it off."""
        if not on:
            self.driver.order("disarm")
            if not await self.until(lambda: not self.now.moving, ARM_S):
                self.driver.stop("Switched off by the client.")
            return
        self._need_limits()
        if self.now.phase in ("armed", "jog"):
            return
        if self.now.phase != "idle":
            raise ScpiError(-221, "another operation is going on")
        await self.carry_out("arm", lambda: self.now.phase == "armed", ARM_S)

    async def drive(self, drive: float) -> None:
        """Drive by hand, -1 to +1 within the part's limits; 0 ramps down."""
        if self.now.phase not in ("armed", "jog"):
            raise ScpiError(-221, "the output is off")
        limits = self.profile().limits
        if not limits.drive_min <= drive <= limits.drive_max:
            raise ScpiError(-222, f"the part allows {limits.drive_min:g} to {limits.drive_max:g}")
        self.driver.order("release") if drive == 0 else self.driver.order("jog", drive=drive)

    async def initiate(self, papers: Papers) -> None:
        """Begin the part's procedure, or wait for the trigger to do so."""
        self._need_limits()
        if self.busy or self.waits_for_trigger or self.now.phase == "jog":
            raise ScpiError(-213)
        if self.now.phase == "none":
            raise ScpiError(-221, "no bench is connected")
        if self.trigger == "BUS":
            self.waits_for_trigger = True
            return
        await self._begin(papers)

    async def triggered(self, papers: Papers) -> None:
        """Do what ``*TRG`` does."""
        if not self.waits_for_trigger:
            raise ScpiError(-211)
        self.waits_for_trigger = False
        await self._begin(papers)

    async def _begin(self, papers: Papers) -> None:
        await self.carry_out("run", lambda: self.now.phase in ("run", "judging"), ARM_S, papers=papers)

    def abort(self, why: str) -> None:
        """Take drive and supply off the part at once."""
        self.waits_for_trigger = False
        self.driver.stop(why)

    async def clear(self) -> None:
        """Clear a latched fault."""
        await self.carry_out("clear", lambda: not self.now.latched and not self.now.fault, ARM_S)

    async def check(self) -> int:
        """Run the self-test; return 0, or the code of the fault that it found (-330 when it has none)."""
        if self.now.phase != "idle":
            raise ScpiError(-221, "the part is energised")
        try:
            await self.output(on=True)
        except ScpiError as error:
            if error.code != -200:
                raise
            return self.now.fault or -330
        await self.output(on=False)
        return 0

    def _need_limits(self) -> None:
        if not self.limited:
            raise ScpiError(-221, "no limits: send CONFigure with the part's name first")

    # -- results --------------------------------------------------------------------------------------

    async def fresh(self) -> Bucket:
        """Return readings that were all taken after the question; raises -230 when none come."""
        strip = self.driver.strip
        after = strip.number + 1  # the one under way began before the question
        if not await self.until(lambda: strip.number > after, READING_S):
            raise ScpiError(-230, "the bench sends no readings")
        return self.latest()

    def latest(self) -> Bucket:
        """Return the newest readings; raises -230 when there are none."""
        bucket = self.driver.strip.latest()
        if bucket is None:
            raise ScpiError(-230, "there are no readings yet")
        return bucket

    async def recording(self) -> RunData:
        """Return the last run that was judged; raises -230 when there is none."""
        run_id = self.now.judged_run
        if not run_id:
            raise ScpiError(-230, "nothing has been run and judged yet")
        if self._last is None or self._last[0] != run_id:
            self._last = run_id, await asyncio.to_thread(_load, self._book, run_id)
        return self._last[1]


def _load(book: Path, run_id: int) -> RunData:
    from strokebench.book.book import Book

    with Book(book) as opened:
        return opened.load(run_id)


def _tighter(limits: Limits, changes: dict[str, float]) -> Limits:
    """Return limits with ``changes``; what may not be above the peak current comes down with it."""
    values = {**limits.model_dump(), **changes}
    for name in ("current_mean_a", "stall_a"):
        values[name] = min(values[name], values["current_max_a"])
    try:
        return Limits.model_validate(values)
    except ValueError as error:
        raise ScpiError(-222, str(error).splitlines()[0]) from None


def sentence_of(code: int) -> str:
    """Return what a fault code means and what to check."""
    key, sentence, check = fault_row(code)
    return f"{sentence} {check}" if key else f"fault {code}"
