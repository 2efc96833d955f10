"""The protocol and state pages say what the firmware does: every table row and example byte is compared."""

import re
import struct
from pathlib import Path

from strokefw import state
from strokefw.drive import ramp
from strokefw.link import wire

DOCS = Path(__file__).resolve().parents[2] / "docs"
PROTOCOL = (DOCS / "protocol.md").read_text("utf-8")
STATES = (DOCS / "states.md").read_text("utf-8")
SIDES = {wire.HOST: "host", wire.BENCH: "bench"}


def table_after(text, heading):
    """Return the cells of the first table whose header line starts with ``heading``."""
    lines = text[text.index(heading) :].splitlines()[2:]
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip().strip("`") for cell in line.strip("|").split("|")])
    return rows


def examples():
    """Return (type, seq, body, frame bytes) of every example."""
    found = []
    for block in re.findall(r"```wire\n(.*?)```", PROTOCOL, re.DOTALL):
        head, *lines = block.strip().splitlines()
        name, *pairs = head.split()
        given = dict(pair.split("=") for pair in pairs)
        seq, tail = int(given.pop("seq")), bytes.fromhex(given.pop("tail", ""))
        kind = wire.ID[name]
        assert tuple(given) == wire.FIELDS[kind], name
        values = [value.encode() if key == "uid" else int(value) for key, value in given.items()]
        found.append((kind, seq, wire.pack(kind, *values, tail=tail), bytes.fromhex("".join(lines))))
    return found


def test_examples_are_the_bytes_of_the_wire():
    assert len(examples()) >= 11
    for kind, seq, body, frame in examples():
        assert wire.frame(kind, seq, body) == frame, wire.NAME[kind]
        assert wire.Decoder().feed(frame) == [(kind, seq, body)]


def test_the_worked_example():
    assert "`01 01 01 00`, and its CRC-32 is 8121E30F" in " ".join(PROTOCOL.split())
    assert wire.binascii.crc32(bytes.fromhex("01010100")) == 0x8121E30F
    assert wire.binascii.crc32(b"123456789") == 0xCBF43926


def test_message_table_and_hash():
    rows = table_after(PROTOCOL, "| type | name | from |")
    assert rows == [
        [f"0x{kind:02X}", name, SIDES[side], fields, tail] for kind, name, side, fields, tail in wire.MESSAGES
    ]
    assert f"Protocol {wire.PROTOCOL}, table hash 0x{wire.TABLE_HASH:08x} " in PROTOCOL


def test_kinds_watches_and_events():
    assert [row[1] for row in table_after(PROTOCOL, "| kind | name | what")] == list(ramp.KIND_NAMES[1:])
    assert [row[1] for row in table_after(PROTOCOL, "| kind | name | code")] == list(state.EVENT_NAMES[1:])
    watches = table_after(PROTOCOL, "| watch | fires")
    assert [row[1].partition(":")[0] for row in watches[1:]] == list(ramp.WATCH_NAMES[1:])
    ends = ", ".join(f"{number} {name}" for number, name in enumerate(state.END_NAMES))
    assert table_after(PROTOCOL, "| kind | name | code")[state.EVENT_RUN_END - 1][2] == ends


def test_numbers_in_the_prose():
    for sentence, number in (
        ("The body has at most %d bytes", wire.MAX_BODY),
        ("so a frame has at most %d", wire.MAX_ENCODED + 1),
        ("receives no heartbeat for %d s", state.ARMED_IDLE_MS // 1000),
        ("In a jog it must hear within %d ms", state.JOG_SILENT_MS),
        ("during a run or jog, and for %d ms after it", state.TAIL_MS),
        ("at most %d rows", wire.ROWS_MAX),
        ("at most every %d ms", state.WARN_EVERY * 8),
        ("the tail of %d bytes", wire.SAMPLE_BYTES),
        ("with at most %d values each", wire.BURST_COUNTS_MAX),
        ("at most %d readings each", wire.RAW_COUNTS_MAX),
    ):
        assert sentence % number in " ".join(PROTOCOL.split()), sentence
    assert struct.calcsize(wire.SAMPLE_FORMAT) == wire.SAMPLE_BYTES
    assert f"for {state.STOPPING_MAX_MS // 1000} s at most" in STATES


def test_states_and_transitions():
    assert [row[:2] for row in table_after(STATES, "| number | name")] == [
        [str(number), name] for number, name in enumerate(state.NAMES)
    ]
    told = {(row[0], row[1]) for row in table_after(STATES, "| from | to |")}
    assert told == {(state.NAMES[old], state.NAMES[new]) for old, new in state.TRANSITIONS}
