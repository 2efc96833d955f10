"""The page of all findings from their declarations: ``python -m tools.pages.findings`` writes it."""

from __future__ import annotations

from collections.abc import Iterator

from strokebench.diagnose.defects import defect
from strokebench.diagnose.explained import Explanation, explanations
from strokebench.diagnose.question import GROUPS
from strokebench.diagnose.registry import KINDS
from strokebench.report.numbers import limits_text
from strokebench.verdict.about import Usual, causes, usual

from tools import DOCS

HEAD = """# Findings

This page explains every finding. A finding is a quantity that the program worked out from a recording. Each
section says what it means, how it is measured, what good parts read, what brings it out of its limits, and
what to check next. "Good parts" are simulated ones: 95 of 100 lie in that range. No real part has been
measured. The limits are those of the built-in profiles. For your own parts, [learn
limits](../how-to/learn.md).

[How a verdict comes about](../explanation/verdicts.md) explains how a value and its limits become a verdict.
`strokebench finding KEY` prints a section of this page in a terminal. The page is made by
`python -m tools.pages.findings` from the declarations of the program, and a test compares the two.
"""


def page() -> str:
    """Return the whole page as Markdown."""
    parts = [HEAD]
    for group in GROUPS:
        members = [about for about in explanations() if _group(about) == group]
        if members:
            parts.append(f"## {group}\n")
            parts += [line for about in members for line in _section(about)]
    return "\n".join(parts).rstrip() + "\n"


def _group(about: Explanation) -> str:
    """Return the report's group in which the finding is."""
    for kind in KINDS.values():
        for question in kind.questions:
            if about.keys[0] in question.keys:
                return question.group_of(about.keys[0])
    raise ValueError(f"no question declares {about.keys[0]}")


def _section(about: Explanation) -> Iterator[str]:
    yield f"### {about.title} {{ #{about.keys[0]} }}\n"
    yield "".join(f'<a id="{key}"></a>' for key in about.keys[1:]) + f"{about.means}\n"
    yield "- **Name in the data:** " + ", ".join(f"`{key}`" for key in about.keys)
    yield f"- **How it is measured:** {about.measured}"
    names = [defect(name) for name in causes(about)]
    if names:
        yield "- **Out of its limits with:**"
        yield from (f"    - {each.name}. *Check next:* {each.check}" for each in names)
    yield ""
    if rows := usual(about):
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
        cells = (name, row.good_text, limits_text(row.lower, row.upper), row.unit)
        alike.setdefault((*cells, row.part) if row.good_text else cells, []).append(row.part)
    return [
        f"| {', '.join(parts)}{name} | {good} | {limits} | {unit} |"
        for (name, good, limits, unit, *_), parts in alike.items()
    ]


if __name__ == "__main__":
    (DOCS / "reference" / "findings.md").write_text(page(), encoding="utf-8")
