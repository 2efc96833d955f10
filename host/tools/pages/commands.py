"""The page of all commands from the program: ``python -m tools.pages.commands`` writes it."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator

from strokebench.cli import parser

from tools import DOCS

HEAD = """# All commands

This page lists every command and option, as `strokebench COMMAND --help` prints them. It is written by
`python -m tools.pages.commands`, and a test compares it with the program.

"""
WIDTH = "80"


def page() -> str:
    """Return the whole page; the help texts are laid out for 80 columns whatever the terminal."""
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = WIDTH
    try:
        return HEAD + "\n".join(_sections(parser(), 1)) + "\n"
    finally:
        if before is None:
            del os.environ["COLUMNS"]
        else:
            os.environ["COLUMNS"] = before


def _sections(command: argparse.ArgumentParser, level: int) -> Iterator[str]:
    if level > 1:
        yield f"{'#' * level} {command.prog}\n"
    yield f"```text\n{command.format_help().rstrip()}\n```\n"
    for action in command._actions:
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from _sections(below, level + 1)


if __name__ == "__main__":
    (DOCS / "reference" / "commands.md").write_text(page(), encoding="utf-8")
