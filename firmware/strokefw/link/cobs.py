"""Consistent Overhead Byte Stuffing: any bytes to bytes without a zero, and back.

Source: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
Exactly 254 bytes without a zero are encoded in the short form (FF and the bytes); the decoder takes the
long form (a final 01) too.
"""

from strokefw.compat import IS_MICROPYTHON, micropython, ptr8


@micropython.viper
def encode_bytewise(src: ptr8, n: int, dst: ptr8) -> int:
    """Encode ``src[:n]`` into ``dst`` (at least n + n // 254 + 1 bytes); return the encoded length."""
    i = 0
    at = 1
    code_at = 0
    while i < n:
        byte = src[i]
        i += 1
        if byte:
            dst[at] = byte
            at += 1
            if at - code_at == 255:
                dst[code_at] = 255
                if i == n:
                    return at
                code_at = at
                at += 1
        else:
            dst[code_at] = at - code_at
            code_at = at
            at += 1
    dst[code_at] = at - code_at
    return at


def encode_by_split(src, n, dst):
    """Do the same through ``bytes.split``: faster than a byte loop where there is no viper."""
    runs = bytes(src[:n]).split(b"\0")
    codes = [len(run) + 1 for run in runs]
    if max(codes) < 255:  # as long as the data and one more: only the zeros change
        dst[1 : n + 1] = src[:n]
        at = 0
        for code in codes:
            dst[at] = code
            at += code
        return at
    blocks = []
    long_end = False
    for run in runs:
        long_end = False
        while len(run) > 253:
            blocks.append(b"\xff" + run[:254])
            run = run[254:]
            long_end = not run
        blocks.append(bytes((len(run) + 1,)) + run)
    if long_end:  # the last block closed the data by itself
        blocks.pop()
    encoded = b"".join(blocks)
    dst[: len(encoded)] = encoded
    return len(encoded)


encode_into = encode_bytewise if IS_MICROPYTHON else encode_by_split


def decode(data):
    """Return the bytes behind ``data`` (no zero in it) as a bytearray; ValueError when it is no encoding."""
    n = len(data)
    if not n or data.find(b"\0") >= 0:
        raise ValueError("not an encoding: empty, or a zero inside")
    out = bytearray(data)
    seams = []
    at = 0
    while at < n:
        code = data[at]
        out[at] = 0  # a code byte stands where the zero was
        at += code
        if code == 255 and at < n:
            seams.append(at)  # except after a full block, where no zero was
    if at != n:
        raise ValueError("not an encoding: a code points past the end")
    if not seams:
        return out[1:]
    start = 1
    whole = bytearray()
    for seam in seams:
        whole.extend(out[start:seam])
        start = seam + 1
    whole.extend(out[start:])
    return whole
