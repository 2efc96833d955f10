"""Findings while the run goes on: a worker that diagnoses what has been recorded so far."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from strokebench.data.run import RunData
from strokebench.errors import StrokebenchError

if TYPE_CHECKING:
    from strokebench.bench.run import Run
    from strokebench.data.samples import Samples
    from strokebench.panel.view import View
    from strokebench.parts.profile import Profile


class Examiner:
    """One worker, one job at a time; what comes while it is busy is left out, the end of a run never."""

    def __init__(self, view: View) -> None:
        self._view = view
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="examiner")
        self._job: Future[None] | None = None
        self._marks = 0

    def begin(self) -> None:
        """A new run starts: nothing is known yet."""
        self._marks = 0
        self._view.found(())

    def offer(self, run: Run, chunks: list[Samples], profile: Profile) -> None:
        """Look at the run so far, if a segment has ended since the last look and nobody is looking.

        The news of its end may come before its last rows, which are not missing for that.
        """
        reached_s = float(chunks[-1]["time_s"][-1])
        closed = [mark for mark in run.marks if mark.end_s <= reached_s]
        if len(closed) == self._marks or (self._job is not None and not self._job.done()):
            return
        self._marks = len(closed)
        data = run.data(np.concatenate(chunks))
        data.marks = closed
        self._job = self._pool.submit(self._so_far, data, profile)

    def _so_far(self, data: RunData, profile: Profile) -> None:
        from strokebench.verdict.examine import examine

        try:
            findings, _verdict = examine(data, profile)
        except (ValueError, ArithmeticError, LookupError):
            return  # too little of the run yet for one of the questions; the end decides
        known = [finding for finding in findings if finding.known]
        if self._view.now.phase == "run":
            self._view.found(known)

    def finish(self, data: RunData, profile: Profile, book: Path, run_id: int) -> None:
        """Judge the whole run and keep the result in the book."""
        self._view.set(phase="judging")
        self._pool.submit(self._whole, data, profile, book, run_id)

    def _whole(self, data: RunData, profile: Profile, book: Path, run_id: int) -> None:
        from strokebench.book.book import Book
        from strokebench.verdict.control import golden
        from strokebench.verdict.examine import examine

        try:
            findings, verdict = examine(data, profile)
            with Book(book) as opened:
                opened.judged(run_id, findings, verdict.value)
                golden.remember(opened, run_id)
            self._view.found(findings, verdict.value, run_id)
        except StrokebenchError as error:
            self._view.complain(error)
        finally:
            self._view.set(phase="idle" if self._view.now.phase == "judging" else self._view.now.phase)

    def close(self) -> None:
        """Wait for the job under way and end."""
        self._pool.shutdown(wait=True, cancel_futures=True)
