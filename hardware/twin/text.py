"""Paragraphs and tables of docs/circuit-twin.md."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable


def prose(text: str) -> str:
    """A paragraph with lines of the house's length."""
    return textwrap.fill(" ".join(text.split()), 110) + "\n\n"


def table(head: str, rows: Iterable[Iterable[object]]) -> str:
    """A table in Markdown."""
    lines = [f"| {head} |", "|" + " --- |" * (head.count("|") + 1)]
    return "\n".join([*lines, *("| " + " | ".join(str(cell) for cell in row) + " |" for row in rows)]) + "\n"
