"""The bench's page: readings, charts, hand control, procedure, findings, and STOP."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.panel.instrument.routes import LIVE
from strokebench.panel.instrument.sources import live_source
from strokebench.panel.pages.choice import choice_card
from strokebench.panel.pages.findings import findings_card
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.pages.instrument import instrument
from strokebench.panel.tags import button, card, field, out, tag

if TYPE_CHECKING:
    from strokebench.panel.choice import Choice
    from strokebench.panel.driver import Driver

READINGS = (
    ("current_a", "Current", "A"),
    ("supply_v", "Supply", "V"),
    ("drive", "Drive", "%"),
    ("position", "Position", "%"),
    ("heatsink_c", "Heatsink", "\u00b0C"),
    ("part_c", "Part", "\u00b0C"),
)
OFFLINE = (
    "\u26a0 No news from the panel's program: this page does not know what the part does."
    " If it moves, use the stop button on the bench. Trying again."
)
STEPS = ("Part and cautions", "Connect", "Move or run", "Verdict", "Report")
BUDGETS = (("part", "Part"), ("leads", "Leads"), ("bench", "Bench"))


def bench_page(driver: Driver, wish: Choice | None) -> str:
    """Return the page; ``wish`` is what the command line asked for."""
    with frame("/", "Bench", drives=True, scripts=("live.js",)) as page:
        tag("h1", "Bench", "unseen")
        _steps()
        banners()
        with tag("div", classes="bench"):
            with tag("div", classes="column sights"):
                _readings()
                instrument(live_source(driver), LIVE, "Curves", live=True)
                findings_card()
            with tag("div", classes="column hands"):
                _by_hand()
                _procedure()
                _budgets()
                choice_card(wish)
    return written(page)


def _steps() -> None:
    """The way through the job; the page's script marks where one is."""
    with tag("ol", classes="steps", aria_label="Way through the job"):
        for step in STEPS:
            tag("li", step, data_step=True)


def banners() -> None:
    """Put what may have to be said: a fault, a limit, a message, a lost line, a link under drive."""
    with tag("div", classes="banner fault", role="alert", data_show="fault", hidden=True):
        with tag("p"):
            tag("strong", "\u26a0 Fault ")
            out("fault.code", element="strong")
            tag("strong", ": ")
            out("fault.text")
        with tag("p"):
            tag("strong", "Check: ")
            out("fault.check")
        button("Clear the fault", "clear", "plain", data_needs="mine")
    with tag("div", classes="banner warning", role="status", data_show="warning", hidden=True):
        tag("strong", "\u25b3 Held back: ")
        out("warning.text")
    with tag("div", classes="banner message", role="status", data_show="message", hidden=True):
        out("message.text")
        tag("span", " ")
        out("message.hint", " ")
    with tag("div", classes="banner fault", role="alert", data_show="offline", hidden=True):
        tag("strong", OFFLINE)
    with tag("div", classes="banner warning", role="alert", data_show="leaving", hidden=True):
        tag("strong", "The part is under drive. Leaving this page stops it.")
        with tag("div", classes="row"):
            button("Stay here", "", "plain", data_here="stay")
            button("Stop and leave", "", "plain", data_here="leave")


def _readings() -> None:
    with tag("section", classes="readings", aria_label="Readings"):
        for name, label, unit in READINGS:
            with tag("div", classes="reading"):
                tag("span", label, "what")
                with tag("span", classes="value"):
                    out(f"now.{name}", classes="number")
                    tag("span", unit, "unit")


def _by_hand() -> None:
    with card("Move by hand", "by-hand"):
        with tag("div", classes="row"):
            button("Supply on", "arm", "plain", data_needs="mine idle")
            button("Supply off", "disarm", "plain", data_needs="mine armed")
        with tag("div", classes="field"):
            tag("label", "Drive while held", for_="f-level")
            with tag("div", classes="row"):
                tag("input", type="range", id="f-level", min=5, max=100, step=5, value=25)
                tag("output", "25 %", id="level", for_="f-level")
        with tag("div", classes="row jog"):
            button("\u25c0 Negative", "", "hold", data_jog=-1, data_needs="mine armed")
            button("Positive \u25b6", "", "hold", data_jog=1, data_needs="mine armed")
        tag(
            "p",
            "Moves only while held: pointer, Enter on the button, or the left and right arrow keys.",
            "hint",
        )


def _procedure() -> None:
    with card("Procedure", "procedure"):
        field("Customer reference", "customer")
        field("Serial number of the part", "serial")
        field("Note", "note", area=True)
        with tag("div", classes="row"):
            button("Run the procedure", "run", "main", data_needs="mine idle")
        with tag("div", data_show="running", hidden=True):
            tag("progress", id="progress", max=100, value=0, aria_label="Progress of the procedure")
            with tag("p", classes="row"):
                out("run.done")
                tag("span", "of")
                out("run.total")
                tag("span", "s, ")
                out("run.label", classes="label")


def _budgets() -> None:
    with card("Heat still allowed", "budgets"):
        for name, label in BUDGETS:
            with tag("div", classes="budget"):
                tag("span", label)
                tag(
                    "meter",
                    min=0,
                    max=1,
                    low=0.25,
                    value=1,
                    data_meter=name,
                    aria_label=f"{label}, share left",
                )
                out(f"left.{name}")
        with tag("p", classes="hint"):
            tag("span", "Junctions, estimated: ")
            out("junction_c")
            tag("span", " \u00b0C. Drive allowed: ")
            out("cap")
            tag("span", ".")
