"""The page on learnt limits: false alarms and power against the number of good parts, by part and family."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from strokebench.verdict.learning.scale import FREEDOM

from tools.evidence.learning.counts import OF_BENCH, PARTS, Counts, count_cell, highest, together
from tools.evidence.learning.draw import Stroked, cell
from tools.evidence.workers import Record

HEAD = """\
# Limits learned from good parts: false alarms and power

Simulated parts only. No real part has been measured. Made by `python -m tools.evidence.learning` with seeds from
{seed} on, in both families of parts, on benches as built (each specimen on another bench). Each specimen was measured
once, at a supply drawn from 11 to 14.5 V and a temperature from 0 to 45 C. Nothing was tuned on these seeds. The prior
spreads, the floors and the powers of the times' laws come from seeds {tune} to {tune_end} of the same families. So the
page shows that the limits hold on other specimens and conditions. It does not show that real parts spread like these.
The fourth table shows parts that spread otherwise.

**How it is counted.** Some good parts are drawn ({draws} times for each number), limits are learned from them, and all
other specimens are judged by these limits alone. *False alarms*: share of good parts that fail in any limit. All
limits of a part together may fail 1 in 100. In brackets: upper end of the 95 % interval, specimens drawn anew. It is
wide in a single row because few specimens are behind it. *Pass*: share of good parts of which every finding passes. The
rest are inconclusive. *Found*: share of moderate defects that fail, a part with one of its defects each ({supply} are
the supply's and not counted). *Built-in*: what the built-in limits find of the same specimens. They were set by people
who knew the simulated parts, with their values before them. Nobody has that for a real part.
"""
ANYWHERE = "## By part and family\n\nThe good parts were measured anywhere from 11 to 14.5 V and 0 to 45 C.\n"
AT_A_TIME = """\
## Learned at one supply

As a shop does that measures its good parts in one week: only parts measured from {low:g} to {high:g} V are learned from.
Those that are judged lie anywhere from 11 to 14.5 V and 0 to 45 C.
"""
OTHERWISE = """\
## Parts that spread otherwise than the prior says

The prior spread of each finding counts as {freedom:g} parts. Here all findings, but those that end at zero, spread by
another factor. Real parts may be like this. What spreads twice as much as the prior says has more false alarms than
1 in 100 until about ten parts are learned.
"""
LOW_V, HIGH_V = 12.0, 13.2
SPREADS = (0.5, 1.0, 1.5, 2.0)

Cells = Mapping[tuple[str, str], Sequence[Stroked]]


def page(records: Mapping[tuple[str, str], Sequence[Record]], seeds: tuple[int, int, int], draws: int) -> str:
    """Return the page as Markdown; ``seeds``: first of reporting, first and last of tuning."""
    cells = {name: cell(some, name[0]) for name, some in records.items()}
    first, tune, tune_end = seeds
    anywhere = {name: count_cell(parts, name[0], draws, 1, name=" ".join(name)) for name, parts in cells.items()}
    head = HEAD.format(seed=first, tune=tune, tune_end=tune_end, draws=draws, supply=" and ".join(OF_BENCH))
    text = [head, "## All parts together", "", *_together(anywhere, cells), "", ANYWHERE, *_rows(anywhere, cells), ""]
    text += [AT_A_TIME.format(low=LOW_V, high=HIGH_V), *_pooled(_at_a_time(cells, draws)), ""]
    text += [OTHERWISE.format(freedom=FREEDOM), *_otherwise(cells, max(2, draws // 3)), ""]
    return "\n".join(text)


def _at_a_time(cells: Cells, draws: int) -> Counts:
    found = [
        count_cell(
            parts, name[0], draws, 2, name=" ".join(name),
            learn_at=lambda each: LOW_V <= each.at.supply_v <= HIGH_V,
        )
        for name, parts in cells.items()
    ]  # fmt: skip
    return together(found)


def _otherwise(cells: Cells, draws: int) -> list[str]:
    lines = ["| spread, times the parts' own | " + " | ".join(f"false alarms, {n} parts" for n in PARTS) + " |"]
    lines.append("| --- |" + " --- |" * len(PARTS))
    for spread in SPREADS:
        whole = together([
            count_cell(parts, name[0], draws, 3, spread=spread, name=" ".join(name)) for name, parts in cells.items()
        ])  # fmt: skip
        lines.append(f"| {spread:g} | " + " | ".join(_alarms(whole, n) for n in PARTS) + " |")
    return lines


def _together(found: Mapping[tuple[str, str], Counts], cells: Cells) -> list[str]:
    lines = ["| family | good parts learned from | false alarms | pass | found | built-in |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    for family in dict.fromkeys(name[1] for name in cells):
        some = {name: counts for name, counts in found.items() if name[1] == family}
        whole = together(list(some.values()))
        built_in = _built_in([part for name in some for part in cells[name]])
        lines += [f"| {family} | {n} | {_one(whole, n)} | {built_in} |" for n in PARTS if n in whole]
    return lines


def _rows(found: Mapping[tuple[str, str], Counts], cells: Cells) -> list[str]:
    lines = ["| part | family | specimens: good, with a defect | learned from | false alarms | pass | found | built-in |"]
    lines.append("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, counts in found.items():
        good = sum(part.name == "good" for part in cells[name])
        bad = sum(part.name not in ("good", *OF_BENCH) for part in cells[name])
        for n in counts:
            lines.append(
                f"| {name[0]} | {name[1]} | {good}, {bad} | {n} | {_one(counts, n)} | {_built_in(cells[name])} |"
            )
    return lines


def _pooled(whole: Counts) -> list[str]:
    lines = ["| good parts learned from | false alarms | pass | found |", "| --- | --- | --- | --- |"]
    return lines + [f"| {n} | {_one(whole, n)} |" for n in PARTS if n in whole]


def _one(counts: Counts, n: int) -> str:
    good, bad = counts[n]
    found = f"{100 * bad.rates.mean():.0f} %" if len(bad.rates) else ""
    return f"{_alarms(counts, n)} | {100 * good.passes:.0f} % | {found}"


def _alarms(counts: Counts, n: int) -> str:
    if n not in counts:
        return ""
    rates = counts[n][0].rates
    return f"{100 * rates.mean():.2f} % ({100 * highest(rates):.1f})"


def _built_in(parts: Sequence[Stroked]) -> str:
    bad = [part for part in parts if part.name not in ("good", *OF_BENCH)]
    return f"{100 * sum(part.failed_before for part in bad) / len(bad):.0f} %" if bad else ""
