"""The calibration record with its note, the raw counts, and a failed self-test told with its values."""
# Runs under CPython and MicroPython.

from fake_board import FakeBoard, Host
from strokefw import channels, faults, state
from strokefw.link import wire
from strokefw.sensing import calib
from strokefw.sensing.calib import Calibration
from strokefw.tick import selftest


def noted(text):
    calibration = Calibration()
    calibration.trim[channels.BUS] = 100
    calibration.day = 9825
    calibration.note = text.encode()
    return calibration.record()


def refused(data):
    try:
        calib.parse(data)
    except ValueError:
        return True
    return False


def test_a_record_without_a_note_is_as_short_as_ever():
    assert len(Calibration().record()) == calib.RECORD_BYTES == 64


def test_note_comes_back_and_belongs_to_the_identity():
    for text in ("", "A. Baker; meter", "B. M\u00f6ller; \u03a9", "x" * calib.NOTE_BYTES):
        record = noted(text)
        again = Calibration()
        again.use(record)
        assert again.note.decode() == text and again.day == 9825 and again.trim[channels.BUS] == 100
        assert again.record() == record
    assert calib.parse(noted("a"))[3] != calib.parse(noted("b"))[3]


def test_damaged_or_overlong_notes_are_refused():
    record = noted("A. Baker")
    for position in (0, 9, 61, len(record) - 1):
        spoiled = bytearray(record)
        spoiled[position] ^= 4
        assert refused(bytes(spoiled)), position
    assert refused(record[:-1]) and refused(record + b"\0")
    assert refused(noted("x" * (calib.NOTE_BYTES + 1)))
    raw = bytearray(noted("??"))[:-4]
    raw[60:62] = b"\xff\xfe"  # not UTF-8, with a right checksum
    raw += wire.binascii.crc32(bytes(raw)).to_bytes(4, "little")
    assert refused(bytes(raw))


def ready():
    host = Host(FakeBoard())
    host.do("hello", wire.PROTOCOL)
    for _ in range(100):
        if host.app.state == state.READY:
            return host
        host.tick(50)
    raise AssertionError("never ready")


def test_longest_record_goes_over_the_link_and_is_told():
    host = ready()
    record = noted("y" * calib.NOTE_BYTES)
    assert host.ask("calib_write", tail=record)[1][0] == 0
    assert host.board.slots[calib.SLOT] == record
    assert host.ask("calib_read") == ("calib_record", (record,))
    assert b"calibrated_by=" + b"y" * calib.NOTE_BYTES in host.ask("identity")[1][0]


def test_counts_are_the_scan_before_any_calibration():
    host = ready()
    before = host.ask("counts")[1][1]
    assert host.ask("calib_write", tail=noted("z"))[1][0] == 0
    after = host.ask("counts")[1][1]
    assert len(before) == 2 * channels.N_CHANNELS
    assert before == after == bytes(host.app.counts)


def test_a_failed_self_test_is_told_with_its_values():
    host = ready()
    host.board.supply_mv = 7000
    name, (code, tail) = host.ask("selftest")
    assert name == "selftest_report" and code == faults.SUPPLY_LOW
    form = wire.TAIL[0x4F]
    size = wire.struct.calcsize(form)
    named = {}
    for at in range(0, len(tail), size):
        item, failed, value = wire.struct.unpack_from(form, tail, at)
        named[selftest.NAMES[item]] = (failed, value)
    assert named["supply_mv"][0] == 1 and abs(named["supply_mv"][1] - 7000) < 5
    assert named["estop"][0] == 0 and "leg_a_permille" not in named  # it ended there
