"""Program messages, taken apart (IEEE 488.2-1992, chapter 7): headers, queries, parameters. No I/O.

What the standard allows and no command of ours takes is refused by the standard's own error: blocks,
expressions.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from strokebench.scpi.errors import ScpiError

MNEMONIC_MAX = 12
_HEADER = re.compile(r"(\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\?)?")
_DECIMAL = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*([A-Za-z%][A-Za-z0-9/.%-]*)?")
_OTHER_BASE = re.compile(r"#(?:[hH]([0-9A-Fa-f]+)|[qQ]([0-7]+)|[bB]([01]+))")
_STRING = re.compile(r"\"((?:[^\"]|\"\")*)\"|'((?:[^']|'')*)'")
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_SPACE = re.compile(r"[\x00-\x20]*")


@dataclass(frozen=True)
class Parameter:
    """One piece of program data. ``kind``: number, word, string; ``unit``: a number's suffix, upper case."""

    kind: str
    text: str
    unit: str = ""


@dataclass(frozen=True)
class Unit:
    """One program message unit. ``path``: its mnemonics in upper case, or one with a star."""

    path: tuple[str, ...]
    query: bool
    parameters: tuple[Parameter, ...]

    @property
    def common(self) -> bool:
        """True for a command of IEEE 488.2 itself, such as ``*IDN?``."""
        return self.path[0].startswith("*")


class Message:
    """A program message: iterate over its units. Any may raise :class:`ScpiError`, which ends the message."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._path: tuple[str, ...] = ()

    def __iter__(self) -> Message:
        return self

    def __next__(self) -> Unit:
        self._skip()
        while self._peek() == ";":
            self._at += 1
            self._skip()
        if self._at >= len(self._text):
            raise StopIteration
        return self._unit()

    def _unit(self) -> Unit:
        found = _HEADER.match(self._text, self._at)
        if found is None:
            odd = self._text[self._at]
            raise ScpiError(-101 if not (odd.isascii() and odd.isprintable()) else -102, self._near())
        self._at = found.end()
        path = self._resolved(found[1])
        if self._peek() not in ("", ";") and not self._peek() <= " ":
            raise ScpiError(-102, self._near())
        self._skip()
        return Unit(path, bool(found[2]), tuple(self._parameters()))

    def _resolved(self, header: str) -> tuple[str, ...]:
        """Return the whole path; one without a colon goes on from the level of the unit before it."""
        mnemonics = tuple(header.lstrip(":").upper().split(":"))
        if any(len(each.lstrip("*")) > MNEMONIC_MAX for each in mnemonics):
            raise ScpiError(-112, header)
        if header.startswith("*"):
            return mnemonics
        path = mnemonics if header.startswith(":") else self._path + mnemonics
        self._path = path[:-1]
        return path

    def _parameters(self) -> list[Parameter]:
        found: list[Parameter] = []
        while self._peek() not in ("", ";"):
            found.append(self._parameter())
            self._skip()
            if self._peek() == ",":
                self._at += 1
                self._skip()
                if self._peek() in ("", ";", ","):
                    raise ScpiError(-109, self._near())
            elif self._peek() not in ("", ";"):
                raise ScpiError(-103, self._near())
        return found

    def _parameter(self) -> Parameter:
        text, at = self._text, self._at
        if text[at] == "(":
            raise ScpiError(-178)
        if text[at] in "\"'":
            found = _STRING.match(text, at)
            if found is None:
                raise ScpiError(-151, self._near())
            self._at = found.end()
            inner = found[1] if found[1] is not None else found[2]
            return Parameter("string", inner.replace(text[at] * 2, text[at]))
        if text[at] == "#":
            found = _OTHER_BASE.match(text, at)
            if found is None:
                raise ScpiError(-168)
            self._at = found.end()
            value = next(
                int(digits, base) for digits, base in zip(found.groups(), (16, 8, 2), strict=True) if digits
            )
            return Parameter("number", str(value))
        found = _DECIMAL.match(text, at)
        if found is not None:
            self._at = found.end()
            return Parameter("number", re.sub(r"\s", "", found[1]), (found[2] or "").upper())
        found = _WORD.match(text, at)
        if found is None:
            raise ScpiError(-101 if not text[at].isascii() else -102, self._near())
        self._at = found.end()
        return Parameter("word", found[0].upper())

    def _skip(self) -> None:
        found = _SPACE.match(self._text, self._at)
        self._at = found.end() if found else self._at

    def _peek(self) -> str:
        return self._text[self._at : self._at + 1]

    def _near(self) -> str:
        return self._text[self._at : self._at + 20]
