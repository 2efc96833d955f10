"""What the charts look like, as options for Apache ECharts; the data comes from the page's script.

Lines that share a grid differ in dashes as well as in colour.
"""

from __future__ import annotations

from typing import Any

INK, FAINT = "#1d2730", "#d5dbe0"
WINDOW_S = 10
FONT = {"color": INK, "fontSize": 12}

# name, grid, colour, dashes; in the order of strip.CHANNELS
LINES = (
    ("drive", 0, "#1d2730", "solid"),
    ("current", 1, "#8a3b00", "solid"),
    ("supply", 2, "#0b5d2a", "solid"),
    ("output A", 2, "#1546a0", "dashed"),
    ("output B", 2, "#8b1a6b", "dotted"),
    ("sensor A", 3, "#1546a0", "solid"),
    ("sensor B", 3, "#8b1a6b", "dashed"),
    ("heatsink", 4, "#8a1c1c", "solid"),
)
GRIDS = ("drive, %", "current, A", "volts, V", "sensors, V", "heatsink, \u00b0C")
EXACT = {"outerBoundsMode": "none"}
"""The grid stays where it is put, whatever the labels say, so that the strips stay aligned."""
_TOP, _BOTTOM, _GAP = 4.0, 5.0, 4.5


def strip_options() -> dict[str, Any]:
    """Return five strips above each other with one time axis."""
    count = len(GRIDS)
    high = (100 - _TOP - _BOTTOM - _GAP * (count - 1)) / count
    tops = [_TOP + i * (high + _GAP) for i in range(count)]
    return {
        "animation": False,
        "grid": [{"left": 52, "right": 14, "top": f"{t}%", "height": f"{high}%", **EXACT} for t in tops],
        "xAxis": [_time_axis(i, last=i == count - 1) for i in range(count)],
        "yAxis": [_value_axis(name, i) for i, name in enumerate(GRIDS)],
        "legend": [_legend(i, tops[i]) for i in (2, 3)],
        "series": [_line(*line) for line in LINES],
    }


def _time_axis(index: int, *, last: bool) -> dict[str, Any]:
    return {
        "type": "value", "gridIndex": index, "min": -WINDOW_S, "max": 0, "interval": 2,
        "axisLabel": {
            **FONT, "show": last, ":formatter": "v => v.toFixed(1) + ' s'",
            "showMinLabel": False, "showMaxLabel": False,
        },
        "axisTick": {"show": last}, "axisLine": {"lineStyle": {"color": INK}, "onZero": False},
        "splitLine": {"lineStyle": {"color": FAINT}},
    }  # fmt: skip


def _value_axis(name: str, index: int) -> dict[str, Any]:
    axis: dict[str, Any] = {
        "type": "value", "gridIndex": index, "name": name, "nameLocation": "end", "nameGap": 4,
        "nameTextStyle": {**FONT, "align": "left", "padding": [0, 0, 0, 2]}, "splitNumber": 2,
        "axisLabel": FONT, "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": INK}},
        "splitLine": {"lineStyle": {"color": FAINT}},
    }  # fmt: skip
    if index == 0:
        axis |= {"min": -100, "max": 100}
    elif index == 2:
        axis |= {"min": 0}
    elif index == 3:
        axis |= {"min": 0, "max": 5, "interval": 2.5, "axisLabel": {**FONT, ":formatter": "v => String(v)"}}
    else:  # never so narrow that noise at rest fills the strip; ends in whole steps
        low, high, step = (-0.5, 1, 1) if index == 1 else (20, 40, 10)
        axis |= {
            ":min": f"v => Math.min({low}, {step} * Math.floor(v.min / {step}))",
            ":max": f"v => Math.max({high}, {step} * Math.ceil(v.max / {step}))",
        }
    return axis


def _legend(grid: int, top: float) -> dict[str, Any]:
    names = [name for name, at, _, _ in LINES if at == grid]
    return {
        "data": names, "top": f"{top - 3.6}%", "right": 12, "textStyle": FONT, "itemWidth": 26,
        "itemHeight": 8, "selectedMode": False, "padding": 0,
    }  # fmt: skip


def _line(name: str, grid: int, colour: str, dashes: str) -> dict[str, Any]:
    return {
        "name": name, "type": "line", "xAxisIndex": grid, "yAxisIndex": grid, "symbol": "none",
        "lineStyle": {"color": colour, "width": 1.6, "type": dashes}, "itemStyle": {"color": colour},
        "silent": True, "data": [],
    }  # fmt: skip


def plane_options() -> dict[str, Any]:
    """Return position over drive: a trace and its newest point."""
    return {
        "animation": False,
        "grid": {"left": 52, "right": 18, "top": 28, "bottom": 40, **EXACT},
        "xAxis": {
            **_plain_axis("drive, %"), "min": -100, "max": 100, "nameLocation": "middle", "nameGap": 26,
        },
        "yAxis": {**_plain_axis("position, %"), "min": -10, "max": 110, "interval": 20},
        "series": [
            {"name": "trace", "type": "line", "symbol": "none", "silent": True, "data": [],
             "lineStyle": {"color": "#1546a0", "width": 1.2}},
            {"name": "now", "type": "scatter", "symbol": "diamond", "symbolSize": 12, "silent": True,
             "data": [], "itemStyle": {"color": "#8a3b00"}},
        ],
    }  # fmt: skip


def _plain_axis(name: str) -> dict[str, Any]:
    return {
        "type": "value", "name": name, "nameTextStyle": FONT, "axisLabel": FONT,
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": INK}},
        "splitLine": {"lineStyle": {"color": FAINT}},
    }  # fmt: skip
