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
# Limits learned from good parts: false alarms and defects found

This page checks limits that were learned from a few good parts. It counts how many other good parts
fail with these limits (the aim is at most one in a hundred), and how many defects the limits find. All
parts are simulated, and no real part has been measured.

How to learn limits from your own parts is on the page [Make limits from known-good parts](how-to/learn.md).
A [finding](reference/glossary.md#finding) is a measured quantity of a part. A
[specimen](reference/glossary.md#specimen) is one simulated part, and its
[seed](reference/glossary.md#seed) is the number that chooses it. Every kind of part exists in two
[families](simulation.md#two-families-of-parts), which are simulated with different equations.

**How the specimens were measured.** Each specimen was measured once, on a simulated bench of its own that
was never calibrated. The supply voltage was chosen at random between 11 and 14.5 V, and the temperature
between 0 and 45 °C. The counted specimens have seeds from {seed} on.

**What was tuned, and with which specimens.** The program uses three things that come from simulated parts:

- the *prior spread* of each finding: how much good parts are assumed to differ before any was measured
- the *floor* of a finding that cannot be below zero: its upper limit is never lower than this
- the exponents with which measured times are converted to another supply voltage (time = constant x
  voltage^exponent)

All three come from the *tuning specimens*: seeds {tune} to {tune_end}, which makes {tuned} of each part and
family. They are not counted on this page. So the page shows that the limits also hold for other specimens
at other voltages and temperatures. It does not show that real parts differ from each other as much as these
do. The last table is about parts that differ more than assumed, and about parts that differ less.

**One exception.** In one case a counted specimen led to a change: the rule for the floors was changed.
The part `fuel-pump-fuse` is a fuel pump that is measured at its fuse socket. In a first count one good
specimen of it failed (seed 72002, second family). The finding was
[`once_a_turn`](reference/findings.md#once_a_turn), a ripple of the current that comes once per turn. The
reading was 1.75 %, and those of nearly all other good specimens are below 0.12 %. Such a reading is rare,
but one of the tuning specimens had 1.29 %. At that time the floor was 1.25 times the highest reading of
the tuning specimens: 1.25 x 1.29 % = 1.61 %. So the rule for the floors of all parts was changed: a floor
is now at least 2 times the highest reading, here 2.58 %. Then `fuel-pump-fuse` was counted again, with
new seeds from {again} on. The other parts kept their seeds, because in that first count none of their
good specimens had failed. All tables use the new floors. They are of a later count, in which other good
specimens may fail.

**How it was counted.** For each row some good specimens of that part and family are chosen at random, and
limits are learned from them. They are chosen among the counted ones and the {tuned} tuning specimens. All
counted specimens that were not chosen are then judged by these limits alone. This is done {draws} times. So
a row can learn from 20 even where only 16 good specimens are counted. The tuning specimens are never
judged.

- *Learned from* is the number of good specimens that the limits are learned from.
- *False alarms* is the share of good specimens that fail with any of their limits. The aim is at most one
  in a hundred, for all limits of a part together.
- The number in brackets is a percentage too: the highest true share of false alarms that still agrees with
  the count (the upper end of a one-sided 95 % interval). It is large in a row with few specimens. If none
  of n specimens failed, it is 1 - 0.05^(1/n). Here n is the number of specimens that were judged at least
  once. (If limits are learned from 20, a specimen may be chosen for learning in all {draws} draws. Then it
  is never judged.) If some failed, it comes from drawing the specimens again and again at random (a
  bootstrap). If that is less than the formula gives, the value of the formula is used.
- *Pass* is the share of good specimens of which every finding passes. Those that neither pass nor fail
  are inconclusive. This happens where the range between the limits is hardly wider than the uncertainty
  of a reading.
- *Found* is the share of the specimens with a moderate defect that fail. Each of them has one defect. The
  defects {supply} belong to the supply, so they are not counted.
- *Built-in* is the share of these defective specimens that fail with the built-in limits. The people who
  set the built-in limits knew the values of the simulated parts. Nobody knows them for a real part.

**To repeat it:** install the program from its source, as in [First run](tutorial/first-run.md#1-install).
Then type these commands:

1. `cd host`
2. `python -m tools.evidence.learning --good {good} --draws {draws}`. This measures the tuning specimens,
   {good} good specimens of each part and family, and specimens with defects. It chooses the seeds by itself.
   Then it writes this page anew.
"""
ANYWHERE = """\
## By part and family

The judged specimens were measured anywhere from 11 to 14.5 V and 0 to 45 °C. The third column has two
numbers: good specimens, and specimens with a defect.

In the part `wiring` half of the defects are not found. These are `supply_resistance` and `bad_crimp`. They
change findings about the supply lead. No limits are learned for such findings. When you test a part with
learned limits, the built-in limits of these findings stay in force, and they find both defects.
"""
AT_A_TIME = """\
## Learned at one supply voltage

A shop may measure all its good parts in one week, at nearly the same supply voltage. So here the limits are
learned only from specimens that were measured from {low:g} to {high:g} V. The judged specimens were
measured anywhere from 11 to 14.5 V and 0 to 45 °C. A row counts only the parts and families that have so
many specimens to learn from. Few have 10, so the last row cannot be compared with the others.
"""
OTHERWISE = """\
## Parts that differ more or less than assumed

A few good parts say little about how much such parts differ. So the prior spread of each finding has as
much weight as {freedom:g} measured parts. Real parts may have another spread. For this table no new
specimens were simulated. The distance of each reading from the mean of its finding is multiplied by the
factor in the first column. With a factor of 1 they differ about as much as the prior spread says. Readings
of findings that cannot be below zero are left as they are. For each part and family, the good specimens to
learn from were chosen at random only {draws} times for each entry. (The command above does that by itself:
for this table it takes a third of its `--draws`, but at least 2.) So neighbouring entries of the table may
differ by chance.

With a factor of 1.5 or 2, more than one good part in a hundred can fail if the limits were learned from 3
or 5 parts.
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
    head = HEAD.format(**seeds, draws=draws, supply=" and ".join(f"`{name}`" for name in OF_BENCH))
    text = [head, "## All parts together", "", *_together(anywhere, cells), ""]
    text += [ANYWHERE, *_rows(anywhere, cells), ""]
    text += [AT_A_TIME.format(low=LOW_V, high=HIGH_V), *_pooled(_at_a_time(cells, draws)), ""]
    few = max(2, draws // 3)
    text += [OTHERWISE.format(freedom=FREEDOM, draws=few), *_otherwise(cells, few), ""]
    return "\n".join(text)


def _at_a_time(cells: Cells, draws: int) -> Counts:
    def then(part: Stroked) -> bool:
        return LOW_V <= part.at.supply_v <= HIGH_V

    return together([some.count(name, draws, 2, learn_at=then) for name, some in cells.items()])


def _otherwise(cells: Cells, draws: int) -> list[str]:
    lines = [
        "| spread multiplied by | " + " | ".join(f"false alarms, learned from {n}" for n in PARTS) + " |"
    ]
    lines.append("| --- |" + " --- |" * len(PARTS))
    for spread in SPREADS:
        whole = together([some.count(name, draws, 3, spread=spread) for name, some in cells.items()])
        lines.append(f"| {spread:g} | " + " | ".join(_alarms(whole, n) for n in PARTS) + " |")
    return lines


def _together(found: Mapping[Name, Counts], cells: Cells) -> list[str]:
    lines = ["| family | learned from | false alarms | pass | found | built-in |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    for family in (*dict.fromkeys(name[1] for name in cells), BOTH):
        some = {name: counts for name, counts in found.items() if family in (name[1], BOTH)}
        whole = together(list(some.values()))
        built_in = _built_in([part for name in some for part in cells[name].judged])
        lines += [f"| {family} | {n} | {_one(whole, n)} | {built_in} |" for n in PARTS if n in whole]
    return lines


def _rows(found: Mapping[Name, Counts], cells: Cells) -> list[str]:
    columns = "part | family | good, defective | learned from | false alarms | pass | found | built-in"
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
    lines = ["| learned from | false alarms | pass | found |", "| --- | --- | --- | --- |"]
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
