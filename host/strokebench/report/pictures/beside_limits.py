"""Findings of two recordings against their limits: where each was, where it is now."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from strokebench.report.numbers import fixed, limits_text, places
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, sheet
from strokebench.verdict import COVERAGE

if TYPE_CHECKING:
    from strokebench.verdict.compare import Comparison, Difference

SHARES = (-0.75, 1.75)
"""Reach of the drawing in units of the distance between the limits, which are at 0 and 1."""
INKS = {"now passes": ink.GOOD, "now fails": ink.BAD, "worse": ink.BAD, "still fails": ink.BAD}
ZONE = "#cfe7da"


def beside_limits(found: Comparison, names: tuple[str, str], most: int) -> Picture | None:
    """Return the figure of the ``most`` telling findings that have limits; None when there is none."""
    shown = telling(found, most)
    if not shown:
        return None
    with sheet("Against the limits", WIDE, 0.3 + 0.3 * len(shown)) as page:
        axes = page.axes[0]
        for row, difference in enumerate(reversed(shown)):
            _row(axes, row, difference)
        axes.set(xlim=SHARES, ylim=(-0.6, len(shown) - 0.4), xticks=[])
        axes.set_yticks(range(len(shown)), [difference.title for difference in reversed(shown)])
        axes.tick_params(axis="y", length=0)
        axes.grid(False)
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        return page.picture(
            f"Green: the limits. Each line has its own scale. Ring: {names[0]}. Dot: {names[1]}, with the"
            " uncertainty of the change. Arrowhead: further out."
        )


def telling(found: Comparison, most: int) -> list[Difference]:
    """Return findings with limits: first those whose verdict changed or fails, then the largest changes."""
    limited = [each for each in found.differences if each.lower is not None or each.upper is not None]
    ranked = sorted(limited, key=lambda each: (not each.meaning, not each.real, -_size(each)))
    return ranked[:most]


def _size(difference: Difference) -> float:
    return abs(difference.score) if math.isfinite(difference.score) else 0.0


def scale(difference: Difference) -> tuple[float, float]:
    """Return what is drawn at 0 and at 1: the limits; or one limit and a distance that holds both values."""
    lower, upper = difference.lower, difference.upper
    if lower is not None and upper is not None and upper > lower:
        return lower, upper
    limit = upper if lower is None else lower
    assert limit is not None  # those without limits are not drawn
    inside = max(
        (limit - value if lower is None else value - limit) for value in (difference.a, difference.b)
    )
    reach = max(inside / 0.8, abs(limit) / 2, 1e-9)
    return (limit - reach, limit) if lower is None else (limit, limit + reach)


def _row(axes: Any, row: int, difference: Difference) -> None:
    zero, unit = scale(difference)
    left = SHARES[0] if difference.lower is None else 0.0
    right = SHARES[1] if difference.upper is None else 1.0
    axes.fill_between((left, right), row - 0.3, row + 0.3, color=ZONE, linewidth=0)
    for limit in (difference.lower, difference.upper):
        if limit is not None:
            place = (limit - zero) / (unit - zero)
            axes.plot((place, place), (row - 0.3, row + 0.3), color=ink.GOOD, linewidth=1.2)
    colour = INKS.get(difference.meaning, ink.DARK)
    before, after = ((value - zero) / (unit - zero) for value in (difference.a, difference.b))
    spread = COVERAGE * difference.u / abs(unit - zero)
    shown = [min(max(place, SHARES[0] + 0.02), SHARES[1] - 0.02) for place in (before, after)]
    axes.annotate("", (shown[1], row), (shown[0], row),
                  arrowprops={"arrowstyle": "-", "color": colour, "lw": 1.0})  # fmt: skip
    axes.errorbar([shown[1]], [row], xerr=[spread], fmt="none", ecolor=colour, elinewidth=1.6, clip_on=True)
    axes.plot(shown[0], row, _sign(before, "o"), color=colour, markersize=7, markerfacecolor="white")
    axes.plot(shown[1], row, _sign(after, "o"), color=colour, markersize=7)
    axes.annotate(_text(difference), (1.01, row), xycoords=("axes fraction", "data"), va="center", fontsize=8,
                  color=colour, annotation_clip=False)  # fmt: skip


def _sign(place: float, inside: str) -> str:
    return "<" if place < SHARES[0] else ">" if place > SHARES[1] else inside


def _text(difference: Difference) -> str:
    digits = min(places(COVERAGE * difference.u), 2)
    values = f"{fixed(difference.a, digits)} \u2192 {fixed(difference.b, digits)} {_short(difference.unit)}"
    return f"{values.strip()}  ({limits_text(difference.lower, difference.upper)})"


def _short(unit: str) -> str:
    """Return a unit without what it is a share of: there is little room, and the table says it."""
    return unit.partition(" of ")[0].replace("mohm", "m\u2126").replace("ohm", "\u2126")
