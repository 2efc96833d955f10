"""A page as a tree of HTML elements, written out once; what is text stays text."""

from __future__ import annotations

from collections.abc import Sequence
from contextvars import ContextVar
from html import escape
from types import TracebackType

Value = str | float | bool
VOID = ("img", "input", "link", "meta")
"""Elements that have no end tag."""
_inside: ContextVar[tuple[Element, ...]] = ContextVar("inside", default=())


class Element:
    """``<name>`` with attributes in ``props``; what is made within ``with element:`` goes into it."""

    def __init__(self, name: str, text: str = "") -> None:
        self.name = name
        self.props: dict[str, Value] = {}
        self._parts: list[Element | str] = [text] if text else []
        around = _inside.get()
        if around:
            around[-1]._parts.append(self)

    def __enter__(self) -> Element:
        _inside.set((*_inside.get(), self))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        _inside.set(_inside.get()[:-1])

    @property
    def children(self) -> list[Element]:
        """The elements directly in it."""
        return [part for part in self._parts if isinstance(part, Element)]

    @property
    def html(self) -> str:
        """The element and everything in it; all text and all attributes escaped."""
        inner = "".join(part.html if isinstance(part, Element) else escape(part) for part in self._parts)
        if self.name in VOID:
            return f"<{self.name}{self._attributes()}>"
        return f"<{self.name}{self._attributes()}>{inner}</{self.name}>"

    @property
    def inner(self) -> str:
        """What is in the element, without itself."""
        return "".join(part.html if isinstance(part, Element) else escape(part) for part in self._parts)

    def _attributes(self) -> str:
        texts = []
        for key, value in self.props.items():
            if value is True:
                texts.append(f" {key}")
            elif value is not False:
                texts.append(f' {key}="{escape(str(value))}"')
        return "".join(texts)


def tag(name: str, /, text: str = "", classes: str = "", **attributes: Value) -> Element:
    """Return an element ``<name>`` holding ``text``.

    ``attributes``: with an underscore for each dash; a trailing one is dropped (``for_``). True writes an
    attribute without a value, False none.
    """
    element = Element(name, text)
    if classes:
        element.props["class"] = classes
    for key, value in attributes.items():
        element.props[key.rstrip("_").replace("_", "-")] = value
    return element


def button(text: str, /, do: str = "", classes: str = "", **attributes: Value) -> Element:
    """Return a button that sends the command ``do`` to the server when pressed."""
    if do:
        attributes["data_do"] = do
    return tag("button", text, classes, **{"type": "button", **attributes})


def out(name: str, text: str = "", *, element: str = "span", classes: str = "") -> Element:
    """Return an element whose text the page's script keeps up to date under ``name``."""
    return tag(element, text or "\u2013", classes, data_out=name)


def field(label: str, name: str, *, area: bool = False, hint: str = "", value: str = "") -> None:
    """Put a labelled text field ``name`` that begins with ``value``."""
    with tag("div", classes="field"):
        tag("label", label, for_=f"f-{name}")
        if area:
            box = tag("textarea", value, rows=2)
        else:
            box = tag("input", type="text", autocomplete="off", value=value)
        box.props |= {"id": f"f-{name}", "name": name, "maxlength": 2000}
        if hint:
            box.props["aria-describedby"] = f"h-{name}"
        if hint:
            tag("p", hint, "hint", id=f"h-{name}")


def select(label: str, name: str, options: Sequence[tuple[str, str]], chosen: str) -> None:
    """Put a labelled choice among ``options``, each with its value and its words."""
    with tag("div", classes="field"):
        tag("label", label, for_=f"f-{name}")
        with tag("select", id=f"f-{name}", name=name):
            for value, words in options:
                tag("option", words, value=value, selected=value == chosen)


def card(title: str, classes: str = "", ident: str = "") -> Element:
    """Return a titled section; put its contents in with ``with``."""
    ident = ident or title.lower().replace(" ", "-")
    section = tag("section", classes=f"card {classes}".strip(), aria_labelledby=f"t-{ident}")
    with section:
        tag("h2", title, id=f"t-{ident}")
    return section


class Rows(Element):
    """The body of a table. Each cell gets its column's head, which a narrow screen shows beside it."""

    def __init__(self, heads: Sequence[str]) -> None:
        super().__init__("tbody")
        self._heads = heads

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        super().__exit__(kind, error, trace)
        for row in self.children:
            for cell, head in zip(row.children, self._heads, strict=True):
                cell.props["data-head"] = head


def table(label: str, heads: Sequence[str], classes: str = "", *, flows: bool = True) -> Rows:
    """Return the body of a table with these column heads; put its rows in with ``with``.

    ``flows``: on a narrow screen the cells of a row follow each other like words.
    """
    kinds = f"scroll {'flows ' if flows else ''}{classes}".strip()
    with tag("div", classes=kinds, tabindex=0, role="region", aria_label=label), tag("table"):
        with tag("thead"), tag("tr"):
            for head in heads:
                tag("th", head, scope="col")
        return Rows(heads)
