"""The page docs/accuracy.md from the records of many trials, with Wilson intervals and plots."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from strokebench.physics.wilson import wilson_interval
from strokebench.sim.trials import GRADES

Record = dict[str, Any]
BINS, COLUMNS = 6, 3
SMALL_HEAD = """\
# How often the diagnosis is right on the small bench

All parts are simulated, on the simulated small bench (5 A). Nothing here was measured on real hardware.
Parts that need more than 5 A are not here: the bench refuses them and names the limit. Made by
`python -m tools.evidence.accuracy --bench small --part {parts} --good {{good}} --each {{each}}` with
seeds from {{seed}} on.
"""
HEAD_FIRST = """\
# How often the diagnosis is right

This page counts how often the program finds a defect in a simulated part, and how often it calls it by
its right name. It also counts how often a good part fails by mistake. Read the first table for the
whole, the others for each part and defect.

All parts are simulated. Nothing here was measured on real hardware. Made by
`python -m tools.evidence.accuracy --part all --good {good} --each {each}` with seeds from {seed} on.
"""
HEAD_REST = """\
Limits and estimators were tuned on seeds below {tuned}. Each seed is another specimen (one simulated part).
Its parameters spread like those of ordinary parts. It has its own battery (11.0 to 14.5 V), temperature (0
to 45 C), leads, noise and converter errors.

*Found* means that the verdict is fail, or that the bench is named (a weak battery). *Rightly named* means
that the program names this defect and no other. Sizes are those that `strokebench faults` lists. `spread` is
any size from half of moderate to 1.3 times severe, so the smallest of these defects hardly exist. In brackets
is the 95 % Wilson interval. Even if none of {good} good parts fails, that interval reaches to {least:.1f} %.

Other pages have figures for a second family of parts with a different physics: [coverage](coverage.md)
shows whether the stated uncertainties are true, and how many good parts fail, and [naming](naming.md)
shows how often defects are named. [Pairs](pairs.md) shows how often two defects at once are named, and
whether the stated probabilities are true.

