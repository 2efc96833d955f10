"""The bill of the beginner's bench and its figures, as text."""

from __future__ import annotations

import csv
import io

from hardware.beginner import budget, values
from hardware.beginner.parts import PARTS
from hardware.calc.rows import markdown

BESIDE = (
    ("", 1, "stripboard 80 x 100 mm", 3.0, "26 strips of 38 holes or more"),
    ("", 1, "wire, sockets, box, screws", 12.0, "links of 0.5 mm2; 0.75 mm2 for supply, modules and part"),
)
"""What no drawing has: reference, quantity, what, euro each, why."""


def lines() -> list[tuple[str, int, str, float, str]]:
    """References, quantity, value, price of one in euro, why; equal values share a line."""
    grouped: dict[tuple[str, float], list[tuple[str, str]]] = {}
    for part in PARTS:
        grouped.setdefault((part.value, part.euro), []).append((part.ref, part.why))
    found = [
        (
            " ".join(ref for ref, _ in parts), len(parts), value, euro,
            " / ".join(dict.fromkeys(why for _, why in parts)),
        )
        for (value, euro), parts in grouped.items()
    ]  # fmt: skip
    return [*found, *BESIDE]


def total_euro() -> float:
    """Price of all, from memory."""
    return sum(count * euro for _refs, count, _what, euro, _why in lines())


def text() -> str:
    """The bill as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("reference", "quantity", "value", "euro_each_from_memory", "why"))
    writer.writerows((refs, count, what, f"{euro:.2f}", why) for refs, count, what, euro, why in lines())
    return out.getvalue()


def figures() -> str:
    """Calculated values and error budget as one page."""
    head = "# Figures of the beginner's bench\n\nMade by `python -m hardware.beginner`."
    head += " Nothing was built or measured.\n\n"
    rows = ["## Error budget (standard uncertainties, k = 1, uncalibrated)\n"]
    rows += ["| channel | offset | gain, % | linearity | noise per tick |", "| --- | --- | --- | --- | --- |"]
    for name, parts in budget.channels().items():
        offset, gain, linearity, noise = parts.standard()
        rows.append(f"| {name} | {offset:.2g} | {100 * gain:.2g} | {linearity:.2g} | {noise:.2g} |")
    return head + markdown("Values", values.rows()) + "\n" + "\n".join(rows) + "\n"
