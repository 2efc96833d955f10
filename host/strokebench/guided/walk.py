"""Walk a person through a guided procedure: move, ask, keep the answer with what was measured at that moment.

The part is moved as by hand: the bench must hear from us twice a second, or it stops the part by itself.
"""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from strokebench.data.run import Event, RunData
from strokebench.diagnose.expects import nominal_percent
from strokebench.errors import ProtectionTripped, StrokebenchError
from strokebench.guided.listen import Listener
from strokebench.guided.people import GONE, Person
from strokebench.parts.guide import END, STALL_SHARE, Step

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.book.writer import RunWriter
    from strokebench.parts.profile import Profile

SLICE_S = 0.1
"""One turn: move on, hear, look for an answer. Well below the bench's 0.5 s of silence."""
OPEN_STEP = 0.01
SEEK_S, STILL_TURNS = 20.0, 3
NEAR, FAR, MOVES_PERCENT = 2.0, 8.0, 0.4
"""Percent of travel: how near below, how far above the target is good enough; a turn with more than that
moves."""
CATCH = 2.0
"""The drive is taken back by so many steps for each turn in which the part runs past the target."""
DONE, STOPPED, INTERRUPTED, FAULT, SILENT = "done", "stopped", "interrupted", "fault", "nobody answered"


@dataclass(frozen=True)
class Answer:
    """What a person answered, and what the bench measured at that moment (position NaN without a sensor)."""

    step: str
    question: str
    answer: str
    text: str
    time_s: float
    drive: float
    position_percent: float
    current_a: float
    supply_v: float

    @property
    def sentence(self) -> str:
        """The whole as one line for the recording's events."""
        where = "" if math.isnan(self.position_percent) else f", position {self.position_percent:.1f} %"
        return (
            f"{self.question} {self.text[:1].upper()}{self.text[1:]}."
            f" (drive {self.drive:.2f}{where}, {self.current_a:.2f} A)"
        )


class _Answered(Exception):
    """The person answered; the text is the answer's key."""


