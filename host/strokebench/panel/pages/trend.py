"""One finding over the runs of a part, with its limits: what changes from run to run."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.errors import StrokebenchError
from strokebench.panel.instrument.options import FAINT, FONT, INK
from strokebench.panel.pages.findings import SIGNS
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.tags import card, select, table, tag

if TYPE_CHECKING:
    from strokebench.book.book import TrendPoint


def trend_page(path: Path, part: str, customer: str, finding: str) -> str:
    """Return the page; made in a worker thread."""
    with frame("/book", "Trend", scripts=("plain_charts.js",)) as page, tag("div", classes="sheet"):
        tag("h1", f"Trend of {part}" + (f" for {customer}" if customer else ""))
        try:
            titles, points, key = _read(path, part, customer, finding)
        except StrokebenchError as error:
            tag("p", f"{error} {error.hint}")
            return written(page)
        if not titles:
            tag("p", "No run of this part has been judged yet.")
            return written(page)
        with tag("form", classes="search", method="get", action="/trend"):
            tag("input", type="hidden", name="part", value=part)
            tag("input", type="hidden", name="customer", value=customer)
            select("Finding", "finding", list(titles.items()), key)
            tag("button", "Show", "plain", type="submit")
        _chart(points, titles[key])
        _table(points)
    return written(page)


def _read(path: Path, part: str, customer: str, finding: str) -> tuple[dict[str, str], list[TrendPoint], str]:
    from strokebench.book.book import Book
    from strokebench.book.search import Wanted

    wanted = Wanted(part=part, customer=customer)
    with Book(path, read_only=True) as book:
        titles: dict[str, str] = {}
        for run in book.find(wanted):
            titles = {found.key: found.title for found in book.findings(run.run_id)}
            if titles:
                break
        key = finding if finding in titles else next(iter(titles), "")
        return titles, book.trend(key, wanted) if key else [], key


def _chart(points: list[TrendPoint], title: str) -> None:
    known = [point for point in points if math.isfinite(point.value)]
    if not known:
        tag("p", "No run has a value of this finding.")
        return
    last = known[-1]
    limits: list[dict[str, Any]] = [
        {"yAxis": limit, "name": f"{word} limit"}
        for word, limit in (("lower", last.lower), ("upper", last.upper))
        if limit is not None
    ]
    shown = [point.value for point in known] + [limit["yAxis"] for limit in limits]
    room = 0.08 * ((max(shown) - min(shown)) or abs(max(shown)) or 1.0)
    low, high = min(shown) - room, max(shown) + room
    axis: dict[str, Any] = {
        "axisLabel": FONT, "nameTextStyle": FONT, "axisLine": {"lineStyle": {"color": INK}},
        "splitLine": {"lineStyle": {"color": FAINT}},
    }  # fmt: skip
    mark = {
        "silent": True, "symbol": "none", "data": limits,
        "label": {**FONT, "formatter": "{b}", "position": "insideStartTop"},
        "lineStyle": {"color": "var(--limit)", "type": "dashed"},
    }  # fmt: skip
    options = {
        "animation": False,
        "grid": {"left": 64, "right": 20, "top": 34, "bottom": 44},
        "xAxis": {**axis, "type": "category", "name": "run", "nameLocation": "middle", "nameGap": 28,
                  "data": [str(point.run_id) for point in known]},
        "yAxis": {**axis, "type": "value", "min": round(low, 6), "max": round(high, 6),
                  "axisLabel": {**FONT, "showMinLabel": False, "showMaxLabel": False},
                  "name": last.unit, "nameTextStyle": {**FONT, "align": "left"}},
        "series": [{"type": "line", "data": [point.value for point in known], "symbolSize": 9,
                    "itemStyle": {"color": "var(--line-3)"}, "lineStyle": {"color": "var(--line-3)"},
                    "markLine": mark}],
    }  # fmt: skip
    with card(title, "charts"):
        chart = tag("div", classes="chart plane", role="img", data_chart=True)
        chart.props["data-options"] = json.dumps(options)
        chart.props["aria-label"] = f"{title} by run. The numbers are in the table below."


def _table(points: list[TrendPoint]) -> None:
    with table("Table of the trend", ("Run", "Begun (UTC)", "Serial", "Value \u00b1 U", "Verdict"), "card"):
        for point in reversed(points):
            with tag("tr"):
                with tag("th", scope="row"):
                    tag("a", f"Run {point.run_id}", href=f"/run/{point.run_id}")
                tag("td", point.started_at[:19].replace("T", " "), "number")
                tag("td", point.part_serial or "\u2013", "words")
                known = math.isfinite(point.value)
                tag(
                    "td",
                    f"{point.value:.4g} \u00b1 {2 * point.u:.2g} {point.unit}" if known else "\u2013",
                    "number",
                )
                tag("td", f"{SIGNS.get(point.verdict, '')} {point.verdict}", f"word {point.verdict}")
