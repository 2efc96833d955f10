"""How an instrument view looks, as options for Apache ECharts; the page's script puts the data in.

Colours are the page's own variables, so that each look of the page has its own. Lines that share a strip
differ in dashes as well as in colour.
"""

from __future__ import annotations

from typing import Any

from strokebench.panel.instrument.layout import Line, Plane, Strip

INK, FAINT = "var(--ink)", "var(--grid)"
FONT = {"color": INK, "fontSize": "var(--chart-font)"}
EXACT = {"outerBoundsMode": "none"}
"""The grid stays where it is put, whatever the labels say, so that the strips stay aligned."""
TOP, BOTTOM, GAP = 5.0, 9.0, 4.0
LEFT, RIGHT = 56, 14
ROOM = {"drive, %": (-10, 10, 10), "position, %": (0, 100, 20), "current, A": (-0.5, 1, 0.5)}
"""Axes of the planes are never narrower, and end in whole steps."""


def strip_options(strips: tuple[Strip, ...]) -> dict[str, Any]:
    """Return the strips above each other with one time axis, zoomed and moved together."""
    count = len(strips)
    high = (100 - TOP - BOTTOM - GAP * (count - 1)) / count
    tops = [TOP + i * (high + GAP) for i in range(count)]
    axes = list(range(count))
    lines = [(line, at) for at, strip in enumerate(strips) for line in strip.lines]
    return {
        "animation": False,
        "grid": [
            {"left": LEFT, "right": RIGHT, "top": f"{t:.2f}%", "height": f"{high:.2f}%", **EXACT}
            for t in tops
        ],
        "xAxis": [_time_axis(i, last=i == count - 1) for i in axes],
        "yAxis": [_value_axis(strip, i) for i, strip in enumerate(strips)],
        "legend": [_legend(strip, tops[i]) for i, strip in enumerate(strips) if len(strip.lines) > 1],
        "series": [_line(line, at) for line, at in lines],
        "toolbox": {"show": False},
        "axisPointer": {"link": [{"xAxisIndex": "all"}], "lineStyle": {"color": INK}},
        "tooltip": {"trigger": "axis", "showContent": False, "axisPointer": {"type": "line"}},
        "dataZoom": [
            {"type": "inside", "xAxisIndex": axes, "filterMode": "none", "throttle": 40,
             "moveOnMouseWheel": "shift"},
            {"type": "slider", "xAxisIndex": axes, "filterMode": "none", "bottom": 4, "height": 22,
             "showDetail": False, "brushSelect": False, "borderColor": FAINT, "throttle": 40},
        ],
        "brush": {
            "xAxisIndex": "all", "brushType": "lineX", "brushMode": "single", "transformable": False,
            "toolbox": [], "throttleType": "debounce", "throttleDelay": 60,
            "brushStyle": {"color": "var(--chosen)", "borderColor": INK, "borderWidth": 1},
            "outOfBrush": {"colorAlpha": 1},
        },
    }  # fmt: skip


def plane_options(plane: Plane) -> dict[str, Any]:
    """Return one channel over another: traces, and a mark at the newest point of each."""
    axis: dict[str, Any] = {
        "type": "value", "nameTextStyle": FONT, "axisLabel": FONT,
        "splitLine": {"lineStyle": {"color": FAINT}},
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": INK}},
    }  # fmt: skip
    traces = [
        {"name": line.name, "type": "line", "symbol": "none", "silent": True, "data": [],
         "lineStyle": {"color": _ink(line), "width": 1.3, "type": line.dashes},
         "itemStyle": {"color": _ink(line)}}
        for _, line in plane.lines
    ]  # fmt: skip
    newest = {
        "type": "scatter", "symbol": "diamond", "symbolSize": 12, "silent": True, "data": [],
        "itemStyle": {"color": "var(--line-1)"},
    }  # fmt: skip
    legend = {"top": 0, "right": 12, "textStyle": FONT, "itemWidth": 30, "selectedMode": False}
    return {
        "animation": False,
        "grid": {"left": LEFT, "right": 18, "top": 30, "bottom": 44, **EXACT},
        "legend": legend | {"show": len(traces) > 1, "data": [line.name for _, line in plane.lines]},
        "xAxis": {
            **axis,
            "steps": ROOM[plane.across],
            "name": plane.across,
            "nameLocation": "middle",
            "nameGap": 28,
        },
        "yAxis": {
            **axis,
            "steps": ROOM[plane.up],
            "name": plane.up,
            "nameTextStyle": {**FONT, "align": "left"},
        },
        "series": [*traces, newest],
    }


def _time_axis(index: int, *, last: bool) -> dict[str, Any]:
    return {
        "type": "value", "gridIndex": index, "min": 0, "max": 10, "splitNumber": 6,
        "axisLabel": {**FONT, "show": last, "time": True, "showMinLabel": False, "showMaxLabel": False,
                      "hideOverlap": True},
        "axisTick": {"show": last}, "axisLine": {"lineStyle": {"color": INK}, "onZero": False},
        "splitLine": {"lineStyle": {"color": FAINT}},
    }  # fmt: skip


def _value_axis(strip: Strip, index: int) -> dict[str, Any]:
    return {
        "type": "value", "gridIndex": index, "name": strip.title, "nameLocation": "end", "nameGap": 4,
        "nameTextStyle": {**FONT, "align": "left", "padding": [0, 0, 0, 2]},
        "axisLabel": {**FONT, "hideOverlap": True},
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": INK}},
        "splitLine": {"lineStyle": {"color": FAINT}}, "steps": [strip.low, strip.high, strip.step],
    }  # fmt: skip


def _legend(strip: Strip, top: float) -> dict[str, Any]:
    return {
        "data": [line.name for line in strip.lines], "top": f"{top - 3.4:.2f}%", "right": 12,
        "textStyle": FONT, "itemWidth": 26, "itemHeight": 8, "selectedMode": False, "padding": 0,
    }  # fmt: skip


def _ink(line: Line) -> str:
    return f"var(--line-{line.ink})"


def _line(line: Line, grid: int) -> dict[str, Any]:
    return {
        "name": line.name, "type": "line", "xAxisIndex": grid, "yAxisIndex": grid, "symbol": "none",
        "lineStyle": {"color": _ink(line), "width": 1.5, "type": line.dashes},
        "itemStyle": {"color": _ink(line)}, "silent": True, "data": [],
    }  # fmt: skip
