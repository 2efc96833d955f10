"""One line of a result table."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """A computed quantity: what, how much, in which unit, by which formula, after which source."""

    name: str
    value: float
    unit: str
    formula: str
    source: str


def markdown(title: str, rows: Iterable[Row]) -> str:
    """A section with a table; values to four significant digits."""
    head = f"## {title}\n\n| quantity | value | unit | formula | source |\n| --- | --- | --- | --- | --- |\n"
    lines = (f"| {r.name} | {r.value:.4g} | {r.unit} | {r.formula} | {r.source} |\n" for r in rows)
    return head + "".join(lines)
