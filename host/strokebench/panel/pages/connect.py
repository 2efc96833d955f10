"""The page of the wiring: check and pin finder for the part on the bench, and a drawing for each part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.connect import plug
from strokebench.connect.drawing import drawing
from strokebench.connect.finder import PROBE_OHM
from strokebench.errors import StrokebenchError
from strokebench.panel.pages.bench import banners
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.tags import Element, button, card, out, tag
from strokebench.parts import load_part, part_names
from strokebench.parts.profile import Profile

if TYPE_CHECKING:
    from strokebench.panel.driver import Driver

HEAD = "Compare every lead with the drawing before anything is armed."
HOW_CHECKED = (
    "Nothing moves at first. The bench reads the sensor inputs, and its current is too small to harm"
    " anything. After your yes it moves the part gently, a second each way."
)
HOW_FOUND = (
    "For an unknown plug. Take all leads off the part and leave it at rest. The red clip is the"
    f" sensor feed behind {PROBE_OHM:.0f} ohm together with sensor input A. The black clip is the sensor"
    " ground. At most 1.1 mA flows."
)
WHICH_PART = "This checks the part on the bench. You choose part and bench on the page"


def connect_page(part: str, driver: Driver) -> str:
    """Return the page; ``part``, else the one on the bench, is shown first, when there is such a part."""
    names = part_names()
    part = part or driver.view.now.part
    with (
        frame("/connect", "Wiring", drives=True, scripts=("wiring.js",)) as page,
        tag("div", classes="sheet"),
    ):
        tag("h1", "Wiring")
        tag("p", HEAD)
        banners()
        _now()
        for name in sorted(names, key=lambda each: (each != part, names.index(each))):
            wiring(load_part(name))
    return written(page)


def _now() -> None:
    """The check of what is on the bench, filled by the page's script."""
    with card("The part on the bench", "wiring-now"):
        with tag("p"):
            out("title", element="strong")
            tag("span", " \u00b7 ")
            out("bench")
        with tag("p", f"{WHICH_PART} ", "hint"):
            tag("a", "Bench", href="/")
        with tag("div", classes="row"):
            button("Check the wiring", "", "main", data_wiring="check", data_needs="mine still connected")
        tag("p", HOW_CHECKED, "hint")
        with tag("div", classes="wiring-said", role="status", aria_live="polite"):
            tag("p", "", "wiring-headline", data_wire="headline")
            tag("ul", "", data_wire="sentences")
            tag("p", "", data_wire="to_do")
            _questions()
        with tag("details"):
            tag("summary", "Which pin of an unknown plug is which")
            tag("p", HOW_FOUND)
            with tag("div", classes="field"):
                tag("label", "Pins of the plug (empty: as many as drawn)", for_="f-pins")
                tag("input", type="number", id="f-pins", min=2, max=plug.MOST_PINS)
            with tag("div", classes="row"):
                button("Find the pins", "", "plain", data_wiring="find", data_needs="mine still connected")
        tag("ol", "", data_wire="measured", aria_label="Measured so far")


def _questions() -> None:
    for question, answers in QUESTIONS.items():
        with tag("div", classes="wiring-question", data_question=question, hidden=True):
            tag("p", "", data_wire="asks")
            with tag("div", classes="row"):
                for text, deed, classes in answers:
                    _answer(text, deed, classes)


def _answer(text: str, deed: str, classes: str) -> Element:
    return button(text, "", classes, data_wiring=deed, data_needs="mine still connected")


QUESTIONS = {
    "move": (("All hands are clear: move it", "gently", "main"),),
    "polarity": (("Yes, as drawn", "polarity yes", "main"), ("No", "polarity no", "plain")),
    "clips": (("The clips are on", "touch", "main"), ("Give up", "give_up", "plain")),
    "connect": (("It is connected: check it", "connected", "main"), ("Give up", "give_up", "plain")),
}
"""Question -> its answers: text, what it sends, looks."""


def wiring(profile: Profile) -> None:
    """Put the drawing of one part with its lines in words."""
    with tag("section", classes="card", id=f"wiring-{profile.name}"):
        tag("h2", profile.part.title)
        leads = "; ".join(f"{plug.LEADS[each.lead]} to {each.name}" for each in plug.drawn(profile))
        tag("img", src=f"/wiring/{profile.name}.svg", alt=f"Drawing. {leads}.", width=760, classes="wiring")
        with tag("ul"):
            for line in profile.part.connect:
                tag("li", line)


def picture(part: str) -> str | None:
    """Return the drawing of a part that this program brings along, None for any other name."""
    if part not in part_names():
        return None
    try:
        return drawing(load_part(part))
    except StrokebenchError:
        return None
