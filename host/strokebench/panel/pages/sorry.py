"""Pages of our own for whatever cannot be shown or done."""

from __future__ import annotations

from strokebench.panel.pages.frame import frame, written
from strokebench.panel.tags import tag

SENTENCES = {
    403: ("Refused", "This session may watch and stop, nothing else."),
    404: ("Not found", "There is nothing at this address."),
    405: ("Not possible", "This address cannot be used in this way."),
    413: ("Too large", "What was sent is too large. Send less of it."),
    500: (
        "An error of strokebench",
        "This page could not be made. The bench and STOP are not affected."
        " The panel's program has printed the error. Please report it.",
    ),
}
"""Status -> title, and what to read when nothing better is known."""


def sorry_page(status: int, sentence: str = "") -> str:
    """Return a page that says what is not so, and where to go on, with STOP as on every page."""
    title, words = SENTENCES.get(status, ("Not done", "This could not be done."))
    with frame("", title) as page, tag("div", classes="sheet"):
        tag("h1", title)
        tag("p", sentence or words, role="alert")
        with tag("p", classes="row"):
            tag("a", "To the bench", href="/")
            tag("a", "To the job book", href="/book")
            tag("a", "To the jobs", href="/jobs")
    return written(page)
