"""What the golden parts said last about the benches, as a box."""

from __future__ import annotations

from pathlib import Path

from strokebench.panel.tags import card, tag


def golden_box(path: Path) -> None:
    """Add the box; nothing where the book has no golden part that has been looked at."""
    from strokebench.book.book import Book
    from strokebench.verdict.control.golden import remembered_all

    with Book(path, read_only=True) as book:
        found = remembered_all(book)
    if not found:
        return
    with card("Check of the bench", "golden"):
        for each in found:
            sign = "\u26a0 " if each.warns else ""
            role = "alert" if each.warns else "status"
            tag("p", f"{sign}Bench {each.bench}. {each.sentence}", role=role)
