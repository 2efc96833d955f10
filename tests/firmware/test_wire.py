"""Frames and messages: round trips byte by byte, resynchronisation, and nothing out of a damaged frame."""
# Runs under CPython and MicroPython.

from strokefw.link import cobs, wire


def filled(form, salt):
    """Return values for a struct format, different ones for each salt, extremes included."""
    values = []
    at = 1
    while at < len(form):
        code = form[at]
        if code in "0123456789":  # only "8s" is used
            values.append(bytes([(salt + i) & 255 for i in range(8)]))
            at += 2
            continue
        bits = {"B": 8, "H": 16, "h": 16, "I": 32, "i": 32}[code]
        value = ((salt + at) * 2654435761) & ((1 << bits) - 1)
        if salt == 0:
            value = 0
        elif salt == 1:
            value = (1 << bits) - 1
        values.append(value - (1 << bits) if code in "hi" and value >> (bits - 1) else value)
        at += 1
    return values


def sample_frame(rows=20, seq=9):
    """Return a samples frame with plain rows."""
    kind = wire.ID["samples"]
    values = (5000, -2300, 13800, 1, 2, 0, 5000, 254, -9, 4, 0)
    tail = b"".join([wire.pack_row(kind, 1000 + i, *values) for i in range(rows)])
    return wire.frame(kind, seq, wire.pack(kind, 77, rows, 0, tail=tail))


def refused(function, *args):
    """Return whether a call raises ValueError."""
    try:
        function(*args)
    except ValueError:
        return True
    return False


def test_every_message_survives_the_wire_byte_by_byte():
    decoder = wire.Decoder()
    for kind in wire.NAME:
        for salt in (0, 1, 7, 200):
            values = filled(wire.FORMAT[kind], salt)
            tail = b""
            if wire.TAIL[kind] == "bytes":
                tail = bytes([salt] * 300)
            elif wire.TAIL[kind]:
                tail = b"".join([wire.pack_row(kind, *filled(wire.TAIL[kind], salt + i)) for i in range(3)])
            frame = wire.frame(kind, salt, wire.pack(kind, *values, tail=tail))
            assert frame.find(b"\0") == len(frame) - 1
            got = []
            for i in range(len(frame)):
                assert not got
                got = decoder.feed(frame[i : i + 1])
            assert len(got) == 1 and got[0][:2] == (kind, salt)
            back = wire.unpack(kind, got[0][2])
            expected = tuple(values) + ((tail,) if wire.TAIL[kind] else ())
            assert back == expected, (wire.NAME[kind], back, expected)
    assert decoder.bad_frames == 0 and decoder.frames == 4 * len(wire.NAME)


def test_table_is_consistent():
    assert len(wire.ID) == len(wire.NAME) == len(wire.MESSAGES)
    for kind, name, direction, _fields, _tail in wire.MESSAGES:
        assert (kind >= 0x40) == (direction == wire.BENCH), name
        assert len(wire.FORMAT[kind].replace("8s", "s")) - 1 == len(wire.FIELDS[kind]), name
    assert wire.field_format(wire.SAMPLE) == wire.SAMPLE_FORMAT
    assert wire.struct.calcsize(wire.SAMPLE_FORMAT) == wire.SAMPLE_BYTES
    assert wire.field_format(wire.EVENT) == wire.EVENT_FORMAT
    assert wire.struct.calcsize(wire.EVENT_FORMAT) == wire.EVENT_BYTES
    assert 7 + wire.ROWS_MAX * wire.SAMPLE_BYTES <= wire.MAX_BODY
    assert 2 + 2 * wire.BURST_COUNTS_MAX <= wire.MAX_BODY
    assert 32 * wire.EVENT_BYTES <= wire.MAX_BODY
    assert wire.MAX_RAW == wire.MAX_BODY + 6 and wire.MAX_ENCODED == wire.MAX_RAW + wire.MAX_RAW // 254 + 1


def test_table_hash_follows_the_table():
    before = wire.TABLE_HASH
    table = wire.MESSAGES
    try:
        wire.MESSAGES = table[:-1] + ((0x64, "burst_data", wire.BENCH, "offset:I", "value:H"),)
        assert wire.binascii.crc32(wire._canonical().encode()) != before
    finally:
        wire.MESSAGES = table
    assert wire.binascii.crc32(wire._canonical().encode()) == before


