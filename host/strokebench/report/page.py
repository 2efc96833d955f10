"""Filling a page of this folder: one self-contained HTML file in the report's look."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.data.run import RunData

HEIGHTS = {"A4": "297mm", "letter": "11in"}
"""Paper -> its height (ISO 216; ANSI/ASME Y14.1, size A)."""
STYLES = ("report.css", "customer.css", "phone.css", "paper.css")
"""In this order: what a screen or a sheet of paper needs comes last."""


def page(template: str, **values: Any) -> str:
    """Return ``template`` of this folder as HTML. Text is escaped unless marked ``own`` there."""
    from importlib import resources

    from jinja2 import Environment, PackageLoader, select_autoescape
    from markupsafe import Markup

    from strokebench import __version__

    environment = Environment(
        loader=PackageLoader("strokebench", "report"),
        autoescape=select_autoescape(default=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["own"] = Markup  # markup that this package made itself: figures, gauges, style
    here = resources.files("strokebench.report")
    style = "".join((here / name).read_text(encoding="utf-8") for name in STYLES)
    values = {"paper": "A4", **values}
    values["sheet"] = HEIGHTS[values["paper"]]
    return environment.get_template(template).render(style=style, version=__version__, **values)


def mark(*runs: RunData) -> str:
    """Return what names these recordings in a page's head, by which its earlier page may be replaced."""
    return "recording " + " ".join(run.info.get("uid") or _digest(run) for run in runs)


def _digest(run: RunData) -> str:
    """Return a name for a recording that is in no book: what it holds."""
    return hashlib.sha256(run.samples.tobytes()).hexdigest()[:32]
