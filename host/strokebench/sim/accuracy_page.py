"""The page docs/accuracy.md from the records of many trials, with Wilson intervals and one plot."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from strokebench.physics.wilson import wilson_interval

Record = dict[str, Any]
BINS, COLUMNS = 6, 3
HEAD = """\
Simulated parts only; nothing here was measured on real hardware. Made by
`python -m strokebench.sim.accuracy --part {part}` with seeds from {seed} on. Limits and estimators were
tuned on seeds below 10000. Each seed is another specimen: battery 11.8 to 14.5 V, 0 to 45 C, its own leads,
noise and converter errors. In brackets: 95 % Wilson interval.
"""


def write_page(records: list[Record], part: str, first_seed: int, path: Path) -> None:
    """Write the page, and the plot of detection against size beside it in ``img/``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = path.parent / "img" / f"accuracy-{part}.svg"
    picture.parent.mkdir(exist_ok=True)
    drawn = plot(records, picture)
    text = page(records, part, first_seed)
    if drawn:
        text += (
            f"\n## Detection against size\n\n![Share found against size of the defect](img/{picture.name})\n"
        )
    path.write_text(text, encoding="utf-8", newline="\n")


def page(records: list[Record], part: str, first_seed: int) -> str:
    """Return the page as Markdown."""
    good = [one for one in records if one["name"] == "good"]
    lines = [
        f"# How often the diagnosis is right: {part}",
        "",
        HEAD.format(part=part, seed=first_seed),
        "## Good parts",
        "",
        "| trials | pass | false alarm | inconclusive |",
        "| --- | --- | --- | --- |",
        f"| {len(good)} | {_share(good, _passes)} | {_share(good, _fails)} | {_share(good, _unsure)} |",
        "",
        "## Defects",
        "",
        "Found: verdict fail. Rightly named: that defect and no other. Sizes as `strokebench faults` tells",
        "them; `spread` is anything from half of moderate to 1.3 times severe.",
        "",
        "| defect | grade | trials | found | rightly named | wrong or further name | inconclusive | passed |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, grade in dict.fromkeys((one["name"], one["grade"]) for one in records if one["name"] != "good"):
        some = [one for one in records if (one["name"], one["grade"]) == (name, grade)]
        cells = (_share(some, test) for test in (_fails, _right, _wrong, _unsure, _passes))
        lines.append(f"| {name} | {grade} | {len(some)} | {' | '.join(cells)} |")
    return "\n".join([*lines, "", *_estimates(records), ""])


def _passes(one: Record) -> bool:
    return bool(one["verdict"] == "pass")


def _fails(one: Record) -> bool:
    return bool(one["verdict"] == "fail")


def _unsure(one: Record) -> bool:
    return bool(one["verdict"] == "inconclusive")


def _right(one: Record) -> bool:
    return bool(one["named"] == [one["name"]])


def _wrong(one: Record) -> bool:
    return _fails(one) and not _right(one)


def _share(some: list[Record], test: Any) -> str:
    if not some:
        return "-"
    hits = sum(map(test, some))
    low, high = wilson_interval(hits, len(some))
    return f"{100 * hits / len(some):.1f} % ({100 * low:.1f}-{100 * high:.1f})"


def _estimates(records: list[Record]) -> list[str]:
    """The section on how far estimates are from the truth."""
    lines = [
        "## Estimates against the truth", "",
        "| quantity | trials | median error | 95 % of errors within |",
        "| --- | --- | --- | --- |",
    ]  # fmt: skip
    for key, title, scale, unit in (
        ("winding_resistance", "winding resistance at 20 C, leads but for 50 mohm included", 100, "%"),
        ("inductance", "inductance", 100, "%"),
        ("place", "place of a binding spot", 1, "% of travel"),
    ):
        found = np.array([one["errors"][key] for one in records if key in one["errors"]]) * scale
        if len(found):
            within = np.percentile(np.abs(found), 95)
            lines.append(f"| {title} | {len(found)} | {np.median(found):+.2f} {unit} | {within:.2f} {unit} |")
    return lines


def plot(records: list[Record], path: Path) -> bool:
    """Draw the share found and rightly named against size for every defect that has one; False without
    data."""
    from matplotlib.figure import Figure

    names = list(dict.fromkeys(one["name"] for one in records if one["grade"] == "spread"))
    if not names:
        return False
    rows = -(-len(names) // COLUMNS)
    figure = Figure(figsize=(8.5, 2.3 * rows), layout="constrained")
    for number, name in enumerate(names):
        axes = figure.add_subplot(rows, COLUMNS, number + 1)
        sizes, share = _by_size([one for one in records if one["name"] == name])
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
    sizes = np.array([one["size"] for one in some])
    right = np.array([_right(one) for one in some], float)
    edges = np.geomspace(sizes.min() * 0.999, sizes.max() * 1.001, BINS + 1)
    middles, shares = [], []
    for low, high in zip(edges[:-1], edges[1:], strict=True):  # noqa: RUF007 - pairwise would say the same
        inside = (sizes >= low) & (sizes < high)
        if inside.any():
            middles.append(float(np.sqrt(low * high)))
            shares.append(float(right[inside].mean() * 100))
    return middles, shares
