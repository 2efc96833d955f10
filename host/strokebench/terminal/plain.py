"""What reaches a terminal: text. A file or a bench may hold sequences that would act on the terminal instead.

Everything printed goes through :class:`PlainStream`, tables and colours through
:mod:`strokebench.terminal.console`; both replace
what is not text. Colours are ours alone: rich adds them behind that filter.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

_UNSAFE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Control characters of ECMA-48 (C0 but tab and line feed, DEL, C1), and those that reorder text."""
INSTEAD = "\N{REPLACEMENT CHARACTER}"


def plain(text: str) -> str:
    """Return ``text`` with every character replaced that would act on a terminal."""
    return _UNSAFE.sub(INSTEAD, text)


def escaped(json_text: str) -> str:
    """Return JSON in which those characters are written as escapes, so that nothing of it is lost."""
    return _UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", json_text)


class PlainStream(io.TextIOBase):
    """A text stream whose every write is made plain; ``beneath`` is the stream it writes to.

    A carriage return is let through where a write begins with it: that is how a live line is overwritten.
    """

    def __init__(self, beneath: TextIO) -> None:
        self.beneath = beneath

    def write(self, text: str) -> int:
        """Write ``text`` made plain; return its length."""
        live = text.startswith("\r") and not text.startswith("\r\r")
        self.beneath.write("\r" + plain(text[1:]) if live else plain(text))
        return len(text)

    def flush(self) -> None:
        """Flush the stream beneath."""
        self.beneath.flush()

    def isatty(self) -> bool:
        """Tell whether the stream beneath is a terminal."""
        return self.beneath.isatty()

    def fileno(self) -> int:
        """Return the number of the file beneath."""
        return self.beneath.fileno()

    def writable(self) -> bool:
        """Return True."""
        return True

    def __getattr__(self, name: str) -> Any:
        return getattr(self.beneath, name)


@contextmanager
def plain_streams() -> Iterator[None]:
    """Make standard output and standard error plain for as long as this lasts."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (PlainStream(stream) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
