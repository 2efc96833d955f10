"""What a file or a bench says reaches a terminal as text; whatever would act on the terminal is replaced."""

from __future__ import annotations

import io
import json
import re

import pytest
from strokebench.commands.shared.common import print_json
from strokebench.terminal.console import console
from strokebench.terminal.plain import INSTEAD, PlainStream, escaped, plain

HOSTILE = (
    "\x1b]52;c;aGFjaw==\x07",  # OSC 52: put something into the clipboard
    "\x1b[2J\x1b[1;1H",  # clear the screen
    "\x9b31m",  # CSI as one C1 character
    "\x1b]8;;http://example.invalid\x1b\\link",
    "\u202egnp.exe",  # right-to-left override
    "\x08\x08\x08", "\rPASS", "\x7f", "\x1b[8m",
)  # fmt: skip
ACTING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@pytest.mark.parametrize("text", HOSTILE)
def test_nothing_that_acts_is_left(text: str) -> None:
    assert ACTING.search(text)
    assert not ACTING.search(plain(text))
    assert INSTEAD in plain(text)


def test_words_of_any_language_stay_as_they_are() -> None:
    for text in ("Drosselklappe, 20 °C", "節流閥", "µ ± Ω", "a\tb\nc", "صمام"):
        assert plain(text) == text


@pytest.mark.parametrize("text", HOSTILE)
def test_printing_and_tables_are_plain(text: str) -> None:
    beneath = io.StringIO()
    print("x" + text, file=PlainStream(beneath))
    assert not ACTING.search(beneath.getvalue())
    beneath = io.StringIO()
    console(file=beneath, force_terminal=False, width=200).print("x" + text, markup=False)
    assert not ACTING.search(beneath.getvalue())


def test_colours_of_our_own_still_reach_a_terminal() -> None:
    beneath = io.StringIO()
    screen = console(file=beneath, force_terminal=True, color_system="standard", width=80)
    screen.print("fail", style="red")
    screen.print("x\x1b[32my", markup=False)
    assert "\x1b[31mfail\x1b[0m" in beneath.getvalue()
    assert "\x1b[32m" not in beneath.getvalue()


def test_a_live_line_may_return_to_its_start_and_nothing_else_may() -> None:
    beneath = io.StringIO()
    stream = PlainStream(beneath)
    stream.write("\rdrive")
    stream.write("a\rb")
    assert beneath.getvalue() == f"\rdrivea{INSTEAD}b"


def test_json_loses_nothing_and_holds_nothing_that_acts(capsys: pytest.CaptureFixture[str]) -> None:
    value = {"note": "".join(HOSTILE)}
    print_json(value)
    out = capsys.readouterr().out
    assert not ACTING.search(out.rstrip("\n"))
    assert json.loads(out) == value
    assert json.loads(escaped(json.dumps("\x9b", ensure_ascii=False))) == "\x9b"


def test_nobody_prints_around_the_filter() -> None:
    """Consoles are made in one place."""
    from tests.helpers.import_graph import HOST

    allowed = {"console.py"}
    made = [
        str(path.relative_to(HOST))
        for path in HOST.rglob("*.py")
        if path.name not in allowed and re.search(r"\bConsole\(", path.read_text(encoding="utf-8"))
    ]
    assert made == []
