"""The page docs/coverage.md from the records of many trials: coverage by finding, false alarms, names."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from strokebench.physics.wilson import wilson_interval
from strokebench.sim.truths import MEANS

from tools.evidence import shortfalls
from tools.evidence.workers import Record

AIM = (0.93, 0.97)
ABSOLUTE = {
    "leak": "mS",
    "rest_position": "% of travel",
    "rest_spread": "% of travel",
    "travel": "%",
    "stop_closed": "%",
    "stop_open": "%",
    "shut_position": "%",
    "seat_sticking": "%",
    "low_speed_loss": "%",
}
"""Findings whose errors are told in their own unit, because their truth may be zero; all others in %."""
HEAD = """\
# Whether stated uncertainties are true

This page checks the uncertainty that each finding has: the true value should be within it in about 95
of 100 simulated parts. A share far below 95 % means that a finding claims too much, a share of 100 %
that it claims too little. The page also counts false alarms on good parts.

All parts are simulated. Nothing here was measured on real hardware. Made by
`python -m tools.evidence.coverage --good {most} --each {each} --first-seed {seed}`: {good} good specimens of
each part and family. A seed gives one bench for all parts, so rows are not independent of each other. The
**first** family of parts is the one that estimators and limits were tuned on (with seeds below 10000). The
**second** family has another physics (`host/strokebench/sim/second`). Some judgements were set on it too,
with seeds 1 to 30 and 401 to 670. No estimator, judgement or limit was set on the seeds of this page. The
people who built the estimators had read the code of the second family, so the test is not blind. The bench
is *as built*: its gains and offsets are off by as much as the tolerances of its parts allow. The stated
uncertainties are meant for such a bench.

{note}The *error* is the finding minus the truth, in % of the truth where no unit is given. The *coverage* is
the share of specimens whose truth is within 2 u of the finding, with the 95 % Wilson interval. The aim is 93
to 97 %. A row is marked **low** or **high** if the whole interval is outside this aim. *U/rms* is the median
of 2 u divided by the rms error: 2 is right, more is too wide. The end of the page lists how the truth of
each finding is defined.
"""


@dataclass(frozen=True)
class Row:
    """Coverage of one finding of one part in one family; errors in ``unit``."""

    part: str
    finding: str
    family: str
    count: int
    unit: str
    bias: float
    rms: float
    median_u: float
    inside: int

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson interval of the coverage."""
        return wilson_interval(self.inside, self.count)

    @property
    def ratio(self) -> float:
        """Median of 2 u over the rms error, 0 where there is none."""
        return self.median_u / self.rms if self.rms > 0 else 0.0

    @property
    def mark(self) -> str:
        """Whether the coverage is certainly not what it should be."""
        low, high = self.interval
        return "low" if high < AIM[0] else "high" if low > AIM[1] else ""


def rows(records: dict[tuple[str, str], list[Record]]) -> list[Row]:
    """Return a row for each part, finding and family, over good specimens."""
    found = []
    for (part, family), some in records.items():
        good = [record["found"] for record in some if record["grade"] == "good"]
        for key in dict.fromkeys(key for record in good for key in record):
            table = np.array([record[key] for record in good if key in record], float)
            found.append(_row(part, key, family, table))
    return sorted(found, key=lambda row: (row.part, row.finding, row.family))


def _row(part: str, key: str, family: str, table: np.ndarray) -> Row:
    error, u, true = table[:, 0] - table[:, 2], table[:, 1], table[:, 2]
    scale = 1.0 if key in ABSOLUTE else 100 / np.abs(true)
    off = error * scale
    return Row(
        part, key, family, len(table), ABSOLUTE.get(key, ""), float(off.mean()),
        float(np.sqrt(np.mean(off**2))), float(np.median(2 * u * scale)), int(np.sum(np.abs(error) <= 2 * u)),
    )  # fmt: skip


