"""The page on learnt limits: false alarms and power against the number of good parts, by part and family."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from strokebench.verdict.learning.scale import FREEDOM

from tools.evidence.learning.counts import OF_BENCH, PARTS, Counts, count_cell, highest, together
from tools.evidence.learning.draw import Stroked, cell
from tools.evidence.workers import Record

HEAD = """\
# Limits learned from good parts: false alarms and power

This page checks limits that were learned from a few good parts. It counts how many further good parts
fail by them (one in a hundred is the aim), and how many moderate defects they find. All parts are
simulated.

All parts are simulated. No real part has been measured. Made by `python -m tools.evidence.learning` with
seeds from {seed} on, in both families of parts, on benches as built (each specimen, that is each
simulated part, on another bench). Each specimen was measured once, at a supply drawn from 11 to 14.5 V
and a temperature from 0 to 45 C. Nothing was tuned on these seeds. The prior spreads, the floors and the
powers in the laws of the times come from seeds {tune} to {tune_end} of the same families. So the page
shows that the limits hold on other specimens and conditions. It does not show that real parts spread
like these. The fourth table is about parts with another spread.

The fuel pump at its fuse was counted anew, with seeds from {again} on. In a first count one good specimen
of the second family (seed 72002) failed by `once_a_turn`. Its reading was far above all others, which is
rare. One of the tuning specimens had such a reading too. The floors of findings that end at zero were
then raised from 1.25 to 2 times the highest reading of the tuning specimens. In the other parts no good
specimen had failed.

**How it is counted.** Some good parts are drawn ({draws} times for each number), limits are learned from
them, and all other specimens are judged by these limits alone. The tuning specimens may be drawn too, but
they are only learned from, never judged. *False alarms* is the share of good parts that fail in any limit.
All limits of a part together may fail 1 part in 100. In brackets is the upper end of the 95 % interval, with
the specimens drawn anew. It is wide in a single row, because a row has few specimens. *Pass* is the share of
good parts of which every finding passes. The rest are inconclusive. There are more of them where limits come
close to a reading's own uncertainty. *Found* is the share of moderate defects that fail. Each part has one
of its defects ({supply} belong to the supply and are not counted). *Built- in* is the share that the
built-in limits find in these specimens. The people who set these limits knew the values of the simulated
parts. Nobody knows them for a real part.
"""
ANYWHERE = "## By part and family\n\nThe good parts were measured anywhere from 11 to 14.5 V and 0 to 45 C.\n"
AT_A_TIME = """\
## Learned at one supply

A shop may measure all its good parts in one week. So here the limits are learned only from parts
measured from {low:g} to {high:g} V. The judged parts were measured anywhere from 11 to 14.5 V and 0
to 45 C.
"""
OTHERWISE = """\
## Parts with another spread than the prior

The prior spread of each finding counts as {freedom:g} parts. In this table the spread of all findings
is multiplied by a factor, except for findings that end at zero. Real parts may be like this. A type
of part that spreads twice as much as its prior can have more false alarms than 1 in 100.
"""
BOTH = "both"
LOW_V, HIGH_V = 12.0, 13.2
SPREADS = (0.5, 1.0, 1.5, 2.0)

Name = tuple[str, str]
Records = Mapping[Name, Sequence[Record]]


@dataclass(frozen=True)
class Cell:
    """A part's specimens of one family: those that are judged, and those for tuning, only learned from."""

    judged: list[Stroked]
    tuned: list[Stroked]

    def count(self, name: Name, draws: int, seed: int, **how: Any) -> Counts:
        """Return the counts of this cell."""
        return count_cell(
            self.judged, name[0], draws, seed, name=" ".join(name), learn_only=self.tuned, **how
        )


Cells = Mapping[Name, Cell]


def page(records: Records, tuning: Records, seeds: Mapping[str, int], draws: int) -> str:
    """Return the page as Markdown; ``seeds``: the numbers that its head names."""
    cells = {
        name: Cell(cell(some, name[0]), cell(tuning.get(name, ()), name[0])) for name, some in records.items()
    }
    anywhere = {name: some.count(name, draws, 1) for name, some in cells.items()}
    head = HEAD.format(**seeds, draws=draws, supply=" and ".join(OF_BENCH))
    text = [head, "## All parts together", "", *_together(anywhere, cells), ""]
    text += [ANYWHERE, *_rows(anywhere, cells), ""]
    text += [AT_A_TIME.format(low=LOW_V, high=HIGH_V), *_pooled(_at_a_time(cells, draws)), ""]
    text += [OTHERWISE.format(freedom=FREEDOM), *_otherwise(cells, max(2, draws // 3)), ""]
    return "\n".join(text)


def _at_a_time(cells: Cells, draws: int) -> Counts:
    def then(part: Stroked) -> bool:
        return LOW_V <= part.at.supply_v <= HIGH_V

    return together([some.count(name, draws, 2, learn_at=then) for name, some in cells.items()])


def _otherwise(cells: Cells, draws: int) -> list[str]:
    lines = [
        "| spread, times the parts' own | " + " | ".join(f"false alarms, {n} parts" for n in PARTS) + " |"
    ]
    lines.append("| --- |" + " --- |" * len(PARTS))
    for spread in SPREADS:
        whole = together([some.count(name, draws, 3, spread=spread) for name, some in cells.items()])
        lines.append(f"| {spread:g} | " + " | ".join(_alarms(whole, n) for n in PARTS) + " |")
    return lines


def _together(found: Mapping[Name, Counts], cells: Cells) -> list[str]:
    lines = ["| family | good parts learned from | false alarms | pass | found | built-in |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    for family in (*dict.fromkeys(name[1] for name in cells), BOTH):
        some = {name: counts for name, counts in found.items() if family in (name[1], BOTH)}
        whole = together(list(some.values()))
        built_in = _built_in([part for name in some for part in cells[name].judged])
        lines += [f"| {family} | {n} | {_one(whole, n)} | {built_in} |" for n in PARTS if n in whole]
    return lines


def _rows(found: Mapping[Name, Counts], cells: Cells) -> list[str]:
    columns = "part | family | good, with a defect | learned from | false alarms | pass | found | built-in"
    lines = [f"| {columns} |"]
    lines.append("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, counts in found.items():
        judged = cells[name].judged
        good = sum(part.name == "good" for part in judged)
        bad = sum(part.name not in ("good", *OF_BENCH) for part in judged)
        for n in counts:
            known = f"{name[0]} | {name[1]} | {good}, {bad} | {n}"
            lines.append(f"| {known} | {_one(counts, n)} | {_built_in(judged)} |")
    return lines


def _pooled(whole: Counts) -> list[str]:
    lines = ["| good parts learned from | false alarms | pass | found |", "| --- | --- | --- | --- |"]
    return lines + [f"| {n} | {_one(whole, n)} |" for n in PARTS if n in whole]


def _one(counts: Counts, n: int) -> str:
    good, bad = counts[n]
    found = f"{100 * bad.rates.mean():.0f} %" if len(bad.rates) else ""
    return f"{_alarms(counts, n)} | {100 * good.passes:.0f} % | {found}"


def _alarms(counts: Counts, n: int) -> str:
    rates = counts[n][0].rates if n in counts else np.array([])
    if not len(rates):
        return ""
    return f"{100 * rates.mean():.2f} % ({100 * highest(rates):.1f})"


def _built_in(parts: Sequence[Stroked]) -> str:
    bad = [part for part in parts if part.name not in ("good", *OF_BENCH)]
    return f"{100 * sum(part.failed_before for part in bad) / len(bad):.0f} %" if bad else ""
