"""What framing one full samples message costs: `micropython framing_cost.py FIRMWARE_DIR` (or python3).

Prints microseconds per frame of 533 bytes (20 sample rows) and the encoded length; docs/decisions quotes
it.
"""

import binascii
import sys
import time

sys.path.insert(0, sys.argv[1] if len(sys.argv) > 1 else "firmware")

from strokefw.link import cobs, wire

TURNS = 400


def message():
    """Return type, seq, body and crc of a samples message such as a driven part gives."""
    kind = wire.ID["samples"]
    rows = []
    for i in range(20):
        moving = (70000 + i, 4500 + i, 2300 + 7 * i, 13000 - i, 5800, 20, 2500 + 3 * i, 2490 - 3 * i)
        rows.append(wire.pack_row(kind, *moving, 254, 251, 4, 0))
    raw = bytes([kind, 17]) + wire.pack(kind, 4000, 20, 0, tail=b"".join(rows))
    return raw + wire.struct.pack("<I", binascii.crc32(raw))


def crc16_table():
    """Return the table of CRC-16/IBM-3740 (poly 1021, init FFFF)."""
    table = []
    for byte in range(256):
        crc = byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
        table.append(crc & 0xFFFF)
    return table


TABLE16 = crc16_table()


def crc16(data):
    """Return CRC-16/IBM-3740 by an interpreted table loop."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc << 8 & 0xFFFF) ^ TABLE16[crc >> 8 ^ byte]
    return crc


def plain_cobs(src, n, dst):
    """Encode as cobs.encode_bytewise does, but interpreted."""
    at = 1
    code_at = 0
    for i in range(n):
        byte = src[i]
        if byte:
            dst[at] = byte
            at += 1
            if at - code_at < 255:
                continue
        dst[code_at] = at - code_at
        code_at = at
        at += 1
    dst[code_at] = at - code_at
    return at


def slip(data):
    """Return the SLIP encoding (RFC 1055) without its end byte, by bytes.replace."""
    return data.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc")


def ticks_us():
    """Return microseconds."""
    return time.ticks_us() if hasattr(time, "ticks_us") else time.perf_counter_ns() // 1000


def cost(function, *args):
    """Return microseconds per call."""
    start = ticks_us()
    for _ in range(TURNS):
        function(*args)
    return (ticks_us() - start) / TURNS


def main():
    """Print the table."""
    raw = message()
    n = len(raw)
    out = bytearray(n + 8)
    encoded = bytes(out[: cobs.encode_into(raw, n, out)])
    check = crc16(b"123456789")
    assert check == 0x29B1, check  # its catalogued check value
    slow = slip(b"\xc0\xdb" * (n // 2))
    print(f"{sys.implementation.name}, {n} bytes; cobs {len(encoded) + 1}, slip {len(slip(raw)) + 1}")
    print(f"worst case cobs {n + n // 254 + 2}, slip {len(slow) + 1}")
    print(f"crc32, C             {cost(binascii.crc32, raw):8.1f} us")
    print(f"crc16, interpreted   {cost(crc16, raw):8.1f} us")
    print(f"cobs, viper or plain {cost(cobs.encode_bytewise, raw, n, out):8.1f} us")
    print(f"cobs, interpreted    {cost(plain_cobs, raw, n, out):8.1f} us")
    print(f"cobs, bytes.split    {cost(cobs.encode_by_split, raw, n, out):8.1f} us")
    print(f"slip, bytes.replace  {cost(slip, raw):8.1f} us")
    print(f"cobs decode          {cost(cobs.decode, encoded):8.1f} us")


if __name__ == "__main__":
    main()
