"""The page that lays two recordings over each other: one self-contained HTML file in the report's look."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from strokebench.report.numbers import fixed, limits_text, places, with_uncertainty
from strokebench.report.page import mark, page
from strokebench.report.pictures.beside_limits import beside_limits
from strokebench.report.pictures.drawing import Picture, drawn
from strokebench.report.pictures.two_runs import plane, stretch, whole_runs
from strokebench.report.workshop import Workshop
from strokebench.verdict import COVERAGE

if TYPE_CHECKING:
    from strokebench.verdict.compare import Comparison, Difference

LETTERS = ("A", "B")
MOST_ROWS = 10
"""Findings that are drawn at most; the table has all."""
SIGNS = {
    "now passes": "\u2713 ",
    "still fails": "\u2717 ",
    "now fails": "\u2717 ",
    "worse": "\u2717 ",
    "no longer fails": "? ",
}
"""Before the word, since colour never says it alone."""
STATES = {"now passes": "pass", "no longer fails": "inconclusive", "": "info"}
"""What became of a verdict -> the look of its line; all others fail."""


@dataclass(frozen=True)
class Line:
    """One line of the table of differences."""

    title: str
    unit: str
    a: str
    b: str
    change: str
    limits: str
    word: str
    state: str


def render(found: Comparison, names: tuple[str, str], workshop: Workshop | None = None) -> str:
    """Return the page as HTML; ``names`` say where A and B came from. Typed text is escaped."""
    whose = workshop or Workshop()
    return page(
        "comparison.html",
        mark=mark(found.a.run, found.b.run),
        title=found.a.profile.part.title,
        paper=whose.paper,
        sides=[
            _side(letter, side, name, whose)
            for letter, side, name in zip(LETTERS, (found.a, found.b), names, strict=True)
        ],
        comparison=content(found),
    )


def content(found: Comparison, names: tuple[str, str] = LETTERS) -> dict[str, Any]:
    """Return the values of ``differences.html``; ``names`` are those of the two recordings in it."""
    return {
        "letters": names,
        "headline": headline(found),
        "lines": [line(difference) for difference in found.differences],
        "unknown": _by_reason(found, names),
        "remarks": [_called(remark, names) for remark in found.remarks],
        "pictures": pictures(found, names),
        "k": f"{COVERAGE:g}",
    }


def _by_reason(found: Comparison, names: tuple[str, str]) -> dict[str, list[str]]:
    """Return what is not known of both, gathered by its reason."""
    gathered: dict[str, list[str]] = {}
    for title, reason in found.unknown.items():
        gathered.setdefault(_called(reason, names), []).append(title)
    return gathered


def _called(text: str, names: tuple[str, str]) -> str:
    """Return a sentence of the comparison with the recordings' names in place of A and B."""
    by_letter = dict(zip(LETTERS, names, strict=True))
    return re.sub(r"\b[AB]\b(?=:| does| did)", lambda letter: by_letter[letter[0]], text)


def headline(found: Comparison) -> str:
    """Return one sentence: how many findings differ, and which most."""
    real, total, story = found.real, len(found.differences), _story(found)
    if not total:
        return "No finding is known in both recordings."
    if not real:
        return f"{story}None of the {total} findings differs by more than its uncertainty."
    named = ", ".join(difference.title for difference in real[:3])
    many = f"{len(real)} of {total} findings differ by more than their uncertainty."
    return f"{story}{many} First of all: {named}."


def _story(found: Comparison) -> str:
    """Return what became of the verdicts, a sentence for each meaning."""
    groups: dict[str, list[str]] = {}
    for difference in found.differences:
        if difference.meaning:
            groups.setdefault(difference.meaning, []).append(difference.title)
    return "".join(f"{word.capitalize()}: {', '.join(titles)}. " for word, titles in groups.items())


def line(difference: Difference) -> Line:
    """Return a difference as text."""
    expanded = COVERAGE * difference.u
    digits = places(expanded)
    meaning = difference.meaning
    seen = ("higher" if difference.change > 0 else "lower") if difference.real else "no difference seen"
    word = SIGNS.get(meaning, "") + (meaning or seen)
    values = (fixed(difference.a, digits), fixed(difference.b, digits))
    change = with_uncertainty(difference.change, expanded)
    limits = limits_text(difference.lower, difference.upper)
    state = STATES.get(meaning, "fail")
    return Line(difference.title, difference.unit, *values, change, limits, word, state)


def _side(letter: str, side: Any, name: str, workshop: Workshop) -> dict[str, str]:
    info = side.info
    about = [workshop.moment(info.get("started_at"))]
    about += [info.get(key) for key in ("part_serial", "customer", "note")]
    return {
        "letter": letter, "name": name, "verdict": side.verdict.value,
        "about": ", ".join(str(text) for text in about if text),
    }  # fmt: skip


def pictures(found: Comparison, names: tuple[str, str] = LETTERS) -> list[Picture]:
    """Return the figures that the recordings allow: limits, where they differ most, position, the whole."""
    return drawn(
        beside_limits(found, names, MOST_ROWS),
        stretch(found, names),
        plane(found, names),
        whole_runs(found, names),
    )
