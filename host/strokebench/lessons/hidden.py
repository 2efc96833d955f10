"""Hidden defects: parts that a seed draws, strokes of them in a job book, what groups predict, and the truth.

The book holds neither seed nor truth. It holds a digest of both, so that the class can see afterwards that
nobody changed them. A prediction is a line of the run's note, which the book seals like every other note.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from strokebench.book.book import Book
from strokebench.data.findings import Verdict
from strokebench.errors import BookError, UsageError

if TYPE_CHECKING:
    from strokebench.bench.spec import SimSpec
    from strokebench.data.findings import Finding

FACT = "exercise"
GOOD = "good"
GOOD_SHARE = 0.3
MOST_PARTS = 20
GRADES = ("moderate", "severe")
NOT_HIDDEN = ("weak_battery", "charger_ripple")
"""Troubles of the bench's own supply: they are not the part's."""
LINE = re.compile(r"^prediction by (.{1,40}): ([a-z_]+)$", re.MULTILINE)


@dataclass(frozen=True)
class Hidden:
    """Part ``number`` of an exercise: what is simulated, and the name of its defect (``good`` for none)."""

    number: int
    spec: SimSpec
    truth: str


@dataclass(frozen=True)
class Answer:
    """What came of a part: the truth, the program's verdict and names, and each group's last prediction."""

    number: int
    part: str
    truth: str
    verdict: str
    named: tuple[str, ...]
    predicted: dict[str, str]

    @property
    def program_right(self) -> bool:
        """The program says pass for a good part, and names the defect of a bad one."""
        return self.verdict == Verdict.PASS.value if self.truth == GOOD else self.truth in self.named


def possible(part: str) -> dict[str, str]:
    """Return what can be wrong with a simulated part: name -> what it means in words; ``good`` first."""
    from strokebench.sim.plants import available

    kinds = [kind for kind in available(part) if kind.name not in NOT_HIDDEN]
    return {GOOD: "nothing is wrong with it", **{kind.name: kind.sentence for kind in kinds}}


def draw(seed: str, parts: tuple[str, ...], count: int) -> list[Hidden]:
    """Return the ``count`` parts that a seed stands for, about a third of them good."""
    from strokebench.sim import trials

    rng = np.random.default_rng(int.from_bytes(_digest(seed, parts, count)[:8], "big"))
    drawn = []
    for number in range(1, count + 1):
        part = str(rng.choice(parts))
        specimen = int(rng.integers(1000, 9000))
        spec = trials.conditions(part, specimen, ())
        truth = GOOD
        if rng.random() >= GOOD_SHARE:
            plan = trials.plan(part, 0, 1, specimen, grades=GRADES)
            bad = [trial for trial in plan if trial.name not in NOT_HIDDEN]
            trial = bad[int(rng.integers(len(bad)))]
            spec, truth = trial.spec, trial.name
        drawn.append(Hidden(number, replace(spec, supply_v=12.6), truth))
    return drawn


def make(book: Book, seed: str, parts: tuple[str, ...], count: int) -> Iterator[int]:
    """Stroke each part of an exercise into ``book``, and yield its number when it is there.

    UsageError when the book has an exercise already, for an unknown part, or for too many.
    """
    from strokebench.sim.plants import canonical

    if not 1 <= count <= MOST_PARTS:
        raise UsageError(f"An exercise cannot have {count} parts.", f"It has 1 to {MOST_PARTS}.")
    if len(seed) < 4:
        raise UsageError("The seed is too short to keep a secret.", "Take a word of 4 letters or more.")
    if book.fact(FACT) is not None:
        raise UsageError(f"{book.path} holds an exercise already.", "Name another file with --book.")
    parts = tuple(canonical(part) for part in parts)
    runs: list[int] = []
    for hidden in draw(seed, parts, count):
        runs.append(_stroke(book, hidden))
        book.keep_fact(FACT, {"parts": list(parts), "runs": runs, "of": count, "opened": False,
                              "digest": _digest(seed, parts, count).hex()})  # fmt: skip
        yield hidden.number


def _stroke(book: Book, hidden: Hidden) -> int:
    """Record the part's own procedure; its number in the book."""
    from strokebench.bench.bench import Bench
    from strokebench.parts import load_part
    from strokebench.parts.on_bench import on_bench
    from strokebench.session import arm_or_refusal, record, record_refusal
    from strokebench.sim.engine.inprocess import InProcessPort

    spec = hidden.spec
    with Bench(InProcessPort(spec), f"simulated {spec.part}", spec.engine) as bench:
        profile = on_bench(load_part(spec.part), bench.identity.board)
        bench.set_limits(profile.limits)
        refusal = arm_or_refusal(bench, profile, lambda question: False)
        info = bench.info()
        info["identity"] = {**info["identity"], "uid": ""}  # it holds the specimen's number
        writer = book.new_run(
            profile.name, profile.kind, note=f"exercise, part {hidden.number}", info=info,
            accuracy=bench.accuracy(), profile=profile.model_dump(mode="json", exclude_none=True),
        )  # fmt: skip
        with writer:
            if refusal is not None:
                record_refusal(
                    bench, writer, replace(refusal, checked="by option")
                )  # no leads but ideal ones
            else:
                record(bench, profile, writer)
        return writer.run_id


