"""The link's framing and checksum against published vectors, zlib and the `cobs` package."""

import zlib

import pytest
from cobs import cobs as reference
from hypothesis import given
from hypothesis import strategies as st
from strokefw.link import cobs, wire

RUN = bytes(range(1, 255))
# Cheshire and Baker, IEEE/ACM Trans. Networking 7(2), 1999: the definition, by hand; the IP header is the
# paper's own example (from memory). The long ones are the cases where encoders go wrong.
VECTORS = [
    (b"", b"\x01"),
    (b"\x00", b"\x01\x01"),
    (b"\x00\x00", b"\x01\x01\x01"),
    (b"\x00\x11\x00", b"\x01\x02\x11\x01"),
    (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33"),
    (b"\x11\x22\x33\x44", b"\x05\x11\x22\x33\x44"),
    (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01"),
    (b"12345\x006789", b"\x0612345\x056789"),
    (bytes.fromhex("4500002c4c79000040064f37"), bytes.fromhex("024501042c4c79010540064f37")),
    (RUN, b"\xff" + RUN),
    (b"\x00" + RUN, b"\x01\xff" + RUN),
    (RUN + b"\xff", b"\xff" + RUN + b"\x02\xff"),
    (bytes(range(2, 256)) + b"\x00", b"\xff" + bytes(range(2, 256)) + b"\x01\x01"),
    (bytes(range(3, 256)) + b"\x00\x01", b"\xfe" + bytes(range(3, 256)) + b"\x02\x01"),
]
ENCODERS = [cobs.encode_bytewise, cobs.encode_by_split]


def encoded(encoder, data):
    out = bytearray(len(data) + len(data) // 254 + 2)
    return bytes(out[: encoder(bytearray(data), len(data), out)])


@pytest.mark.parametrize("encoder", ENCODERS)
@pytest.mark.parametrize(("plain", "stuffed"), VECTORS)
def test_published_vectors(encoder, plain, stuffed):
    assert encoded(encoder, plain) == stuffed
    assert bytes(cobs.decode(stuffed)) == plain


@pytest.mark.parametrize("encoder", ENCODERS)
@given(
    data=st.binary(max_size=700)
    | st.binary(min_size=250, max_size=520).map(lambda b: b.replace(b"\0", b"\1"))
)
def test_any_bytes_like_the_reference_package(encoder, data):
    assert encoded(encoder, data) == reference.encode(data)
    assert bytes(cobs.decode(reference.encode(data))) == data


@pytest.mark.parametrize("broken", [b"", b"\x02\x01\x02", b"\x05\x01", b"\x03\x01\x00", b"\x00"])
def test_what_the_reference_refuses_is_refused(broken):
    """The reference takes the empty string as empty; on a link an empty frame is no frame."""
    if broken:
        with pytest.raises(reference.DecodeError):
            reference.decode(broken)
    with pytest.raises(ValueError, match="not an encoding"):
        cobs.decode(broken)


def test_long_form_of_254_bytes_is_understood():
    """Some encoders close a full block with 01; both forms must decode."""
    assert bytes(cobs.decode(b"\xff" + RUN + b"\x01")) == RUN


def test_checksum_is_crc_32_iso_hdlc():
    """Catalogue of parametrised CRC algorithms: check value CBF43926 over '123456789'."""
    raw = bytearray(b"123456789" + bytes(4))
    out = bytearray(20)
    length = wire.close_frame(raw, 9, out)
    assert raw[9:] == bytes.fromhex("2639f4cb")
    assert reference.decode(bytes(out[: length - 1])) == bytes(raw)


def test_residue_of_the_catalogue():
    """CRC-32 over data and its own little-endian CRC is 2144DF1C, whatever the data."""
    for data in (b"", b"\0", b"strokebench"):
        whole = data + zlib.crc32(data).to_bytes(4, "little")
        assert zlib.crc32(whole) == wire._RESIDUE == 0x2144DF1C


@given(kind=st.integers(0, 255), seq=st.integers(0, 255), body=st.binary(max_size=wire.MAX_BODY))
def test_a_frame_opened_by_foreign_tools(kind, seq, body):
    """Another program with only zlib and a COBS library can read us, and we it."""
    whole = bytes((kind, seq)) + body
    theirs = reference.encode(whole + zlib.crc32(whole).to_bytes(4, "little")) + b"\0"
    assert wire.frame(kind, seq, body) == theirs
    assert [(k, s, bytes(b)) for k, s, b in wire.Decoder().feed(theirs)] == [(kind, seq, body)]


def test_every_single_bit_error_is_caught():
    """CRC-32 detects all single-bit errors at any length (its Hamming distance is at least 2 everywhere)."""
    good = wire.frame(0x61, 7, b"\x01\x02\x00\x04" * 8)
    for index in range(8 * (len(good) - 1)):
        bad = bytearray(good)
        bad[index // 8] ^= 1 << index % 8
        assert not wire.Decoder().feed(bytes(bad)), f"bit {index} slipped through"
