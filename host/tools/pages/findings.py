"""The page of all findings from their declarations: ``python -m tools.pages.findings`` writes it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from strokebench.diagnose.defects import defect
from strokebench.diagnose.explained import Explanation, explanations
from strokebench.diagnose.question import GROUPS
from strokebench.diagnose.registry import KINDS
from strokebench.parts import load_part, part_names
from strokebench.report.numbers import limits_text, symbols
from strokebench.verdict.about import NO_LIMITS, Usual, causes, side_text, usual

from tools import DOCS
from tools.pages.glossary import linked

PAGE = DOCS / "reference" / "findings.md"

HEAD = Path(__file__).with_suffix(".md")


def page() -> str:
    """Return the whole page as Markdown."""
    titles = "\n".join(f"| {name} | {load_part(name).part.title} |" for name in part_names())
    parts = [HEAD.read_text(encoding="utf-8").format(parts=titles)]
    for group in GROUPS:
        members = [about for about in explanations() if _group(about) == group]
        if members:
            parts.append(f"## {group}\n")
            parts += [line for about in members for line in _section(about)]
    return linked("\n".join(parts).rstrip() + "\n", PAGE)


def _group(about: Explanation) -> str:
    """Return the report's group in which the finding is."""
    for kind in KINDS.values():
        for question in kind.questions:
            if about.keys[0] in question.keys:
                return question.group_of(about.keys[0])
    raise ValueError(f"no question declares {about.keys[0]}")


def _section(about: Explanation) -> Iterator[str]:
    second = f" / {about.also_title}" if about.also_title else ""
    yield f"### {about.title}{second} {{ #{about.keys[0]} }}\n"
    yield "".join(f'<a id="{key}"></a>' for key in about.keys[1:]) + f"{about.means}\n"
    yield "- **Name in the data:** " + ", ".join(f"`{key}`" for key in about.keys)
    yield f"- **How it is measured:** {about.measured}"
    for side, names in causes(about).items():
        yield f"- **{side_text(about, side)}** It can mean:"
        yield from (f"    - {each.name}. *Check next:* {each.check}" for each in map(defect, names))
    rows = usual(about)
    if not rows:
        yield f"- **Limits:** {about.judged or NO_LIMITS}"
    yield ""
    if rows:
        yield "| part | good parts | limits | unit |"
        yield "| --- | --- | --- | --- |"
        yield from _rows(rows)
        yield ""


def _rows(rows: list[Usual]) -> list[str]:
    """Table rows; parts with the same limits and no known range share a single row."""
    several = len({row.key for row in rows}) > 1
    alike: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        name = f" (`{row.key}`)" if several else ""
        cells = (name, row.good_text, limits_text(row.lower, row.upper), symbols(row.unit))
        alike.setdefault((*cells, row.part) if row.good_text else cells, []).append(row.part)
    return [
        f"| {_named(parts)}{name} | {good} | {limits} | {unit} |"
        for (name, good, limits, unit, *_), parts in alike.items()
    ]


def _named(parts: list[str]) -> str:
    return "all" if len(parts) == len(part_names()) else ", ".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
