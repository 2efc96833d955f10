"""Two runs laid over each other, and their findings side by side."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import ui

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
STYLES = (("A", "#1546a0", "solid"), ("B", "#8a3b00", "dashed"))
Loaded = tuple["RunData", "list[Finding]", "Profile"]


def load_run(path: Path, run_id: int) -> Loaded:
    """Return a run, its stored findings and its profile; raises :class:`StrokebenchError`."""
    from strokebench.book.book import Book
    from strokebench.parts import profile_of

    with Book(path, read_only=True) as book:
        profile = profile_of(book.profile(run_id), f"run {run_id}")
        return book.load(run_id), book.findings(run_id), profile


def compare_page(path: Path, first: int, second: int) -> None:
    """Build the page."""
    frame("/compare")
    with tag("div", classes="sheet"):
        tag("h1", f"Run {first} (A) and run {second} (B)")
        try:
            runs = [load_run(path, first), load_run(path, second)]
        except StrokebenchError as error:
            tag("p", f"{error} {error.hint}")
            return
        for (data, _, _), (letter, _, dashes) in zip(runs, STYLES, strict=True):
            info = data.info
            customer = info.get("customer") or "no customer"
            about = f"{info['part']}, {info['started_at'][:19]}, {customer}"
            tag("p", f"{letter} ({dashes} line): {about}", "words")
        _chart("Position over drive", "drive, %", "position, %", [list(_plane(d, p)) for d, _, p in runs])
        _chart("Current over time", "time, s", "current, A", [list(_current(d)) for d, _, _ in runs])
        _findings(runs[0][1], runs[1][1])


def _thin(data: RunData) -> slice:
    return slice(None, None, max(1, len(data.samples) // POINTS))


def _plane(data: RunData, profile: Profile) -> Iterator[list[float]]:
    for row in data.samples[_thin(data)]:
        percent = position_percent(profile, float(row["sensor_a_v"]))
        if math.isfinite(percent):
            yield [round(100 * float(row["drive"]), 2), round(percent, 2)]


def _current(data: RunData) -> Iterator[list[float]]:
    for row in data.samples[_thin(data)]:
        yield [round(float(row["time_s"]), 3), round(float(row["current_a"]), 3)]


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
