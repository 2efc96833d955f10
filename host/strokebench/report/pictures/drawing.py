"""Drawing to inline SVG: one look for all figures, no global matplotlib state, same input same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.stats import Floats
from strokebench.report.pictures import ink
from strokebench.report.pictures.marks import shade

WIDE, HALF = 7.3, 3.55
"""Widths of a figure in inches: the page's, and half of it."""

STYLE = {
    "font.family": "sans-serif",
    "font.sans-serif": ["Helvetica", "Arial", "Liberation Sans", "DejaVu Sans"],
    "font.size": 8.5,
    "svg.fonttype": "none",
    "axes.edgecolor": ink.GREY,
    "axes.labelcolor": ink.DARK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": ink.FAINT,
    "grid.linewidth": 0.5,
    "xtick.color": ink.GREY,
    "ytick.color": ink.GREY,
    "xtick.labelcolor": ink.DARK,
    "ytick.labelcolor": ink.DARK,
    "lines.linewidth": 1.1,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "text.parse_math": False,
}


@dataclass(frozen=True)
class Picture:
    """One figure of a report: heading, a sentence below it, the SVG, and whether it takes the full width."""

    title: str
    caption: str
    svg: str
    wide: bool = False

    @property
    def height(self) -> float:
        """Height of the SVG in its own points."""
        return float(self.svg.partition('viewBox="')[2].partition('"')[0].split()[3])


class Sheet:
    """A figure being drawn: ``axes`` one below another, shared x; ``picture()`` or ``svg()`` ends it."""

    def __init__(
        self, name: str, width_in: float, height_in: float, rows: int, ratios: list[float] | None
    ) -> None:
        from matplotlib.figure import Figure

        self.name = name
        self.wide = width_in == WIDE
        self.figure: Any = Figure(figsize=(width_in, height_in), layout="constrained")
        grid = {"height_ratios": ratios} if ratios else None
        made = self.figure.subplots(rows, 1, sharex=True, gridspec_kw=grid, squeeze=False)
        self.axes: list[Any] = list(made[:, 0])

    def svg(self) -> str:
        """Return the SVG element, ids unique by the sheet's name."""
        target = io.StringIO()
        self.figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
        text = target.getvalue()
        return text[text.index("<svg") :].replace("<svg ", f'<svg role="img" aria-label="{self.name}" ', 1)

    def picture(self, caption: str, title: str = "") -> Picture:
        """Return what was drawn as a report's figure; ``title`` where it is not the sheet's name."""
        return Picture(title or self.name, caption, self.svg(), self.wide)

    def on_time(self, time_s: Floats) -> None:
        """Name the shared axis of time and let it begin and end where the rows do."""
        self.axes[-1].set(xlabel="time, s", xlim=(time_s[0], time_s[-1]))

    def shade(self, start: float, end: float, colour: str, alpha: float) -> None:
        """Lay a band of colour over a stretch of the x axis, on all axes."""
        for axes in self.axes:
            shade(axes, start, end, colour, alpha)


@contextmanager
def sheet(
    name: str, width_in: float, height_in: float, rows: int = 1, ratios: list[float] | None = None
) -> Iterator[Sheet]:
    """Give a sheet to draw on in the report's style; call ``picture()`` or ``svg()`` inside."""
    import matplotlib

    with matplotlib.rc_context({**STYLE, "svg.hashsalt": name}):
        yield Sheet(name, width_in, height_in, rows, ratios)


def failing_of(findings: Iterable[Finding]) -> dict[str, Finding]:
    """Return the findings out of limits by their keys."""
    return {finding.key: finding for finding in findings if finding.verdict is Verdict.FAIL}


def drawn(*pictures: Picture | None) -> list[Picture]:
    """Return the pictures that could be drawn, in their order."""
    return [picture for picture in pictures if picture is not None]
