"""Program messages are taken apart as IEEE 488.2 and SCPI-1999 have it."""

from __future__ import annotations

import asyncio
import math
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from strokebench.scpi import values
from strokebench.scpi.client import TREE
from strokebench.scpi.errors import TEXTS, ScpiError, entry
from strokebench.scpi.status import ALL_BITS, QUEUE_MAX, Register, Status
from strokebench.scpi.syntax import Message, Parameter, Unit
from strokebench.scpi.tree import arguments, spellings


def units(text: str) -> list[Unit]:
    return list(Message(text))


def code_of(text: str) -> int:
    """Return the error that a message ends in, 0 for none."""
    try:
        for unit in Message(text):
            arguments(TREE.find(unit), unit)
    except ScpiError as error:
        return error.code
    return 0


def test_short_and_long_forms_optional_nodes() -> None:
    """The example of SCPI-1999, volume 1, 6.2: what is in brackets may be left out (from memory)."""
    found = spellings("[SOURce]:VOLTage:PROTection[:LEVel]")
    assert ("VOLT", "PROT") in found and ("SOURCE", "VOLTAGE", "PROTECTION", "LEVEL") in found
    assert ("SOUR", "VOLT", "PROTECTION") in found
    assert not {path for path in found if "VOLTA" in path or "PRO" in path}, "nothing between short and long"
    assert len(found) == 3 * 2 * 2 * 3


@pytest.mark.parametrize(
    ("text", "paths"),
    [
        ("*IDN?", [("*IDN",)]),
        (":OUTP:STAT ON;:ABOR", [("OUTP", "STAT"), ("ABOR",)]),
        ("STAT:OPER:ENAB 1;COND?", [("STAT", "OPER", "ENAB"), ("STAT", "OPER", "COND")]),
        ("STAT:OPER:ENAB 1;*CLS;COND?", [("STAT", "OPER", "ENAB"), ("*CLS",), ("STAT", "OPER", "COND")]),
        (";; outp?  ;", [("OUTP",)]),
        ("", []),
    ],
)
def test_paths_go_on_from_the_unit_before(text: str, paths: list[tuple[str, ...]]) -> None:
    """SCPI-1999, volume 1, 6.2.4 (from memory): a common command leaves the level as it is."""
    assert [unit.path for unit in units(text)] == paths


def test_parameters() -> None:
    (unit,) = units('CONF "it\'\'s ""it""", \'a;b\' ,MAX, -1.5E+3 mV,.5,#HfF,#B101, 12PCT')
    assert unit.parameters == (
        Parameter("string", "it''s \"it\""),
        Parameter("string", "a;b"),
        Parameter("word", "MAX"),
        Parameter("number", "-1.5E+3", "MV"),
        Parameter("number", ".5"),
        Parameter("number", "255"),
        Parameter("number", "5"),
        Parameter("number", "12", "PCT"),
    )


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("NOPE?", -113), ("*NOPE", -113), ("OUTP", -109), ("OUTP 1,2", -108), ("OUTP2 ON", -114),
        ("OUTP1 ON", 0), ("OUTP MAYBE", -104), ("OUTP:STATEMENTLONG 1", -112), ("PULS:DCYC 101", -222),
        ("PULS:DCYC 12 V", -131), ("PULS:DCYC MAX", 0), ("CURR:PROT 500 MA", 0),
        ("CURR:PROT 500 M", -131), ("*ESE 1 V", -138), ("CONF \"open", -151), ("CONF #15hello", -168),
        ("OUTP (1+1)", -178), ("OUTP ON ON", -103), ("OUTP ON,", -109), ("FORM HEX", -224),
        ("FORM REAL,64", 0), ("OUTP\u00e9 ON", -102), ("\x01\u00e9", -101), ("?", -102),
        ("PULS:DCYC 1" + "0" * 300, -120), ("PULS:DCYC", -109), ("MEAS:VOLT? NOWHERE", -224),
        ("MEAS:VOLT? 3", -104),
    ],
)  # fmt: skip
def test_errors_by_number(text: str, code: int) -> None:
    """The standard's classes; numbers of SCPI-1999, volume 2, 21.8 (from memory)."""
    assert code_of(text) == code


@given(some.text(max_size=60) | some.binary(max_size=60).map(lambda raw: raw.decode("latin-1")))
def test_any_line_ends_in_units_or_a_standard_error(text: str) -> None:
    assert code_of(text) in TEXTS


@given(some.lists(some.floats(width=32), max_size=40), some.booleans())
def test_blocks_are_as_ieee_488_2_has_them(numbers: list[float], swapped: bool) -> None:
    block = values.block(np.array(numbers), 32, swapped=swapped)
    digits = int(block[1:2])
    length, data = int(block[2 : 2 + digits]), block[2 + digits :]
    assert block[:1] == b"#" and length == len(data) == 4 * len(numbers)
    order = "<" if swapped else ">"
    assert np.array_equal(
        struct.unpack(f"{order}{len(numbers)}f", data), np.array(numbers, np.float32), equal_nan=True
    )


def test_numbers_that_are_none() -> None:
    """9.91E+37 and 9.9E+37: SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5 (from memory)."""
    assert values.real(math.nan) == values.real(None) == "9.91E+37"
    assert (values.real(math.inf), values.real(-math.inf)) == ("9.9E+37", "-9.9E+37")
    assert float(values.real(1 / 3)) == pytest.approx(1 / 3, rel=1e-8)


def test_registers_by_transition_filter() -> None:
    register = Register()
    register.update(0b01)
    assert (register.take(), register.take(), register.condition) == (1, 0, 1)
    register.falling, register.rising = ALL_BITS, 0
    register.update(0b10)
    assert register.event == 0b01 and not register.summary
    register.enable = 1
    assert register.summary


def test_status_byte_and_queue() -> None:
    status = Status()
    assert status.take_events() == 128 and status.byte() == 0, "switched on"
    status.failed(ScpiError(-113, "NOPE"))
    assert status.byte() == 4 and status.events == 32
    status.events_enable, status.service_enable = 32, 32
    assert status.byte() == 4 + 32 + 64
    for number in range(QUEUE_MAX + 5):
        status.error(61, f"fault {number}")
    found = [status.next_error() for _ in range(status.errors)]
    assert len(found) == QUEUE_MAX and found[0] == '-113,"Undefined header;NOPE"'
    assert found[-1] == '-350,"Queue overflow"' and status.next_error() == '0,"No error"'
    status.clear()
    assert status.byte() == 0 and status.events_enable == 32


def test_entries_are_one_line_of_ascii() -> None:
    assert entry(1, 'say "no"\n\x1b[2J\u20ac') == "1,\"say 'no'??[2J?\""


def test_every_command_says_what_it_does_and_queries_answer_text() -> None:
    assert all(len(command.about) > 10 and command.about.endswith(".") for command in TREE.commands)
    assert all(asyncio.iscoroutinefunction(command.handler) for command in TREE.commands)
    with pytest.raises(ValueError, match="two commands"):
        type(TREE)((*TREE.commands, TREE.commands[0]))
