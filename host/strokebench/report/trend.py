"""One finding over many runs, drawn: values with their uncertainty, limits, and the verdicts by shape."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.data.output import write_whole
from strokebench.errors import UsageError
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, sheet

if TYPE_CHECKING:
    from strokebench.book.search import TrendPoint

LOOKS = {
    "pass": ("o", ink.GOOD),
    "fail": ("X", ink.BAD),
    "inconclusive": ("s", ink.DOUBT),
    "info": ("d", ink.GREY),
}


MOST_DRAWN = 2000
"""Runs drawn at most; beyond it every n-th, and each that fails."""


def write_trend(title: str, points: Sequence[TrendPoint], path: str | Path, *, replace: bool = False) -> None:
    """Write an SVG of ``points`` in order of time; UsageError without points, BookError when unwritable."""
    if not points:
        raise UsageError(f"There is nothing to draw for {title!r}.", "Widen the search.")
    unit, every = points[-1].unit, -(-len(points) // MOST_DRAWN)
    drawn = [(n, p) for n, p in enumerate(points, 1) if n % every == 0 or p.verdict == "fail"]
    thinned = f", one in {every} drawn, and all that fail" if every > 1 else ""
    with sheet(f"{title} over {len(points)} runs{thinned}", WIDE, 2.6) as drawing:
        axes = drawing.axes[0]
        for verdict, (marker, colour) in LOOKS.items():
            mine = [(n, p) for n, p in drawn if p.verdict == verdict and p.value == p.value]
            if mine:
                numbers, values = [n for n, _ in mine], [p.value for _, p in mine]
                bars = [2 * p.u for _, p in mine]
                axes.errorbar(numbers, values, bars, fmt=marker, color=colour, ms=4, lw=0.8, label=verdict)
        _limits(axes, points, unit)
        first, last = points[0].started_at[:10], points[-1].started_at[:10]
        axes.set_xlabel(f"run, in order of time ({first} to {last})")
        axes.set_ylabel(f"{title}, {unit}" if unit else title)
        axes.legend(loc="best", frameon=False, ncols=3)
        text = drawing.svg()
    write_whole(path, text, replace=replace)


def _limits(axes: Any, points: Sequence[TrendPoint], unit: str) -> None:
    """Draw each limit over the runs that it was in force for, with its newest value in words."""
    for name, values in (("at least", [p.lower for p in points]), ("at most", [p.upper for p in points])):
        if values[-1] is None and not any(value is not None for value in values):
            continue
        steps = [math.nan if value is None else value for value in values]
        axes.step(range(1, len(steps) + 1), steps, where="mid", color=ink.GREY, lw=1.0, ls="--")
        if values[-1] is not None:
            text = f"{name} {values[-1]:g} {unit}".strip()
            axes.annotate(text, (1.0, values[-1]), xycoords=("axes fraction", "data"), fontsize=7,
                          ha="right", va="bottom", color=ink.GREY)  # fmt: skip
