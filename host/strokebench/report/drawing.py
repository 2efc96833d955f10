"""Drawing to inline SVG: one look for all figures, no global matplotlib state, same input same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from strokebench.diagnose.stats import Floats

INK, GREY, FAINT = "#1c2430", "#6b7580", "#d9dee4"
OPEN, CLOSE = "#1f5fa8", "#c8651b"
THIRD = "#5a7d2a"
BAD, DOUBT, GOOD = "#b3261e", "#9a6b00", "#1b7f4b"
MOST_POINTS = 1600
WIDE, HALF = 7.3, 3.55
"""Widths of a figure in inches: the page's, and half of it."""

STYLE = {
    "font.family": "sans-serif",
    "font.sans-serif": ["Helvetica", "Arial", "Liberation Sans", "DejaVu Sans"],
    "font.size": 8.5,
    "svg.fonttype": "none",
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.5,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
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


class Sheet:
    """A figure being drawn: ``axes`` one below another, shared x; ``svg()`` ends it."""

    def __init__(
        self, name: str, width_in: float, height_in: float, rows: int, ratios: list[float] | None
    ) -> None:
        from matplotlib.figure import Figure

        self.name = name
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


@contextmanager
def sheet(
    name: str, width_in: float, height_in: float, rows: int = 1, ratios: list[float] | None = None
) -> Iterator[Sheet]:
    """Give a sheet to draw on in the report's style; call ``svg()`` inside."""
    import matplotlib

    with matplotlib.rc_context({**STYLE, "svg.hashsalt": name}):
        yield Sheet(name, width_in, height_in, rows, ratios)


def thin(time_s: Floats, values: Floats, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """Return at most about ``most`` points that keep every peak: lowest and highest of each piece, in
    order."""
    count = len(values)
    if count <= most:
        return time_s, values
    piece = int(np.ceil(count / (most / 2)))
    whole = count // piece * piece
    blocks = values[:whole].reshape(-1, piece)
    base = np.arange(len(blocks)) * piece
    safe = np.nan_to_num(blocks)
    pairs = np.sort(np.column_stack((base + safe.argmin(axis=1), base + safe.argmax(axis=1))), axis=1)
    index = np.append(np.unique(pairs.ravel()), count - 1)
    return time_s[index], values[index]


def above(axes: Any, place: float, text: str, colour: str) -> None:
    """Write just above the axes at a place of its x axis."""
    axes.text(
        place, 1.01, text, transform=axes.get_xaxis_transform(), ha="center", va="bottom", color=colour,
        fontsize=8,
    )  # fmt: skip