class Walk:
    """One walk through ``profile.guided`` on an armed bench; the part is off when :meth:`go` returns."""

    def __init__(
        self, bench: Bench, profile: Profile, writer: RunWriter, person: Person, say: Callable[[str], None]
    ) -> None:
        assert profile.guided is not None
        self.guide, self.profile = profile.guided, profile
        self.answers: list[Answer] = []
        self._bench, self._person, self._say = bench, person, say
        self._writer = writer
        self._heard = Listener(bench, writer)
        self._drive = 0.0

    def go(self) -> RunData:
        """Do all steps. Leaving, silence and the bench's protection end it; the outcome tells."""
        outcome = STOPPED
        try:
            self._bench.link.request("stream", 1)
            outcome = self._steps()
        except KeyboardInterrupt:
            outcome = INTERRUPTED
        except ProtectionTripped:
            outcome = FAULT
        finally:
            self._bench.stop_quietly()  # before anything else is done
            self._finish(outcome)
        return self._heard.data(outcome, run_id=self._writer.run_id, answers=self._told())

    def _finish(self, outcome: str) -> None:
        heard = self._heard
        with contextlib.suppress(StrokebenchError):  # what ended the test is known already
            heard.hear(0.05)
        heard.end_mark()
        self._writer.info(lost_rows=heard.lost_rows, fault=heard.fault, answers=self._told())
        self._writer.finish(outcome)

    def _told(self) -> list[dict[str, object]]:
        return [asdict(given) for given in self.answers]

    def _steps(self) -> str:
        goto = ""
        for step in self.guide.steps:
            if goto not in ("", step.id):
                continue
            goto = self._step(step)
            if goto in (STOPPED, SILENT):
                return goto
            if goto == END:
                break
        self._shut()
        return DONE

    def _step(self, step: Step) -> str:
        """Do one step; return where its answer leads, or how the test ends."""
        self._heard.mark(step.id)
        self._say(f"\n{step.say}\n{step.question}")
        for number, choice in enumerate(step.choices, 1):
            self._say(f"  {number}  {choice.text}")
        self._person.forget()
        self._say("Press the number as soon as it is clear; q leaves, and the part shuts.")
        try:
            self._move(step)
            self._say(f"There; {step.answer_s:g} s to answer.")
            begun_s = self._heard.last_s
            while (waited_s := self._heard.last_s - begun_s) < step.answer_s:
                self._look(step, waited_s)
                self._turn()
        except _Answered as given:
            return self._take(step, str(given))
        self._say(f"Nobody answered within {step.answer_s:g} s; the part is off.")
        self._heard.add(Event(self._heard.last_s, "answer", 0, f"{step.question} Nobody answered."))
        return SILENT

    def _look(self, step: Step, waited_s: float = 0.0) -> None:
        """Raise :class:`_Answered` when there is an answer: it counts while the part still moves, too."""
        if key := self._person.answer(step, waited_s):
            raise _Answered(key)

    def _take(self, step: Step, key: str) -> str:
        if key == GONE:
            self._say("Left; the part is off.")
            return STOPPED
        choice = next(choice for choice in step.choices if choice.key == key)
        heard = self._heard
        given = Answer(
            step.id, step.question, key, choice.text, heard.last_s, heard.now("drive"), self._position(),
            heard.now("current_a"), heard.now("supply_v"),
        )  # fmt: skip
        self.answers.append(given)
        heard.add(Event(given.time_s, "answer", 0, given.sentence))
        self._say(f"  -> {choice.text}")
        return choice.goto

    def _move(self, step: Step) -> None:
        """Go where the step says, slowly, and let it settle; no further than the part's limits."""
        if step.open_to is None:
            if step.drive == 0:
                self._shut()
            while abs(step.drive - self._drive) > 1e-9:
                self._look(step)
                most = step.rate_per_s * SLICE_S
                self._drive += min(max(step.drive - self._drive, -most), most)
                self._turn()
        else:
            self._seek(step, step.open_to)
        settled_s = self._heard.last_s + step.settle_s
        while self._heard.last_s < settled_s:
            self._look(step)
            self._turn()

    def _seek(self, step: Step, target: float) -> None:
        """Open slowly to ``target`` %, and catch a part that breaks loose, so that friction holds it there.

        Ends when it stands near the target, when drive or current are at their limit, or when its time is up:
        where it really stands is measured.
        """
        up, most = max(OPEN_STEP, step.rate_per_s * SLICE_S), self.profile.limits.drive_max
        enough_a = STALL_SHARE * self.profile.limits.stall_a
        until_s, before, still = self._heard.last_s + SEEK_S, self._position(), 0
        while self._heard.last_s < until_s and still < STILL_TURNS:
            self._look(step)
            here = self._position()
            speed, before = here - before, here
            moves = abs(speed) > MOVES_PERCENT
            still = 0 if moves or not target - NEAR <= here <= target + FAR else still + 1
            if moves and speed > 0 and here > target - NEAR:
                self._drive = max(0.0, self._drive - CATCH * up)
            elif not moves and here < target - NEAR:
                if self._drive >= most or abs(self._heard.now("current_a")) >= enough_a:
                    return
                self._drive = min(self._drive + up, most)
            elif not moves and here > target + FAR:
                self._drive = max(0.0, self._drive - up)
            self._turn()

    def _shut(self) -> None:
        self._drive = 0.0
        self._turn()

    def _turn(self) -> None:
        """One tenth of a second: word to the bench, its samples, the screen's pace."""
        began_s = time.monotonic()
        self._bench.jog(min(max(self._drive, self.profile.limits.drive_min), self.profile.limits.drive_max))
        self._heard.hear(SLICE_S)
        if self._person.waits:
            time.sleep(max(0.0, SLICE_S - (time.monotonic() - began_s)))

    def _position(self) -> float:
        """Percent of nominal travel; NaN without a sensor."""
        track = self.profile.tracks.get("a")
        return math.nan if track is None else float(nominal_percent(track, self._heard.now("sensor_a_v")))
