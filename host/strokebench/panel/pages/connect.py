"""The page of the wiring: a drawing for each part."""

from __future__ import annotations

from strokebench.connect import plug
from strokebench.connect.drawing import drawing
from strokebench.errors import StrokebenchError
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.tags import tag
from strokebench.parts import load_part, part_names
from strokebench.parts.profile import Profile

HEAD = "Compare every lead before anything is armed. Check the wiring, on the bench's page, moves nothing."


def connect_page(part: str) -> str:
    """Return the page; ``part`` is shown first, when there is such a part."""
    names = part_names()
    with frame("/connect", "Wiring") as page, tag("div", classes="sheet"):
        tag("h1", "Wiring")
        tag("p", HEAD)
        for name in sorted(names, key=lambda each: (each != part, names.index(each))):
            wiring(load_part(name))
    return written(page)


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
