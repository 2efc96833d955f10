"""The standard's error numbers and texts. Positive numbers are the bench's own fault codes.

Numbers and texts of SCPI-1999, volume 2, chapter 21.8 (from memory, compared with error lists that makers of
instruments publish).
"""

from __future__ import annotations

TEXTS = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -151: "Invalid string data",
    -168: "Block data not allowed",
    -178: "Expression data not allowed",
    -200: "Execution error",
    -203: "Command protected",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -310: "System error",
    -330: "Self-test failed",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
TEXT_MAX = 255
"""Characters of an entry in the error queue, its detail included."""


class ScpiError(Exception):
    """A program message, or a part of it, was not carried out: ``code`` is one of :data:`TEXTS`."""

    def __init__(self, code: int, detail: str = "") -> None:
        super().__init__(code, detail)
        self.code = code
        self.detail = detail


def command_error(code: int) -> bool:
    """Tell whether ``code`` says that a message could not be understood."""
    return -200 < code <= -100


def entry(code: int, text: str) -> str:
    """Return an error as the queue answers it: number, and text in double quotes."""
    clean = "".join(sign if " " <= sign <= "~" else "?" for sign in text).replace('"', "'")
    return f'{code},"{clean[:TEXT_MAX]}"'


def described(code: int, detail: str = "") -> str:
    """Return the standard's text for ``code`` with what it is about behind a semicolon."""
    return f"{TEXTS[code]};{detail}" if detail else TEXTS[code]