def page(records: dict[tuple[str, str], list[Record]], first_seed: int, note: str = "") -> str:
    """Return the page as Markdown; ``note`` is a paragraph of its own."""
    table = rows(records)
    counts = [sum(record["grade"] == "good" for record in some) for some in records.values()]
    good = f"{min(counts)} to {max(counts)}" if min(counts) < max(counts) else str(max(counts))
    each = _count(records, "moderate")
    lines = [
        HEAD.format(
            seed=first_seed, most=max(counts), good=good, each=each, note=f"{note}\n\n" if note else ""
        ),
        "## Good specimens and defects",
        "",
        *_alarms(records),
        "",
    ]
    lines += ["## Coverage", "", *_in_short(table), ""]
    for part in dict.fromkeys(row.part for row in table):
        lines += [f"### {part}", "", *_coverage([row for row in table if row.part == part]), ""]
    lines += ["## What is low or too wide, and why", ""]
    lines += [
        f"The list has all rows that are marked low. It also has the rows whose U/rms is above"
        f" {shortfalls.RIGHT:.0f}"
        f" by more than {shortfalls.SURE:.0f} standard deviations of an rms error from that number"
        f" of specimens.",
        "",
    ]
    lines += [*shortfalls.section(table), ""]
    lines += ["## What is taken as the truth", ""]
    for kind, meanings in MEANS.items():
        lines += [f"**Of {kind}**", "", *(f"- `{key}`: {text}." for key, text in meanings.items()), ""]
    return "\n".join(lines)


def _count(records: dict[tuple[str, str], list[Record]], grade: str) -> int:
    """Most trials of a grade that a part has of the same name."""
    names = [
        (part, family, record["name"])
        for (part, family), some in records.items()
        for record in some
        if record["grade"] == grade
    ]
    return max(map(names.count, set(names)), default=0)


def _coverage(table: list[Row]) -> list[str]:
    lines = [
        "| finding | family | n | bias | rms error | median 2 u | U/rms | coverage of 2 u | |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in table:
        unit = f" {row.unit}" if row.unit else " %"
        low, high = row.interval
        share = f"{100 * row.inside / row.count:.0f} % ({100 * low:.0f}-{100 * high:.0f})"
        ratio = f"{row.ratio:.1f}" if row.ratio else "-"
        mark = f"**{row.mark}**" if row.mark else ""
        lines.append(
            f"| `{row.finding}` | {row.family} | {row.count} | {row.bias:+.2g}{unit} | {row.rms:.2g}{unit} "
            f"| {row.median_u:.2g}{unit} | {ratio} | {share} | {mark} |"
        )
    return lines


def _in_short(table: list[Row]) -> list[str]:
    lines = [
        "| family | findings | within the aim, or too few specimens to decide | low | high |",
        "| --- | --- | --- | --- | --- |",
    ]
    for family in dict.fromkeys(row.family for row in table):
        some = [row for row in table if row.family == family]
        marks = [row.mark for row in some]
        cells = (len(some), marks.count(""), marks.count("low"), marks.count("high"))
        lines.append(f"| {family} | {' | '.join(map(str, cells))} |")
    return lines


def _alarms(records: dict[tuple[str, str], list[Record]]) -> list[str]:
    lines = [
        "| part | family | good | false alarms | inconclusive | rightly named: moderate | severe |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for (part, family), some in records.items():
        good = [record for record in some if record["grade"] == "good"]
        cells = [_share(good, "fail"), _share(good, "inconclusive")]
        for grade in ("moderate", "severe"):
            bad = [record for record in some if record["grade"] == grade]
            right = sum(record["named"] == [record["name"]] for record in bad)
            cells.append(f"{right} of {len(bad)}" if bad else "-")
        lines.append(f"| {part} | {family} | {len(good)} | {' | '.join(cells)} |")
    return lines


def _share(some: list[Record], verdict: str) -> str:
    hits = sum(record["verdict"] == verdict for record in some)
    low, high = wilson_interval(hits, len(some))
    return f"{100 * hits / len(some):.1f} % ({100 * low:.1f}-{100 * high:.1f})"
