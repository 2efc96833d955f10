"""The pieces of an instrument view: its buttons, strips, cursors, numbers, and channels over each other."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from strokebench.panel.instrument.options import plane_options, strip_options
from strokebench.panel.tags import button, card, select, tag

if TYPE_CHECKING:
    from strokebench.panel.instrument.sources import Source

WINDOWS = (("10", "10 s"), ("60", "1 min"), ("600", "10 min"), ("3600", "1 hour"))
HINT = (
    "Each stretch is drawn from its lowest to its highest value. Wheel or two fingers zoom, dragging moves."
    " A click sets a cursor. Two cursors, a finding, a segment or a dragged stretch show their numbers below."
)


def instrument(source: Source, name: str, title: str, *, live: bool = False) -> None:
    """Put the view of ``source``, which the page's script asks for by ``name``."""
    with card(title, "charts instrument", "instrument"):
        _tools(live)
        chart = tag("div", classes="chart strips", data_strips=name, role="img", data_live=live)
        chart.props["data-options"] = json.dumps(strip_options(source.strips))
        chart.props["data-layout"] = json.dumps(source.layout())
        chart.props["aria-label"] = (
            "Strip charts over time: "
            + ", ".join(strip.title for strip in source.strips)
            + ". The numbers of a stretch"
            " are in the table below."
        )
        tag("p", HINT, "hint")
        _stretch()
    _planes(source, live)


def _tools(live: bool) -> None:
    with tag("div", classes="row tools", role="toolbar", aria_label="Time axis"):
        if live:
            button("Pause", "", "plain small", data_view="pause", aria_pressed="false")
            for seconds, words in WINDOWS:
                button(words, "", "plain small", data_window=seconds, aria_pressed="false")
        else:
            button("Whole run", "", "plain small", data_view="whole")
        for what, words in (("in", "Zoom in"), ("out", "Zoom out"), ("left", "Earlier"), ("right", "Later")):
            button(words, "", "plain small", data_view=what)
        button("Drag selects", "", "plain small", data_view="select", aria_pressed="false")


def _stretch() -> None:
    with tag("div", classes="row stretch"):
        for cursor in ("a", "b"):
            with tag("div", classes="field cursor"):
                tag("label", f"Cursor {cursor.upper()}, s", for_=f"c-{cursor}")
                tag("input", type="number", id=f"c-{cursor}", step="any", data_cursor=cursor)
        select("A click sets", "click", (("a", "cursor A"), ("b", "cursor B")), "a")
        select("Segment", "segment", (("", "\u2013"),), "")
        button("Show the stretch", "", "plain small", data_view="stretch")
        button("Clear", "", "plain small", data_view="clear")
    tag(
        "div",
        "",
        "numbers",
        data_numbers=True,
        role="region",
        aria_label="Numbers of the stretch",
        aria_live="polite",
    )


def _planes(source: Source, live: bool) -> None:
    for number, plane in enumerate(source.planes):
        with card(plane.title, "charts"):
            chart = tag("div", classes="chart plane", data_plane=number, role="img")
            chart.props["data-options"] = json.dumps(plane_options(plane))
            chart.props["aria-label"] = f"{plane.up} over {plane.across} of what the strips show."
            if live and not number:
                button("Wipe the plots", "", "plain small", data_here="wipe")
