"""The page of all SCPI commands from the program: ``python -m tools.pages.scpi`` writes it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from strokebench.scpi import actions, answers, common
from strokebench.scpi.errors import TEXTS
from strokebench.scpi.tree import Command

from tools import DOCS

HEAD = """# SCPI commands

This page lists all SCPI commands of a bench on the network. [The bench as an
instrument](../how-to/instrument.md) shows how to use them. The page is written by
`python -m tools.pages.scpi`, and a test compares it with the program.

Capitals are the short form. Words in square brackets may be left out. A question mark is a query.
"""
REGISTERS = """## Registers

| bit | operation | questionable |
| --- | --- | --- |
| 0 | | supply fault latched |
| 1 | | current fault latched |
| 3 | a procedure runs | bridge fault latched |
| 4 | the run is being judged | heat fault latched |
| 5 | INITiate waits for `*TRG` | |
| 8 | the supply is on the part | self-test or calibration fault latched |
| 9 | driven by hand | sensing fault latched |
| 10 | | link fault latched |
| 11 | | refused request latched |
| 12 | | fault inside the firmware latched |

Bits 0 to 5 and 8 have the standard's meanings. Each client has registers of its own.

## Errors

"""


def page() -> str:
    """Return the whole page."""
    groups = (
        ("Act", actions.COMMANDS),
        ("Answer", answers.COMMANDS),
        ("Status, system and common commands", common.COMMANDS),
    )
    tables = "\n".join(f"## {title}\n\n{_table(commands)}" for title, commands in groups)
    errors = "\n".join(f"| {code} | {text} |" for code, text in TEXTS.items())
    return f"{HEAD}\n{tables}\n{REGISTERS}| number | text |\n| --- | --- |\n{errors}\n" + (
        "\nNegative numbers and their texts are SCPI-1999's, from memory: the standard was not at hand."
        "\nPositive numbers are [fault codes](../faults.md) of the bench.\n"
    )


def _table(commands: Iterable[Command]) -> str:
    return "\n".join(["| header | what it does |", "| --- | --- |", *_rows(commands), ""])


def _rows(commands: Iterable[Command]) -> Iterator[str]:
    for command in commands:
        yield f"| `{command.pattern}{'?' * command.query}` | {command.about} |"


if __name__ == "__main__":
    (DOCS / "reference" / "scpi.md").write_text(page(), encoding="utf-8")
