"""One finding over many runs, drawn: values with their uncertainty, limits, and the verdicts by shape."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

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


def write_trend(key: str, points: Sequence[TrendPoint], path: str | Path, *, replace: bool = False) -> None:
    """Write an SVG of ``points`` in order of time; UsageError without points, BookError when unwritable."""
    if not points:
        raise UsageError(f"There is nothing to draw for {key!r}.", "Widen the search.")
    with sheet(f"{key} over {len(points)} runs", WIDE, 2.6) as drawing:
        axes = drawing.axes[0]
        for verdict, (marker, colour) in LOOKS.items():
            mine = [(n, p) for n, p in enumerate(points, 1) if p.verdict == verdict and p.value == p.value]
            if mine:
                numbers, values = [n for n, _ in mine], [p.value for _, p in mine]
                bars = [2 * p.u for _, p in mine]
                axes.errorbar(numbers, values, bars, fmt=marker, color=colour, ms=4, lw=0.8, label=verdict)
        for limit in (points[-1].lower, points[-1].upper):
            if limit is not None:
                axes.axhline(limit, color=ink.GREY, lw=0.8, ls=":")
        first, last = points[0].started_at[:10], points[-1].started_at[:10]
        axes.set_xlabel(f"run, in order of time ({first} to {last})")
        axes.set_ylabel(f"{key}, {points[-1].unit}")
        axes.legend(loc="best", frameon=False, ncols=3)
        text = drawing.svg()
    write_whole(path, text, replace=replace)
