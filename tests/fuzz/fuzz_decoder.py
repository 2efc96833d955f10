"""Coverage-guided search for bytes that break the host's decoder: ``python tests/fuzz/fuzz_decoder.py``.

Needs atheris (``pip install atheris``; Linux and macOS). Arguments go to libFuzzer, such as
``-max_total_time=180 -seed=1 CORPUS_DIR``. Random bytes never get past a CRC-32, so the first byte of an
input says what the rest is: raw bytes for the decoder, or the body of a message that is framed rightly.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from pathlib import Path

import numpy as np

try:
    import atheris
except ImportError:
    atheris = None

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "host"), str(ROOT / "firmware")]
MAX_INPUT = 1200
OURS = ["strokefw", "strokebench"]
with atheris.instrument_imports(include=OURS) if atheris else contextlib.nullcontext():
    from strokebench.bench.bench import identity_of
    from strokebench.errors import VersionMismatch
    from strokebench.link.conversion import decode_rows, event_text, logged_event, status_of, tail_rows
    from strokebench.link.link import open_message
    from strokefw import state
    from strokefw.link import wire


def check(data: bytes) -> None:
    """Feed one input through everything that looks at a bench's bytes; AssertionError when it breaks."""
    if len(data) < 2:
        return
    if data[0] & 1:
        raw_bytes(data[1:], step=1 + (data[0] >> 1) % 97)
    else:
        whole_message(data[1], data[2:])


def raw_bytes(data: bytes, step: int) -> None:
    """Bytes in pieces: same result as in one go, memory bounded, in step again after a zero."""
    whole = wire.Decoder()
    expected = whole.feed(data)
    pieces = wire.Decoder()
    found = []
    for at in range(0, len(data), step):
        found += pieces.feed(data[at : at + step])
        assert len(pieces._rest) <= wire.MAX_ENCODED
    if max(map(len, data.split(b"\0")), default=0) <= wire.MAX_ENCODED:
        assert found == expected and pieces.bad_frames == whole.bad_frames
    for kind, _seq, body in expected:
        opened(kind, body)
    good = wire.frame(0x60, 9, wire.pack(0x60, 0, -1))
    assert pieces.feed(b"\0" + good)[-1] == (0x60, 9, wire.pack(0x60, 0, -1)), "not in step again"


def whole_message(kind: int, body: bytes) -> None:
    """Any body in a right frame comes out as it went in, if it is not too long, and is opened or refused."""
    if len(body) > wire.MAX_BODY:
        assert wire.Decoder().feed(wire.frame(kind, 1, body)) == []
        return
    assert wire.Decoder().feed(wire.frame(kind, 1, body)) == [(kind, 1, body)]
    opened(kind, body)


def opened(kind: int, body: bytes) -> None:
    """Open a message; a misfit is a VersionMismatch, and what comes out is of use to the host."""
    try:
        message = open_message(kind, body)
    except VersionMismatch:
        return
    if message.name == "samples":
        rows = decode_rows(message.tail, message.fields["first_seq"] & state.TICK_MASK)
        assert len(rows) == len(message.tail) // wire.SAMPLE_BYTES
        assert np.isfinite(rows["time_s"]).all() and np.isfinite(rows["current_a"]).all()
    elif message.name == "event":
        fields = message.fields
        assert event_text(fields["kind"], fields["code"], fields["index"], fields["detail"])
    elif message.name == "status_report":
        assert status_of(message).state
    elif message.name == "event_log":
        for row in tail_rows(message):
            assert logged_event(*row).text
    elif message.name == "welcome":
        identity_of(message)
    elif message.tail and wire.TAIL[kind] != "bytes":
        tail_rows(message)


def seeds(folder: Path) -> None:
    """Write one input of each message, as a body and as a raw frame."""
    for kind in wire.NAME:
        body = bytes(range(wire.struct.calcsize(wire.FORMAT[kind])))
        (folder / f"body-{kind:02x}").write_bytes(bytes((0, kind)) + body)
        (folder / f"frame-{kind:02x}").write_bytes(b"\x0b" + wire.frame(kind, 1, body))


def main() -> int:
    """Run the search; 0 when it could not or found nothing."""
    if atheris is None:
        print("atheris is not installed: pip install atheris (Linux and macOS), then start this again.")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        seeds(Path(folder))
        atheris.Setup([sys.argv[0], f"-max_len={MAX_INPUT}", *sys.argv[1:], folder], check)
        atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
