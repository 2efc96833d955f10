"""How an error is reported in a terminal. Nothing heavy is loaded: an import may have been cut off."""

from __future__ import annotations

import sys

from rich.markup import escape

from strokebench.terminal.console import console


def complain(sentence: str, hint: str = "") -> None:
    """Print an error's sentence and hint to standard error."""
    screen = console(stderr=True, highlight=False)
    screen.print(f"[bold red]Error:[/] {escape(sentence)}")
    if hint:
        screen.print(escape(hint), soft_wrap="--map" in hint)  # what is to be pasted stays in one line
    sys.stderr.flush()
