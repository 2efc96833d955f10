"""A plain table on the terminal, and what shows how far something long is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager

SHORT = 20
"""Of so few things nobody waits for."""


def show_table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a table; columns without a heading are left out. The first two are text, the rest numbers."""
    from rich.markup import escape
    from rich.table import Table

    from strokebench.terminal.console import console

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    shown = [number for number, head in enumerate(heads) if head]
    for number in shown:
        table.add_column(heads[number], overflow="fold", justify="left" if number < 2 else "right")
    for row in rows:
        table.add_row(*(escape(row[number]) for number in shown))
    console().print(table)


@contextmanager
def count_up(what: str, *, quiet: bool, total: int = SHORT) -> Iterator[Callable[[int, int], None]]:
    """Give what shows how many of how many are done, on standard error, where that is a terminal."""
    from rich.progress import Progress

    from strokebench.terminal.console import console

    screen = console(stderr=True)
    if quiet or total < SHORT or not screen.is_terminal:
        yield lambda done, of: None
        return
    with Progress(console=screen, transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda done, of: progress.update(task, completed=done, total=of)
