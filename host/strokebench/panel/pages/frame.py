"""What all pages share: head, top bar, the way to the lifeline, and STOP with its state."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager

from strokebench import __version__
from strokebench.panel.tags import Element, button, out, select, tag

STATIC = "/panel-static"
CHARTS = "/panel-charts"
STYLES = ("stop.css", "panel.css", "instrument.css", "modes.css")
LINKS = (
    ("/", "Bench"),
    ("/connect", "Wiring"),
    ("/book", "Job book"),
    ("/jobs", "Jobs"),
    ("/join", "Join by phone"),
)
LOOKS = (
    ("auto", "as the system"),
    ("light", "light"),
    ("dark", "dark"),
    ("projector", "projector"),
    ("glove", "gloves"),
)


@contextmanager
def frame(here: str, title: str, *, drives: bool = False, scripts: tuple[str, ...] = ()) -> Iterator[Element]:
    """Yield a page to be filled: ``here`` is its path; one that ``drives`` has controls, any other only STOP.

    ``scripts``: modules of the page's own, besides the one that has the lifeline.
    """
    page = Element("html")
    page.props["lang"] = "en"
    with page:
        _head(title, drives, scripts)
        with tag("body"):
            tag("a", "To the contents", "skip", href="#contents")
            _top(here)
            _stop_bar(drives)  # before the contents: whatever becomes of these, STOP is there
            with tag("main", id="contents", tabindex=-1):
                yield page


def written(page: Element) -> str:
    """Return a page as the browser gets it."""
    return f"<!doctype html>\n{page.html}\n"


def _head(title: str, drives: bool, scripts: tuple[str, ...]) -> None:
    with tag("head"):
        tag("meta", charset="utf-8")
        tag("meta", name="viewport", content="width=device-width, initial-scale=1")
        tag("title", f"{title} - strokebench panel")
        for style in STYLES:
            tag("link", rel="stylesheet", href=f"{STATIC}/{style}?{__version__}")
        tag("link", rel="icon", href="data:,")
        tag("meta", name="panel-page", content=secrets.token_urlsafe(12))
        tag("meta", name="panel-role", content="drive" if drives else "watch")
        tag("script", src=f"{STATIC}/look.js?{__version__}")  # before anything is drawn
        for script in ("panel.js" if drives else "watch.js", *scripts):
            tag("script", type="module", src=f"{STATIC}/{script}?{__version__}")


def _top(here: str) -> None:
    with tag("header", classes="top"):
        tag("span", "strokebench", "name")
        with tag("nav", aria_label="Pages"):
            for path, text in LINKS:
                link = tag("a", text, href=path)
                if path == here:
                    link.props["aria-current"] = "page"
        with tag("div", classes="look"):
            select("Look", "look", LOOKS, "auto")


def _stop_bar(drives: bool) -> None:
    with tag("footer", classes="stop-bar", aria_label="Stop and control"):
        with tag("div", classes="who"):
            out("says", "Connecting to the panel", element="p", classes="says").props["role"] = "status"
            tag("p", "", "stop-state", data_stop_state=True, role="status")
            tag("p", "", "verdict-line", data_verdict=True, role="status")
            if drives:
                with tag("p", classes="row"):
                    out("who")
                    button("Take the controls", "take", "plain small", data_seen="watching")
                    button("Hand over", "give", "plain small", data_seen="mine")
        with button("", "stop", "stop", aria_label="STOP: drive and supply off at once"):
            tag("span", "STOP")
            tag("small", "Space or Esc")
