"""One procedure run from the panel: recorded as on the command line, watched for STOP and the dead-man."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.book.book import Book
from strokebench.errors import Refused
from strokebench.panel.view import Progress, View
from strokebench.panel.watched_port import StopNow
from strokebench.session import arm_or_refusal, record, record_refusal

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.bench.run import Run
    from strokebench.data.samples import Samples
    from strokebench.panel.examiner import Examiner
    from strokebench.panel.strip import Strip
    from strokebench.parts.profile import Profile

LIVE_ROWS = 50
"""Rows in a chunk here: the charts get news 20 times a second."""


@dataclass(frozen=True)
class Papers:
    """What people typed about a run; kept as text, never as anything else."""

    customer: str = ""
    serial: str = ""
    note: str = ""


@dataclass
class ProcedureRun:
    """A run from arming to the last sample; ``going`` is the bench's run once its first samples are here.

    Within ``undisturbed`` a further STOP does not break off what takes the part off.
    """

    profile: Profile
    book: Path
    papers: Papers
    view: View
    strip: Strip
    examiner: Examiner
    undisturbed: Callable[[], AbstractContextManager[None]]
    going: Run | None = None
    _chunks: list[Samples] = field(default_factory=list)

    def carry_out(self, bench: Bench) -> None:
        """Arm, run, record, take the supply off and have the result judged.

        Raises what the bench raises; whatever was recorded until then is kept and the part is off.
        """
        profile = self.profile
        with Book(self.book) as book:  # before anything moves that could not be recorded
            self.view.set(phase="arming", progress=Progress(total_s=profile.procedure.duration_s))
            refusal = arm_or_refusal(bench, profile, lambda question: False)
            writer = book.new_run(
                profile.name,
                profile.kind,
                customer=self.papers.customer,
                note=self.papers.note,
                part_serial=self.papers.serial,
                info=bench.info(),
                accuracy=bench.accuracy(),
                profile=profile.model_dump(mode="json", exclude_none=True),
            )
            if refusal is not None:
                with writer:
                    data = record_refusal(bench, writer, refusal)
                self.view.complain(Refused(refusal.sentence, code=refusal.code))
                self.examiner.finish(data, profile, self.book, writer.run_id)
                return
            self.examiner.begin()
            self.view.set(
                phase="run", progress=Progress("", 0.0, profile.procedure.duration_s, writer.run_id)
            )
            with writer:
                try:
                    data = record(bench, profile, writer, self._watch)
                except StopNow:  # the bench answers late: what was measured is kept and judged all the same
                    with self.undisturbed():
                        bench.close_run()
                        bench.stop_quietly()
                    writer.finish("stopped")
                    self.examiner.finish(book.load(writer.run_id), profile, self.book, writer.run_id)
                    raise
        self.view.set(fault=int(data.info["fault"]) or self.view.now.fault)
        self.examiner.finish(data, profile, self.book, writer.run_id)  # in its own thread
        bench.disarm()

    def _watch(self, run: Run, chunk: Samples) -> None:
        self.going = run
        run.chunk_rows = LIVE_ROWS
        self._chunks.append(chunk)
        self.strip.append(chunk)
        self.strip.mark(self.view.now.progress.run_id, run.marks)
        last = chunk[-1]
        done = Progress(
            run.label, float(last["time_s"]), self.view.now.progress.total_s, self.view.now.progress.run_id
        )
        self.view.set(progress=done, warning=int(last["fault"]), lost_rows=run.lost_rows, state="driving")
        self.examiner.offer(run, self._chunks, self.profile)
