"""The steps of a verdict's reasoning in a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from strokebench.terminal.console import console

if TYPE_CHECKING:
    from strokebench.report.reasoning import Step


def show_steps(title: str, steps: Sequence[Step], screen: Console | None = None) -> None:
    """Print each step under its number."""
    screen = screen or console()
    screen.print(title, style="bold", markup=False, highlight=False)
    for number, step in enumerate(steps, 1):
        screen.print()
        screen.print(f"{number}. {step.title}", style="bold", markup=False, highlight=False)
        for line in step.lines:
            screen.print(line, markup=False, highlight=False)
        if step.rows:
            table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
            for name in step.header:
                table.add_column(name, overflow="fold")
            for row in step.rows:
                table.add_row(*(escape(text) for text in row))
            screen.print(table)
