"""The page docs/pairs.md from the records of many pairs of defects, with Wilson intervals."""

from __future__ import annotations

from itertools import pairwise

from strokebench.physics.wilson import wilson_interval
from strokebench.verdict.decision import SUPPLY, judge, named_faults, verdict_of
from strokebench.verdict.effects import table
from strokebench.verdict.hypotheses import rank

from tools.evidence.effects import as_finding
from tools.evidence.workers import Record

HEAD = """\
# Two defects at once

Simulated parts only; nothing here was measured on real hardware. Made by `python -m tools.evidence.pairs`
with seeds from {seed} on, on which nothing was tuned: {specimens} specimen(s) of each pair and family of
parts, {grades}, {trials} trials in all. Pairs of which one hides the other (an open winding, a blocked rotor,
a dead track) are left out, and so is the bench's own battery. In brackets: 95 % Wilson interval.

How the answer comes about is told on [verdicts](explanation/verdicts.md). The table of what each defect
does is made by `python -m tools.evidence.effects` on other seeds.

| part | trials | both named | at least one | a third invented |
| --- | --- | --- | --- | --- |
"""
CALIBRATION = """
## Are the probabilities true?

The most probable hypothesis of each trial, gathered by its probability. If they are true, of the trials
with "70 to 90 %" some 80 % are right. Right is: exactly the two defects that were put in.
Only defects that a failing finding points to are tried. Where only one is pointed to, it gets 100 %, however
much the other has hidden: these trials fill the last row.

| probability said | trials | mean said | right |
| --- | --- | --- | --- |
"""
BINS = (0.0, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0001)


def page(records: dict[str, list[Record]], kinds: dict[str, str], specimens: int, seed: int) -> str:
    """Return the page as Markdown."""
    known = {part: [record for record in some if record.get("readings")] for part, some in records.items()}
    everything = [(kinds[part], record) for part, some in known.items() for record in some]
    grades = " and ".join(dict.fromkeys(record["grade"] for _, record in everything))
    lines = [HEAD.format(grades=grades, specimens=specimens, seed=seed, trials=len(everything))]
    for part, some in known.items():
        lines.append(_row(part, [(kinds[part], record) for record in some]))
    lines += [_row("all", everything), CALIBRATION, *_reliability(everything)]
    return "".join(lines)


def names_of(kind: str, record: Record) -> set[str]:
    """Return the defects that today's verdict names for a record, judged again from its readings."""
    found = judge([as_finding(reading) for reading in record["readings"]], kind=kind)
    return set(named_faults(found)) - set(SUPPLY)


def _row(part: str, some: list[tuple[str, Record]]) -> str:
    both = least = third = 0
    for kind, record in some:
        named, there = names_of(kind, record), set(record["name"].split("+"))
        both += there <= named
        least += bool(there & named)
        third += bool(named - there)
    cells = [_share(hits, len(some)) for hits in (both, least, third)]
    return f"| {part} | {len(some)} | {' | '.join(cells)} |\n"


def _reliability(some: list[tuple[str, Record]]) -> list[str]:
    said = []
    for kind, record in some:
        found = [verdict_of(as_finding(reading)) for reading in record["readings"]]
        ranked = rank([finding for finding in found if finding.fault not in SUPPLY], table().get(kind, ()))
        if ranked:
            said.append((ranked[0].probability, set(ranked[0].defects) == set(record["name"].split("+"))))
    lines = []
    for low, high in pairwise(BINS):
        inside = [(probability, right) for probability, right in said if low <= probability < high]
        if inside:
            mean = 100 * sum(probability for probability, _ in inside) / len(inside)
            hits = sum(right for _, right in inside)
            top = min(100.0, 100 * high)
            cells = (
                f"{100 * low:.0f} to {top:.0f} %",
                str(len(inside)),
                f"{mean:.0f} %",
                _share(hits, len(inside)),
            )
            lines.append(f"| {' | '.join(cells)} |\n")
    return lines


def _share(hits: int, count: int) -> str:
    if not count:
        return "-"
    low, high = (100 * edge for edge in wilson_interval(hits, count))
    return f"{100 * hits / count:.1f} % ({low:.1f}-{high:.1f})"