def test_a_zero_resynchronises_after_garbage():
    frame = wire.frame(wire.ID["heartbeat"], 5)
    decoder = wire.Decoder()
    assert decoder.feed(b"\x07half of something" + b"\0" + frame) == [(4, 5, b"")]
    assert decoder.bad_frames == 1
    assert decoder.feed(b"\0\0\0" + frame) == [(4, 5, b"")]  # empty frames are idle, not errors
    assert decoder.bad_frames == 1


def test_cut_frame_costs_only_itself_and_the_frame_it_runs_into():
    frame = sample_frame(3)
    for cut in range(1, len(frame) - 1):
        decoder = wire.Decoder()
        got = decoder.feed(frame[:cut] + frame + frame)
        assert len(got) == 1 and got[0][0] == 0x61, cut
        assert decoder.bad_frames == 1


def test_every_single_bit_flip_is_noticed():
    frame = sample_frame(2)
    for at in range(len(frame) - 1):
        for bit in range(8):
            bad = bytearray(frame)
            bad[at] ^= 1 << bit
            decoder = wire.Decoder()
            got = decoder.feed(bytes(bad))
            assert got == [], (at, bit)
            assert decoder.bad_frames >= 1
            assert len(decoder.feed(b"\0" + frame)) == 1


def test_overlong_input_is_dropped_once_and_kept_small():
    decoder = wire.Decoder()
    for _ in range(50):
        assert decoder.feed(b"\x55" * 100) == []
        assert len(decoder._rest) <= wire.MAX_ENCODED
    assert decoder.bad_frames == 1
    frame = wire.frame(1, 1, wire.pack(1, 1))
    assert decoder.feed(b"\0" + frame) == [(1, 1, b"\x01\0")]


def test_frame_of_the_greatest_body():
    body = bytes([1 + i % 255 for i in range(wire.MAX_BODY)])
    decoder = wire.Decoder()
    assert decoder.feed(wire.frame(0x12, 3, body)) == [(0x12, 3, body)]
    assert decoder.feed(wire.frame(0x12, 3, body + b"x")) == []


def test_misfitting_bodies_are_refused():
    assert refused(wire.unpack, 0x3F, b"")
    assert refused(wire.unpack, wire.ID["hello"], b"")
    assert refused(wire.unpack, wire.ID["hello"], b"123")
    assert refused(wire.unpack, wire.ID["samples"], b"1234567" + b"x" * 25)
    assert wire.unpack(wire.ID["calib_write"], b"abc") == (b"abc",)


# (data, encoding), computed with the independent package cobs 1.2.2; the rule: Cheshire and Baker 1999
VECTORS = (
    (b"", b"\x01"),
    (b"\0", b"\x01\x01"),
    (b"\0\0", b"\x01\x01\x01"),
    (b"\0\x11\0", b"\x01\x02\x11\x01"),
    (b"\x11\x22\0\x33", b"\x03\x11\x22\x02\x33"),
    (b"\x11\0\0\0", b"\x02\x11\x01\x01\x01"),
    (b"12345\x006789", b"\x0612345\x056789"),
    (bytes(range(1, 255)), b"\xff" + bytes(range(1, 255))),
    (b"\0" + bytes(range(1, 255)), b"\x01\xff" + bytes(range(1, 255))),
    (bytes(range(1, 256)), b"\xff" + bytes(range(1, 255)) + b"\x02\xff"),
    (bytes(range(2, 256)) + b"\0", b"\xff" + bytes(range(2, 256)) + b"\x01\x01"),
    (bytes(range(3, 256)) + b"\0\x01", b"\xfe" + bytes(range(3, 256)) + b"\x02\x01"),
)


def test_cobs_vectors_both_encoders():
    for data, encoded in VECTORS:
        for encoder in (cobs.encode_bytewise, cobs.encode_by_split):
            out = bytearray(300)
            n = encoder(data, len(data), out)
            assert bytes(out[:n]) == encoded, (data, out[:n])
        assert bytes(cobs.decode(encoded)) == data


def test_cobs_refuses_what_is_no_encoding():
    for bad in (b"", b"\x02\x01\x02", b"\x05\x01", b"\x03\x01\0", b"\0", b"\xff\x01"):
        assert refused(cobs.decode, bad), bad
    full = bytes(range(1, 255))
    assert bytes(cobs.decode(b"\xff" + full + b"\x01")) == full  # the long form