def runs_of(book: Book) -> list[int]:
    """Return the runs of the book's exercise, in the order of its parts; BookError without one."""
    kept = book.fact(FACT)
    if not isinstance(kept, dict) or not isinstance(kept.get("runs"), list):
        raise BookError(f"{book.path} holds no exercise.", "Make one: strokebench exercise make.")
    return [int(run) for run in kept["runs"]]


def run_of(book: Book, number: int) -> int:
    """Return the run of part ``number``; UsageError when the exercise has no such part."""
    runs = runs_of(book)
    if not 1 <= number <= len(runs):
        raise UsageError(f"The exercise has no part {number}.", f"Its parts are 1 to {len(runs)}.")
    return runs[number - 1]


def judged(book: Book, number: int) -> tuple[str, list[Finding], Verdict]:
    """Return the simulated part, the findings and the verdict of part ``number``."""
    from strokebench.parts import profile_of
    from strokebench.verdict.examine import examine

    run = run_of(book, number)
    data = book.load(run)
    profile = profile_of(book.profile(run), book.summary(run).part)
    findings, verdict = examine(data, profile)
    return str(book.summary(run).part), findings, verdict


def predict(book: Book, number: int, group: str, says: str) -> None:
    """Write a group's prediction into the note of part ``number``.

    UsageError for a defect that such a part cannot have, for an odd name, and once the exercise is opened.
    """
    run = run_of(book, number)
    if book.fact(FACT).get("opened"):
        raise UsageError("The exercise has been opened: the truth is known.", "Make a new one.")
    names = possible(book.summary(run).part)
    if says not in names:
        raise UsageError(f"Part {number} cannot have {says!r}.", f"Possible: {', '.join(names)}.")
    line = f"prediction by {group.strip()}: {says}"
    if not LINE.fullmatch(line):
        raise UsageError("A group's name has 1 to 40 characters on one line.", "Take a shorter name.")
    book.add_note(run, line)


def predictions(book: Book, number: int) -> dict[str, str]:
    """Return each group's last prediction for part ``number``."""
    return dict(LINE.findall(book.summary(run_of(book, number)).note))


def opened(book: Book, seed: str) -> list[Answer]:
    """Return the truth beside all answers, and keep that the exercise was opened.

    UsageError when the seed is not the one that the exercise was made with.
    """
    from strokebench.verdict import named_faults
    from strokebench.verdict.decision import suspects

    runs, kept = runs_of(book), book.fact(FACT)
    parts, count = tuple(kept["parts"]), int(kept["of"])
    if _digest(seed, parts, count).hex() != kept["digest"]:
        raise UsageError("This is not the seed of that exercise.", "Look for typing errors and blanks.")
    book.keep_fact(FACT, {**kept, "opened": True})
    answers = []
    for hidden in draw(seed, parts, count)[: len(runs)]:
        part, findings, verdict = judged(book, hidden.number)
        named = (*named_faults(findings), *suspects(findings))
        answers.append(
            Answer(hidden.number, part, hidden.truth, verdict.value, named, predictions(book, hidden.number))
        )
    return answers


def _digest(seed: str, parts: tuple[str, ...], count: int) -> bytes:
    return hashlib.sha256(f"{seed}|{count}|{','.join(parts)}".encode()).digest()
