"""The cautions of a part: shown before anything is driven, and acknowledged where the part asks for it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from strokebench.errors import UsageError
from strokebench.terminal.lines import wrapped

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

QUESTION = "Are all of these met? Type yes to go on: "


def add_acknowledge(parser: argparse.ArgumentParser) -> None:
    """Add ``--acknowledge``."""
    parser.add_argument(
        "--acknowledge", action="store_true", help="the part's cautions are read and met; nobody is asked"
    )


def acknowledged(
    profile: Profile, *, given: bool, simulated: bool, quiet: bool = False, ask: Callable[[str], str] = input
) -> str:
    """Show the cautions of a part that must be acknowledged and return how they were, for the recording.

    A simulated part endangers nobody: its cautions are shown and taken as read. On a real bench somebody
    must say so, with ``--acknowledge`` or at the question; without either :class:`UsageError`, and nothing
    has moved.
    """
    part = profile.part
    if not part.acknowledge:
        return ""
    if not quiet or not given:
        _show(part.title, part.every_caution)
    if simulated:
        return "simulated, taken as read"
    if given:
        return "by option"
    if sys.stdin.isatty():
        if ask(QUESTION).strip().lower() == "yes":
            return "by answer"
        raise UsageError(
            "The cautions were not acknowledged; nothing was driven.", "Meet them, then run again."
        )
    raise UsageError(
        f"The cautions of {part.title!r} must be acknowledged before it is driven.",
        "Read them above, meet them, and add --acknowledge.",
    )


def _show(title: str, cautions: list[str]) -> None:
    print(f"Cautions, {title}:", file=sys.stderr)
    for caution in cautions:
        print(wrapped(f"  - {caution}"), file=sys.stderr)
