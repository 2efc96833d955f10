"""Two runs laid over each other, and their findings side by side."""

from __future__ import annotations

import asyncio
import itertools
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui
from numpy.typing import NDArray

from strokebench.errors import StrokebenchError
from strokebench.panel.pages.charts import EXACT, FAINT, FONT, INK
from strokebench.panel.pages.findings import SIGNS
from strokebench.panel.pages.frame import frame
from strokebench.panel.tags import card, table, tag
from strokebench.terminal.display import position_percent, unit_text, value_text

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

POINTS = 1500
"""Stretches of a run, each drawn from its lowest to its highest value."""
STYLES = (("A", "#1546a0", "solid"), ("B", "#8a3b00", "dashed"))
Loaded = tuple["RunData", "list[Finding]", "Profile"]


def load_run(path: Path, run_id: int) -> Loaded:
    """Return a run, its stored findings and its profile; raises :class:`StrokebenchError`."""
    from strokebench.book.book import Book
    from strokebench.parts import profile_of

    with Book(path, read_only=True) as book:
        profile = profile_of(book.profile(run_id), f"run {run_id}")
        return book.load(run_id), book.findings(run_id), profile


async def compare_page(path: Path, first: str, second: str) -> None:
    """Build the page of two runs, by their numbers; the work is done beside the pages' loop."""
    frame("/compare")
    with tag("div", classes="sheet"):
        if not (first.isdecimal() and second.isdecimal() and len(first + second) < 30):
            tag("h1", "Choose two runs")
            with tag("p"):
                tag("span", "Mark run A and run B in the ")
                tag("a", "job book", href="/book")
                tag("span", ", then press Compare.")
            return
        tag("h1", f"Run {first} (A) and run {second} (B)")
        try:
            sides = [await asyncio.to_thread(_side, path, int(number)) for number in (first, second)]
        except StrokebenchError as error:
            tag("p", f"{error} {error.hint}")
            return
        for side, (letter, _, dashes) in zip(sides, STYLES, strict=True):
            tag("p", f"{letter} ({dashes} line): {side.about}", "words")
        _chart("Position over drive", "drive, %", "position, %", [side.plane for side in sides])
        _chart("Current over time", "time, s", "current, A", [side.current for side in sides])
        _findings(sides[0].findings, sides[1].findings)


@dataclass(frozen=True)
class Side:
    """What is shown of a run: who, two lines of points, and what was found."""

    about: str
    plane: list[list[float]]
    current: list[list[float]]
    findings: list[Finding]


def _side(path: Path, run_id: int) -> Side:
    data, findings, profile = load_run(path, run_id)
    info, rows = data.info, data.samples
    about = f"{info['part']}, {info['started_at'][:19]}, {info.get('customer') or 'no customer'}"
    kept = extremes(rows["current_a"], POINTS)
    current = np.column_stack([rows["time_s"][kept].round(3), rows["current_a"][kept].round(3)])
    kept = extremes(rows["sensor_a_v"], POINTS)
    plane = (
        [round(100 * float(row["drive"]), 2), round(position_percent(profile, float(row["sensor_a_v"])), 2)]
        for row in rows[kept]
    )
    return Side(about, [point for point in plane if math.isfinite(point[1])], current.tolist(), findings)


def extremes(values: NDArray[np.float64], stretches: int) -> NDArray[np.intp]:
    """Return the places of the lowest and the highest value in each of as many stretches, in order.

    A spike of a single row is kept, however long the run is. Without as many rows: all of them.
    """
    if len(values) <= 2 * stretches:
        return np.arange(len(values))
    known = np.isfinite(values)
    low, high = np.where(known, values, np.inf), np.where(known, values, -np.inf)
    edges = np.linspace(0, len(values), stretches + 1).astype(int)
    places = [
        start + place
        for start, end in itertools.pairwise(edges)
        for place in (int(np.argmin(low[start:end])), int(np.argmax(high[start:end])))
    ]
    return np.unique(places)


def _chart(title: str, across: str, up: str, lines: list[list[list[float]]]) -> None:
    axis: dict[str, Any] = {
        "type": "value", "nameTextStyle": FONT, "axisLabel": FONT,
        "splitLine": {"lineStyle": {"color": FAINT}},
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": INK}}, "scale": True,
    }  # fmt: skip
    options = {
        "animation": False,
        "grid": {"left": 52, "right": 18, "top": 34, "bottom": 44, **EXACT},
        "legend": {"top": 0, "right": 10, "textStyle": FONT, "itemWidth": 34},
        "xAxis": {**axis, "name": across, "nameLocation": "middle", "nameGap": 28},
        "yAxis": {**axis, "name": up},
        "series": [
            {"name": letter, "type": "line", "symbol": "none", "data": line, "itemStyle": {"color": colour},
             "lineStyle": {"width": 1.3, "type": dashes, "color": colour}}
            for line, (letter, colour, dashes) in zip(lines, STYLES, strict=True)
        ],
    }  # fmt: skip
    with card(title):
        chart = ui.echart(options).classes("chart overlay")
        chart.props["role"], chart.props["aria-label"] = "img", f"{title} of both runs, A solid, B dashed."


def _findings(first: list[Finding], second: list[Finding]) -> None:
    others = {finding.key: finding for finding in second}
    keys = {finding.key for finding in first}
    pairs = [(finding, others.get(finding.key)) for finding in first] + [
        (None, finding) for finding in second if finding.key not in keys
    ]
    heads = ("Finding", "A", "Verdict A", "B", "Verdict B", "B \u2212 A")
    with card("Findings of both"), table("Findings of both runs", heads):
        for mine, other in pairs:
            _pair(mine, other)


def _pair(first: Finding | None, other: Finding | None) -> None:
    present = first or other
    assert present is not None  # a pair has at least one
    with tag("tr"):
        tag("th", present.title, scope="row")
        for finding in (first, other):
            tag("td", f"{value_text(finding)} {unit_text(finding)}" if finding else "\u2013", "number")
            word = finding.verdict.value if finding else ""
            tag("td", f"{SIGNS[word]} {word}" if word else "\u2013", f"word {word}")
        known = first is not None and other is not None and first.known and other.known
        tag(
            "td",
            f"{other.value - first.value:+.3g} {present.unit}" if known and first and other else "\u2013",
            "number",
        )