{note}A verdict can only cover what the bench can measure. In the wiring check an open circuit counts as an
open wire, although the load could be open too. If the bench refuses to arm because its self-test found the
defect, the defect counts as found.
"""
HEAD = HEAD_FIRST + HEAD_REST
ESTIMATES = (
    ("winding_resistance", "winding resistance at 20 C", 100, "%"),
    ("inductance", "inductance", 100, "%"),
    ("speed", "speed", 100, "%"),
    ("motor_constant", "motor constant", 100, "%"),
    ("supply_side", "supply side of the harness", 100, "%"),
    ("ground_side", "ground side of the harness", 100, "%"),
    ("place", "place of a binding spot", 1, "% of travel"),
)
"""Key of an error, title, factor, unit."""


def write_page(
    records: dict[str, list[Record]], first_seed: int, tuned: int, path: Path, note: str = ""
) -> None:
    """Write the page on all parts of ``records``, and each part's plot beside it in ``img/``; ``note`` is a
    paragraph of its own.
    """
    (path.parent / "img").mkdir(parents=True, exist_ok=True)
    drawn = {part: plot(some, path.parent / "img" / f"accuracy-{part}.svg") for part, some in records.items()}
    path.write_text(page(records, first_seed, tuned, drawn, note), encoding="utf-8", newline="\n")


def write_small_page(
    records: dict[str, list[Record]], first_seed: int, tuned: int, path: Path, note: str = ""
) -> None:
    """Write the page of the small bench, without plots."""
    text = page(records, first_seed, tuned, {}, note, SMALL_HEAD.format(parts=",".join(records)) + HEAD_REST)
    path.write_text(text, encoding="utf-8", newline="\n")


def page(
    records: dict[str, list[Record]],
    first_seed: int,
    tuned: int,
    drawn: dict[str, bool],
    note: str = "",
    heading: str = "",
) -> str:
    """Return the page as Markdown."""
    good = min(len(_of(some, "good")) for some in records.values())
    least = 100 * wilson_interval(0, good)[1] if good else 100.0
    said = f"{note}\n\n" if note else ""
    head = (heading or HEAD).format(
        good=good, each=_each(records), seed=first_seed, tuned=tuned, least=least, note=said
    )  # fmt: skip
    lines = [head, *_summary(records), ""]
    for part, some in records.items():
        lines += [f"## {part}", "", *defects(some), "", *_estimates(some), ""]
        if drawn.get(part):
            lines += [f"![Share rightly named against size, {part}](img/accuracy-{part}.svg)", ""]
    return "\n".join(lines)


def _each(records: dict[str, list[Record]]) -> int:
    """Trials of a defect in one grade."""
    counts = [
        sum(record["name"] == name for record in _of(some, "spread"))
        for some in records.values()
        for name in {record["name"] for record in _of(some, "spread")}
    ]
    return min(counts, default=0)


def _of(some: list[Record], grade: str) -> list[Record]:
    return [record for record in some if record["grade"] == grade]


def _summary(records: dict[str, list[Record]]) -> list[str]:
    lines = [
        "| part | good parts | false alarms | inconclusive | rightly named: moderate | severe | spread |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for part, some in records.items():
        good = _of(some, "good")
        cells = [_share(good, _fails), _share(good, _unsure)]
        cells += [_share(_of(some, grade), rightly_named) for grade in GRADES]
        lines.append(f"| {part} | {len(good)} | {' | '.join(cells)} |")
    return lines


def defects(records: list[Record]) -> list[str]:
    """Return the table of all defects and grades: how often found, named, taken for something else."""
    lines = [
        "| defect | grade | trials | found | rightly named | wrong or further name | inconclusive | passed |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, grade in dict.fromkeys(
        (record["name"], record["grade"]) for record in records if record["name"] != "good"
    ):
        some = [record for record in records if (record["name"], record["grade"]) == (name, grade)]
        cells = (_share(some, test) for test in (_fails, rightly_named, _wrong, _unsure, _passes))
        lines.append(f"| {name} | {grade} | {len(some)} | {' | '.join(cells)} |")
    return lines


def _passes(record: Record) -> bool:
    return bool(record["verdict"] == "pass")


def _fails(record: Record) -> bool:
    """Something is wrong, with the part or with the bench."""
    return bool(record["verdict"] == "fail" or record["named"])


def _unsure(record: Record) -> bool:
    return bool(record["verdict"] == "inconclusive")


def rightly_named(record: Record) -> bool:
    """That defect was named, and no other."""
    return bool(record["named"] == [record["name"]])


def _wrong(record: Record) -> bool:
    return bool(record["named"]) and not rightly_named(record)


def _share(some: list[Record], test: Any) -> str:
    if not some:
        return "-"
    hits = sum(map(test, some))
    low, high = wilson_interval(hits, len(some))
    return f"{100 * hits / len(some):.1f} % ({100 * low:.1f}-{100 * high:.1f})"


def _estimates(records: list[Record]) -> list[str]:
    """How far estimates are from the truth: of good parts, and of all that could be measured."""
    lines = []
    for key, title, scale, unit in ESTIMATES:
        found = np.array([record["errors"][key] for record in records if key in record["errors"]]) * scale
        good = (
            np.array([record["errors"][key] for record in _of(records, "good") if key in record["errors"]])
            * scale
        )
        if len(found):
            median = f"{np.median(found):+.2f} {unit}"
            cells = (str(len(found)), median, _within(good, unit), _within(found, unit))
            lines.append(f"| {title} | {' | '.join(cells)} |")
    if not lines:
        return []
    head = "| estimate against its truth | trials | median error | 95 % within, good parts | all |"
    return [head, "| --- | --- | --- | --- | --- |", *lines]


def _within(errors: Any, unit: str) -> str:
    return f"{np.percentile(np.abs(errors), 95):.2f} {unit}" if len(errors) else "-"


def plot(records: list[Record], path: Path) -> bool:
    """Draw the share found and rightly named against size for every defect that has one; False without
    data."""
    from matplotlib.figure import Figure

    names = list(dict.fromkeys(record["name"] for record in records if record["grade"] == "spread"))
    if not names:
        return False
    rows = -(-len(names) // COLUMNS)
    figure = Figure(figsize=(8.5, 2.3 * rows), layout="constrained")
    for number, name in enumerate(names):
        axes = figure.add_subplot(rows, COLUMNS, number + 1)
        sizes, share = _by_size([record for record in records if record["name"] == name])
        axes.plot(sizes, share, "o-", color="#1f5fa8", markersize=3.5)
        axes.set_title(name, fontsize=9)
        axes.set_ylim(-5, 105)
        axes.set_xlabel("size", fontsize=8)
        axes.set_ylabel("rightly named, %", fontsize=8)
        axes.grid(True, color="#d9dee4")
    figure.savefig(path, format="svg", metadata={"Date": None})
    return True


def _by_size(some: list[Record]) -> tuple[list[float], list[float]]:
    """Middle of each size class (even in the logarithm) and the share rightly named there, %."""
    sizes = np.array([record["size"] for record in some])
    right = np.array([rightly_named(record) for record in some], float)
    edges = np.geomspace(sizes.min() * 0.999, sizes.max() * 1.001, BINS + 1)
    middles, shares = [], []
    for low, high in zip(edges[:-1], edges[1:], strict=True):  # noqa: RUF007 - pairwise would say the same
        inside = (sizes >= low) & (sizes < high)
        if inside.any():
            middles.append(float(np.sqrt(low * high)))
            shares.append(float(right[inside].mean() * 100))
    return middles, shares
