"""The page docs/pairs.md from the records of many pairs of defects, with Wilson intervals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import pairwise

from strokebench.physics.wilson import wilson_interval
from strokebench.verdict.hypotheses import OPPOSITE

from tools.evidence.again import Answer, answer
from tools.evidence.workers import Record

HEAD = """\
# Two defects at once

This page puts two defects at once into simulated parts and counts how often the program names both. It
also checks whether the probabilities that the program states are true. The last tables show which pairs
it confuses.

All parts are simulated. Nothing here was measured on real hardware. Made by `python -m tools.evidence.pairs`
with seeds from {seed} on, on which nothing was tuned. A trial is one simulated part with two defects.
{planned} trials were planned, {specimens} of each pair and grade, from both families of parts in turn.
{trials} of them were run. Pairs in which one defect hides the other (an open winding, a blocked rotor, a
dead track) are left out, and so is a weak battery of the bench. So are pairs that undo each other, or that
nobody could tell from one of the two: {opposite}.
In brackets is the 95 % Wilson interval.

Two defects together may block a part, so that it never moves by 3 % of its travel, or never turns as fast as
30 rad/s ({held} trials, by what the simulated part truly did). Then only its winding can be measured. No run
can tell whether such a part is blocked, too weak, or too hard to move. These trials have a row of their own
and are not counted in other rows. A defect is *named* when a finding that is out of its limits shows it, or
when it is suspected beside one. A suspect is part of the leading hypothesis and has a probability of 60 % or
more, but no finding that is out of limits shows it. [Verdicts](explanation/verdicts.md) explains how the
program finds its answer. `python -m tools.evidence.effects` makes the table of the effects of each defect,
from specimens of both families on other seeds.
"""
COLUMNS = """
| {what} | trials | both named | both shown by failing findings | at least one named | a third invented |
| --- | --- | --- | --- | --- | --- |
"""
MISSED = """
## Which pairs are not both named

Each line names a part and its pair of defects, the number of trials in which not both were named,
and in brackets the names that were given instead.

"""
CALIBRATION = """
## Are the probabilities true?

The table groups the trials by the probability of their leading hypothesis. If the probabilities are true,
about 80 % of the trials with "70 to 90 %" are right. A trial is right if the hypothesis has exactly the
defects of the part, and no others. There is no hypothesis if nothing fails or if the bench refuses to drive:
{without} of {trials} trials.

| stated probability | trials | mean stated | right |
| --- | --- | --- | --- |
"""
BINS = (0.0, 0.3, 0.5, 0.7, 0.9, 0.97, 1.0001)

Answered = tuple[Record, Answer]


def page(records: dict[str, list[Record]], planned: int, specimens: int, seed: int) -> str:
    """Return the page as Markdown; ``planned``: how many trials there were to be."""
    by_part = {part: [(each, answer(each)) for each in some] for part, some in records.items()}
    whole = [pair for some in by_part.values() for pair in some]
    held = [pair for pair in whole if stood(pair[0])]
    by_part = {part: [pair for pair in some if not stood(pair[0])] for part, some in by_part.items()}
    everything = [pair for some in by_part.values() for pair in some]
    head = HEAD.format(
        specimens=specimens,
        seed=seed,
        trials=len(whole),
        planned=planned,
        held=len(held),
        opposite=", ".join(" + ".join(sorted(pair)) for pair in OPPOSITE),
    )
    lines = [head, COLUMNS.format(what="part")]
    lines += [_row(part, some) for part, some in by_part.items()]
    lines += [_row("all", everything)]
    lines += [_row("apart: hardly moved", held)] if held else []
    lines += [COLUMNS.format(what="grade and family")]
    for grade in dict.fromkeys(record["grade"] for record, _ in everything):
        for family in dict.fromkeys(record["spec"]["family"] for record, _ in everything):
            some = [
                (record, found)
                for record, found in everything
                if (record["grade"], record["spec"]["family"]) == (grade, family)
            ]
            lines.append(_row(f"{grade}, {family}", some))
    lines += [MISSED, *_missed(by_part)]
    without = sum(found.leading is None for _, found in everything)
    lines += [CALIBRATION.format(without=without, trials=len(everything)), *reliability(everything)]
    return "".join(lines)


def stood(record: Record) -> bool:
    """Return True for a trial whose part never moved."""
    return record.get("moved") is False


def there(record: Record) -> set[str]:
    """Return the defects that were put into a trial's part."""
    return set() if record["name"] == "good" else set(record["name"].split("+"))


def _row(name: str, some: list[Answered]) -> str:
    both = sum(there(record) <= found.named for record, found in some)
    shown = sum(there(record) <= found.shown for record, found in some)
    least = sum(bool(there(record) & found.named) for record, found in some)
    third = sum(bool(found.named - there(record)) for record, found in some)
    cells = [_share(hits, len(some)) for hits in (both, shown, least, third)]
    return f"| {name} | {len(some)} | {' | '.join(cells)} |\n"


def _missed(by_part: dict[str, list[Answered]]) -> Iterable[str]:
    for part, some in by_part.items():
        for name in dict.fromkeys(record["name"] for record, _ in some):
            trials = [(record, found) for record, found in some if record["name"] == name]
            wrong = [(record, found) for record, found in trials if not there(record) <= found.named]
            if wrong:
                instead = "; ".join(_counted(Counter(_instead(record, found) for record, found in wrong)))
                yield f"- {part}, {name}: {len(wrong)} of {len(trials)} ({instead}).\n"


def _counted(texts: Counter[str]) -> Iterable[str]:
    for text, count in texts.items():
        yield f"{count} times {text}" if count > 1 else text


def _instead(record: Record, found: Answer) -> str:
    names = ", ".join(sorted(found.named)) or "nothing"
    return f"{record['grade']}, {record['spec']['family']}: {names}"


def reliability(some: list[Answered]) -> Iterable[str]:
    """Yield the rows of the table of calibration."""
    said = [
        (found.leading.probability, set(found.leading.defects) == there(record))
        for record, found in some
        if found.leading is not None
    ]
    for low, high in pairwise(BINS):
        inside = [(probability, right) for probability, right in said if low <= probability < high]
        if inside:
            mean = 100 * sum(probability for probability, _ in inside) / len(inside)
            hits = sum(right for _, right in inside)
            top = min(100.0, 100 * high)
            cells = (f"{100 * low:.0f} to {top:.0f} %", str(len(inside)), f"{mean:.0f} %")
            yield f"| {' | '.join(cells)} | {_share(hits, len(inside))} |\n"


def _share(hits: int, count: int) -> str:
    if not count:
        return "-"
    low, high = (100 * edge for edge in wilson_interval(hits, count))
    return f"{100 * hits / count:.1f} % ({low:.1f}-{high:.1f})"
