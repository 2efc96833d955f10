"""One run from start to end: drive, record while it happens; and the exit code that its verdict comes to."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.bench.endings import endings
from strokebench.data.findings import Verdict
from strokebench.data.run import Event, RunData
from strokebench.data.samples import Samples, empty
from strokebench.diagnose import connection
from strokebench.errors import ProtectionTripped, Refused

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.bench.run import Run
    from strokebench.book.writer import RunWriter
    from strokebench.parts.profile import Profile

Watcher = Callable[["Run", Samples], None]


@dataclass
class Recorder:
    """Copies what a run has collected so far into the book, each thing once it is new or has changed."""

    run: Run
    writer: RunWriter
    _marks: int = 0
    _events: int = 0
    _bursts: int = 0
    _open: bool = field(default=False)

    def take(self, chunk: Samples) -> None:
        """Commit ``chunk`` together with the marks, events and bursts that came with it."""
        run, writer = self.run, self.writer
        for mark in run.marks[max(0, self._marks - 1) :]:  # the last one may have got its end meanwhile
            writer.mark(mark)
        for event in run.events[self._events :]:
            writer.event(event)
        for burst in run.bursts[self._bursts :]:
            writer.burst(burst)
        self._marks, self._events, self._bursts = len(run.marks), len(run.events), len(run.bursts)
        writer.samples(chunk)


def record(bench: Bench, profile: Profile, writer: RunWriter, watch: Watcher | None = None) -> RunData:
    """Run the profile's procedure on an armed bench into ``writer`` and return the run.

    A run that the bench's protection ends is returned like any other, ``info["outcome"]`` is then ``fault``.
    Ctrl-C, SIGTERM and a lost terminal ramp the part down and end the run as ``interrupted``; a second one
    stops at once.
    Raises :class:`LinkLost` and :class:`BookError`; what was committed is kept and the part is off.
    """
    run = bench.run(profile.procedure)
    recorder = Recorder(run, writer)
    chunks: list[Samples] = []
    with stopped_by_signals(run.stop) as interrupted:
        try:
            for chunk in run:
                recorder.take(chunk)
                chunks.append(chunk)
                if watch is not None:
                    watch(run, chunk)
        except ProtectionTripped:
            pass  # told by outcome and fault, and the evidence up to it counts
        finally:
            run.close()  # the part is off before anything else is done
            recorder.take(empty())
    outcome = "interrupted" if interrupted.is_set() and run.outcome == "stopped" else run.outcome
    link = bench.link
    writer.info(
        lost_rows=run.lost_rows, lost_messages=link.lost_messages, bad_frames=link.bad_frames,
        refused_frames=run.refused_frames, fault=run.fault,
    )  # fmt: skip
    writer.finish(outcome)
    data = run.data(np.concatenate(chunks) if chunks else empty(), run_id=writer.run_id, fault=run.fault)
    data.info["outcome"] = outcome
    return data


@contextmanager
def stopped_by_signals(stop: Callable[[], None]) -> Iterator[threading.Event]:
    """Call ``stop`` at the first signal that ends a program; only the second one tears the loop apart."""
    interrupted = threading.Event()

    def handle(number: int, frame: Any) -> None:
        if interrupted.is_set():
            raise KeyboardInterrupt
        interrupted.set()
        stop()

    if threading.current_thread() is not threading.main_thread():
        yield interrupted
        return
    before = {number: signal.signal(number, handle) for number in endings()}
    try:
        yield interrupted
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@dataclass(frozen=True)
class Refusal:
    """The bench would not drive a part: fault ``code``, its ``sentence``, and how the leads were checked."""

    code: int
    sentence: str
    checked: str = ""


def arm_or_refusal(bench: Bench, profile: Profile, look: Callable[[str], bool]) -> Refusal | None:
    """Arm; return None once armed, or why the bench refuses this part or its leads.

    ``look`` is given a question for somebody who then looks at the leads; a yes has the self-test, which
    moves nothing, try once more. Raises :class:`Refused` for a cause in the bench or its supply.
    """
    refusal = _armed(bench, profile)
    if refusal is None:
        return None
    cause = connection.CAUSES[refusal.code]
    if not look(cause.question):
        return refusal
    bench.clear()
    refusal = _armed(bench, profile)
    return None if refusal is None else replace(refusal, checked="by answer")


def _armed(bench: Bench, profile: Profile) -> Refusal | None:
    try:
        bench.arm()
    except Refused as error:
        if connection.cause_of(error.code, sensor=bool(profile.tracks)) is None:
            raise
        return Refusal(error.code, str(error))
    return None


def record_refusal(bench: Bench, writer: RunWriter, refusal: Refusal) -> RunData:
    """Write a run that the bench refused to begin, and return it: no samples, one event."""
    event = Event(0.0, "fault", refusal.code, refusal.sentence)
    about: dict[str, Any] = {"fault": refusal.code, "lost_rows": 0}
    if refusal.checked:
        about["leads_checked"] = refusal.checked
    writer.event(event)
    writer.info(**about)
    writer.finish(connection.OUTCOME)
    info = {**bench.info(), **about, "outcome": connection.OUTCOME, "run_id": writer.run_id}
    return RunData(events=[event], accuracy=bench.accuracy(), info=info)


EXIT_CODES = {Verdict.PASS: 0, Verdict.FAIL: 1, Verdict.INCONCLUSIVE: 3}


def exit_code(verdict: Verdict, data: RunData) -> int:
    """Return the process's exit code for a judged run: interruption and protection go before the verdict."""
    return {"interrupted": 130, "fault": 5}.get(str(data.info.get("outcome")), EXIT_CODES[verdict])
