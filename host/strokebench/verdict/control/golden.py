"""What the golden parts of a job book say about its benches."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from strokebench.book.search import Wanted
from strokebench.data.charts import FEWEST
from strokebench.data.identity import identity_of
from strokebench.errors import BookError, StrokebenchError
from strokebench.parts import profile_of
from strokebench.verdict.control.chart import Chart, charts
from strokebench.verdict.learning.readings import learnable, readings_of
from strokebench.verdict.learning.surroundings import FIRST_S, surroundings_of

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.book.contents import RunSummary

STATES = ("too few", "as before", "warning", "recalibrate")
MOST_RUNS = 200
"""Of a golden part that are looked at: its reference, and the newest after it."""


@dataclass(frozen=True)
class Standing:
    """What a golden part said last about a bench.

    ``state``: "too few" runs yet, "as before", "warning" (the bench has moved, verdicts have not yet), or
    "recalibrate" (it has moved by as much as a verdict's guard band). ``day`` of the last run, ``runs`` so
    far. ``moved``: finding -> share of the guard band, of those whose chart signals, the largest first.
    """

    part: str
    serial: str
    bench: str
    state: str
    day: str
    runs: int
    moved: dict[str, float] = field(default_factory=dict)

    @property
    def warns(self) -> bool:
        """Whether somebody should look at the bench."""
        return self.state in ("warning", "recalibrate")

    @property
    def sentence(self) -> str:
        """The same for a person."""
        what = f"Golden part {self.serial} ({self.part}), {self.day}"
        if self.state == "too few":
            return f"{what}: {self.runs} runs, {FEWEST} are needed before it says anything."
        if self.state == "as before":
            return f"{what}: the bench measures as before."
        named = ", ".join(
            f"{key.replace('_', ' ')} ({100 * share:.0f} %)" for key, share in self.moved.items()
        )
        if self.state == "warning":
            return (
                f"{what}: the bench has moved. Share of a verdict's guard band: {named}. Calibrate it soon."
            )
        return (
            f"{what}: the bench has moved by a verdict's guard band: {named}. Calibrate it before you judge."
        )


def _by_bench(book: Book, part: str, serial: str) -> dict[str, list[RunSummary]]:
    runs = [
        run for run in reversed(book.find(Wanted(part=part, part_serial=serial))) if run.outcome == "done"
    ]
    found: dict[str, list[RunSummary]] = {}
    for run in runs:
        found.setdefault(book.bench_of(run.run_id), []).append(run)
    return found


def _charts(book: Book, runs: Sequence[RunSummary], reference: int) -> list[Chart]:
    chosen = [*runs[:reference], *runs[reference:][-MOST_RUNS:]]
    base = profile_of(book.profile(chosen[0].run_id), f"run {chosen[0].run_id}")
    scales = learnable(base)
    readings = [
        readings_of(
            book.findings(run.run_id), surroundings_of(book.load(run.run_id, until_s=FIRST_S)), base, scales
        )
        for run in chosen
    ]
    return charts(readings, scales, reference)


def looked_at(book: Book) -> list[tuple[Standing, list[Chart]]]:
    """Return what each golden part of the book says about each bench that measured it, with its charts; with
    too few runs there are none."""
    found = []
    for part, serial, reference in book.golden_parts():
        for bench, runs in _by_bench(book, part, serial).items():
            drawn = _charts(book, runs, reference)
            found.append((_standing(part, serial, bench, runs, drawn), drawn))
    return found


def _standing(
    part: str, serial: str, bench: str, runs: Sequence[RunSummary], found: Sequence[Chart]
) -> Standing:
    head = (part, serial, bench)
    tail = (runs[-1].started_at[:10], len(runs))
    if not found:
        return Standing(*head, STATES[0], *tail)
    signals = sorted((each for each in found if each.signals), key=lambda each: -each.of_guard_band)
    if not signals:
        return Standing(*head, STATES[1], *tail)
    state = STATES[3] if signals[0].of_guard_band >= 1 else STATES[2]
    return Standing(*head, state, *tail, {each.key: each.of_guard_band for each in signals})


def remember(book: Book, run_id: int) -> None:
    """Look at the golden parts again if that run was of one of them; keep in the book what they say.

    An earlier run that cannot be read costs no new one its report: `golden show` says what is wrong.
    """
    with contextlib.suppress(StrokebenchError):
        run = book.summary(run_id)
        if any((run.part, run.part_serial) == (part, serial) for part, serial, _ in book.golden_parts()):
            book.keep_fact("golden standings", [asdict(each) for each, _ in looked_at(book)])


def remembered_all(book: Book) -> list[Standing]:
    """Return what the golden parts said last about all benches; nothing where the book is damaged there."""
    try:
        kept = book.fact("golden standings")
    except BookError:
        return []
    return [each for each in map(_kept, kept if isinstance(kept, list) else []) if each is not None]


def remembered(book: Book, bench: str) -> list[Standing]:
    """Return what the golden parts said last about a bench."""
    return [each for each in remembered_all(book) if each.bench == bench]


def _kept(table: Any) -> Standing | None:
    """Return a standing as the book has it, None for what is none: a book may come from a stranger."""
    try:
        found = Standing(**table)
        whole = found.state in STATES and isinstance(found.moved, dict) and found.sentence
    except (TypeError, ValueError, AttributeError):
        return None
    return found if whole else None


def attach(book: Book, info: dict[str, Any]) -> None:
    """Put into a run's ``info["golden"]`` what the golden parts said last about its bench, in sentences."""
    bench = str(identity_of(info).get("uid", ""))
    found = remembered(book, bench) if bench else []
    if found:
        info["golden"] = [each.sentence for each in found]
        info["golden_warns"] = any(each.warns for each in found)
