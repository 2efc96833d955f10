"""Sample rows decoded per second by the host, against a plain struct loop over the same rows."""

import struct
import time

import pytest
from strokefw.link import wire

pytestmark = pytest.mark.slow

FRAMES = 500
READ_BYTES = 4096


def stream():
    """Return the bytes of FRAMES samples messages with plausible rows, and the rows' plain bytes."""
    kind = wire.ID["samples"]
    frames, plain = [], []
    for number in range(FRAMES):
        first = number * wire.ROWS_MAX
        rows = b"".join(
            wire.pack_row(
                kind, first + i, 4500 + i, 2300 - i, 13000, 5800, 20, 2500 + i, 2490, 254, 251, 4, 0
            )
            for i in range(wire.ROWS_MAX)
        )
        plain.append(rows)
        frames.append(wire.frame(kind, number & 255, wire.pack(kind, first, 20, 0, tail=rows)))
    return b"".join(frames), b"".join(plain)


def decode(data):
    """Decode as the link does, in reads of 4 KB; return the number of rows."""
    decoder = wire.Decoder()
    rows = 0
    for at in range(0, len(data), READ_BYTES):
        for _kind, _seq, body in decoder.feed(data[at : at + READ_BYTES]):
            rows += wire.unpack(wire.ID["samples"], body)[1]
    return rows


def struct_loop(plain):
    """Unpack the rows with nothing around them; return their number."""
    return sum(1 for _ in struct.iter_unpack(wire.SAMPLE_FORMAT, plain))


@pytest.mark.parametrize("way", ["frames", "struct_loop"])
def test_decoding(benchmark, way):
    data, plain = stream()
    rows = benchmark(decode, data) if way == "frames" else benchmark(struct_loop, plain)
    assert rows == FRAMES * wire.ROWS_MAX


def test_more_than_100_000_rows_per_second():
    data, _plain = stream()
    start = time.process_time()
    rows = decode(data)
    assert rows / (time.process_time() - start) > 100_000
