"""The lists of simulated parts, their defects and the bench's troubles, as Markdown for docs/simulation.md.

``python -m tools.evidence.catalogue`` writes them between the page's two marker lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module

from strokebench.errors import DataError
from strokebench.sim.board.troubles import KNOWN
from strokebench.sim.faults import FaultKind
from strokebench.sim.plants import PARTS, available, module_of

from tools import DOCS

PAGE = DOCS / "simulation.md"
BEGIN = "<!-- begin of the lists: python -m tools.evidence.catalogue -->"
END = "<!-- end of the lists -->"


def lists() -> str:
    """Return the Markdown of all lists."""
    return "\n".join([*_parts(), "### Troubles of the bench", "", *_troubles()])


def _parts() -> Iterator[str]:
    by_module: dict[str, list[str]] = {}
    for part in PARTS:
        by_module.setdefault(module_of(part), []).append(part)
    for module, parts in by_module.items():
        title = str(import_module(module).__doc__).partition("\n")[0].rstrip(".")
        yield f"### {', '.join(f'`{part}`' for part in parts)}"
        yield ""
        yield f"{title}."
        yield ""
        yield "| defect | what it is | size means | moderate | severe | place |"
        yield "| --- | --- | --- | --- | --- | --- |"
        yield from (_row(kind) for kind in available(parts[0]))
        yield ""


def _row(kind: FaultKind) -> str:
    place = f"{kind.place_means}, default {kind.place}" if kind.place_means else ""
    sizes = f"{kind.moderate:g} | {kind.severe:g}" if kind.size_means != "no matter" else " | "
    means = "" if kind.size_means == "no matter" else kind.size_means
    return f"| `{kind.name}` | {kind.sentence} | {means} | {sizes} | {place} |"


def _troubles() -> Iterator[str]:
    yield "| trouble | what it is |"
    yield "| --- | --- |"
    yield from (f"| `{name}` | {meaning} |" for name, meaning in KNOWN.items())


def page_with_lists(page: str) -> str:
    """Return ``page`` with the text between its marker lines renewed; DataError when they are missing."""
    before, begin, rest = page.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise DataError("The page has no marker lines for the lists.", f"It needs {BEGIN!r} and {END!r}.")
    return f"{before}{BEGIN}\n\n{lists()}\n\n{END}{after}"


if __name__ == "__main__":
    PAGE.write_text(page_with_lists(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
