"""The card that chooses part, bench, and what is wrong with a simulated part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.errors import StrokebenchError
from strokebench.panel.choice import injectable
from strokebench.panel.tags import button, card, field, out, select, tag
from strokebench.parts import load_part, part_names

if TYPE_CHECKING:
    from strokebench.panel.choice import Choice


def choice_card(wish: Choice | None) -> None:
    """Build the card; what the command line asked for is chosen already."""
    names = part_names()
    chosen = wish.part if wish else names[0]
    if chosen not in names:
        names = [chosen, *names]
    with card("Part and bench", "choice"):
        with tag("p"):
            out("title")
            tag("span", " \u00b7 ")
            out("bench")
        select("Part", "part", [(name, name) for name in names], chosen)
        ways = ("simulated bench", "bench on a port")
        way = ways[0] if wish is None or wish.simulated else ways[1]
        select("Bench", "way", [(words, words) for words in ways], way)
        with tag("div", data_show="real", hidden=True):
            field(
                "Port", "port", value=wish.port if wish else "",
                hint="Empty: the only Pico plugged in. Else a port of this computer, or socket://HOST:PORT or"
                " rfc2217://HOST:PORT.",
            )  # fmt: skip
        for name in names:
            _faults(name, wish)
        with tag("div", classes="row"):
            button("Connect", "open", "plain", data_needs="mine still")
            button("Check the wiring", "check", "plain", data_needs="mine still connected")
            button("Disconnect", "close", "plain", data_needs="mine still connected")
        _cautions(names)


def _faults(part: str, wish: Choice | None) -> None:
    """The defects of one part; shown while that part is chosen on a simulated bench."""
    try:
        profile = load_part(part)
        known = injectable(profile.simulated)
    except StrokebenchError:
        return
    wished = (
        {text.partition("=")[0].partition(":")[0].partition("@")[0]: text for text in wish.faults}
        if wish
        else {}
    )
    with tag("details", data_faults=part, hidden=True):
        tag("summary", "What is wrong with the simulated part")
        with tag("fieldset"):
            tag("legend", "Defects", "unseen")
            for name, sentence in known:
                with tag("div", classes="check"):
                    value = wished.get(name, name)
                    checked = name in wished
                    tag(
                        "input",
                        type="checkbox",
                        id=f"x-{part}-{name}",
                        name="fault",
                        value=value,
                        checked=checked,
                    )
                    tag("label", f"{name}: {sentence}", for_=f"x-{part}-{name}")
        with tag("div", classes="field"):
            tag("label", "How bad", for_=f"b-{part}")
            with tag("select", id=f"b-{part}", name="size"):
                tag("option", "moderate", value="moderate")
                tag("option", "severe", value="severe")


def _cautions(names: list[str]) -> None:
    """Each part's cautions and wiring."""
    for name in names:
        try:
            part = load_part(name).part
        except StrokebenchError:
            continue
        with tag("div", data_about=name, hidden=True):
            for title, lines in (("Cautions", part.every_caution), ("Wiring", part.connect)):
                if lines:
                    tag("h3", title)
                    with tag("ul"):
                        for line in lines:
                            tag("li", line)
                if title == "Wiring":
                    with tag("p"):
                        tag("a", "Drawing of the wiring", href=f"/connect?part={name}")
                if title == "Cautions" and part.acknowledge:
                    with tag("div", classes="check"):
                        tag("input", type="checkbox", id=f"ack-{name}")
                        tag("label", "I have read these cautions and they are met.", for_=f"ack-{name}")
