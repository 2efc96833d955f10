"""Plain HTML elements for the pages; what is text stays text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement


def tag(name: str, /, text: str = "", classes: str = "", **attributes: str | float | bool) -> Element:
    """Return an element ``<name>`` holding ``text``, escaped by the browser's own text nodes.

    ``attributes``: with an underscore for each dash; a trailing one is dropped (``for_``).
    """
    element = TextElement(tag=name, text=text) if text else Element(name)
    for key, value in attributes.items():
        element.props[key.rstrip("_").replace("_", "-")] = value
    return element.classes(classes) if classes else element


def button(text: str, /, do: str = "", classes: str = "", **attributes: str | float | bool) -> Element:
    """Return a button that sends the command ``do`` to the server when pressed."""
    if do:
        attributes["data_do"] = do
    return tag("button", text, classes, type="button", **attributes)


def out(name: str, text: str = "", *, element: str = "span", classes: str = "") -> Element:
    """Return an element whose text the page's script keeps up to date under ``name``."""
    return tag(element, text or "\u2013", classes, data_out=name)


def field(label: str, name: str, *, area: bool = False, hint: str = "", value: str = "") -> None:
    """Put a labelled text field ``name`` that begins with ``value``."""
    with tag("div", classes="field"):
        tag("label", label, for_=f"f-{name}")
        kind = "textarea" if area else "input"
        attributes: dict[str, Any] = {"rows": 2} if area else {"type": "text", "autocomplete": "off"}
        if hint:
            attributes["aria_describedby"] = f"h-{name}"
        if value:
            attributes["value"] = value
        tag(kind, id=f"f-{name}", name=name, maxlength=2000, **attributes)
        if hint:
            tag("p", hint, "hint", id=f"h-{name}")


def card(title: str, classes: str = "", ident: str = "") -> Element:
    """Return a titled section; put its contents in with ``with``."""
    ident = ident or title.lower().replace(" ", "-")
    section = tag("section", classes=f"card {classes}".strip(), aria_labelledby=f"t-{ident}")
    with section:
        tag("h2", title, id=f"t-{ident}")
    return section


def table(label: str, heads: Sequence[str], classes: str = "") -> Element:
    """Return the body of a table with these column heads; put its rows in with ``with``."""
    with (
        tag("div", classes=f"scroll {classes}".strip(), tabindex=0, role="region", aria_label=label),
        tag("table"),
    ):
        with tag("thead"), tag("tr"):
            for head in heads:
                tag("th", head, scope="col")
        return tag("tbody")
