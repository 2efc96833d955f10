"""What is put on a figure's axes: curves, bands, limits, words."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.diagnose.stats import Floats
from strokebench.report.pictures import ink

MOST_POINTS = 1600


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


def curve(axes: Any, x: Floats, values: Any, name: str, colour: str) -> None:
    """Draw ``values`` against ``x``, thinned, and name their axis."""
    axes.plot(*thin(x, values), color=colour)
    axes.set_ylabel(name)


def above(axes: Any, place: float, text: str, colour: str) -> None:
    """Write just above the axes at a place of its x axis."""
    axes.text(
        place, 1.01, text, transform=axes.get_xaxis_transform(), ha="center", va="bottom", color=colour,
        fontsize=8,
    )  # fmt: skip


def shade(
    axes: Any, start: float, end: float, colour: str, alpha: float, ymax: float = 1.0, **more: Any
) -> None:
    """Lay a band over a stretch of the x axis, from the foot up to ``ymax`` (share of the height)."""
    axes.axvspan(start, end, ymax=ymax, color=colour, alpha=alpha, linewidth=0, **more)


def limit_line(axes: Any, limit: float | None) -> None:
    """Draw an upper or lower limit across the axes, dotted; nothing where there is none."""
    if limit is not None:
        axes.axhline(limit, color=ink.BAD, linewidth=0.8, linestyle=":")
