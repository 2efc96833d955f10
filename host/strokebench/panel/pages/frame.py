"""What all pages share: head, top bar, and the way the style and script files are named."""

from __future__ import annotations

from nicegui import ui

from strokebench import __version__
from strokebench.panel.tags import tag

STATIC = "/panel-static"


def frame(here: str, script: str = "", page: str = "") -> None:
    """Begin a page: ``here`` is its path, ``script`` a file of ours to load, ``page`` the lifeline's name."""
    ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/panel.css?{__version__}">')
    if page:
        ui.add_head_html(f'<meta name="panel-page" content="{page}">')
    if script:
        ui.add_head_html(f'<script type="module" src="{STATIC}/{script}?{__version__}"></script>')
    with tag("header", classes="top"):
        tag("span", "strokebench", "name")
        with tag("nav", aria_label="Pages"):
            for path, text in (("/", "Bench"), ("/book", "Job book")):
                link = tag("a", text, href=path)
                if path == here:
                    link.props["aria-current"] = "page"
