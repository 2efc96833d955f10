"""What all pages share: head, top bar, the way to the lifeline, and STOP with its state."""

from __future__ import annotations

import secrets

from nicegui import ui

from strokebench import __version__
from strokebench.panel.tags import button, out, tag

STATIC = "/panel-static"


def frame(here: str, *, drives: bool = False) -> None:
    """Begin a page: ``here`` is its path; one that ``drives`` has controls, any other only STOP."""
    for style in ("stop.css", "panel.css"):
        ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/{style}?{__version__}">')
    ui.add_head_html(f'<meta name="panel-page" content="{secrets.token_urlsafe(12)}">')
    ui.add_head_html(f'<meta name="panel-role" content="{"drive" if drives else "watch"}">')
    script = "panel.js" if drives else "watch.js"
    ui.add_head_html(f'<script type="module" src="{STATIC}/{script}?{__version__}"></script>')
    with tag("header", classes="top"):
        tag("span", "strokebench", "name")
        with tag("nav", aria_label="Pages"):
            for path, text in (("/", "Bench"), ("/connect", "Wiring"), ("/book", "Job book")):
                link = tag("a", text, href=path)
                if path == here:
                    link.props["aria-current"] = "page"
    _stop_bar(drives)


def _stop_bar(drives: bool) -> None:
    with tag("footer", classes="stop-bar", aria_label="Stop and control"):
        with tag("div", classes="who"):
            out("says", "Connecting to the panel", element="p", classes="says")
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
