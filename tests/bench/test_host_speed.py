"""The host's own speed: samples decoded, the time until help appears, memory over a long stream.

Times are processor time, so that a busy machine does not change the answer.
"""

from __future__ import annotations

import os
import resource
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from strokebench.link.conversion import decode_rows
from strokebench.link.link import Link
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row
from tests.helpers.process import environment

pytestmark = pytest.mark.slow

Note = Callable[[str, object], None]
ROWS = 20_000
GOAL_PER_S = 100_000


def frames() -> bytes:
    """Return a recorded-looking stream of ROWS samples in full messages."""
    port = FakePort()
    stream = bytearray()
    for first in range(0, ROWS, wire.ROWS_MAX):
        numbers = range(first, first + wire.ROWS_MAX)
        body = [
            row(70_000 + n, drive=n % 9000 - 4500, current_ma=n % 5000, output_a_mv=n % 12000,
                sensor_a_mv=n % 4500, sensor_b_mv=4500 - n % 4500, state=4)
            for n in numbers
        ]  # fmt: skip
        stream += port.frame("samples", first, wire.ROWS_MAX, 0, tail=b"".join(body))
    return bytes(stream)


STREAM = frames()


def by_link() -> int:
    """Decode the stream as a run does: frame by frame, then rows in chunks of 100."""
    port = FakePort()
    link = Link(port)
    count = 0
    raw = bytearray()
    for start in range(0, len(STREAM), 4096):
        port.outbox += STREAM[start : start + 4096]
        for message in link.poll(0.0):
            raw += message.tail
        while len(raw) >= 100 * wire.SAMPLE_BYTES:
            count += len(decode_rows(bytes(raw[: 100 * wire.SAMPLE_BYTES]), 70_000))
            del raw[: 100 * wire.SAMPLE_BYTES]
    return count


def by_struct() -> int:
    """Decode the same rows one at a time with struct, scaled into a list; frames already checked."""
    out = []
    for _kind, _seq, body in _bodies():
        for values in struct.iter_unpack(wire.SAMPLE_FORMAT, body[7:]):
            tick, drive, current, *volts, heat, part, code, fault = values
            scaled = [volt / 1000 for volt in volts]
            out.append(
                (
                    (tick - 70_000) / 1000,
                    drive / 1e4,
                    current / 1e3,
                    *scaled,
                    heat / 10,
                    part / 10,
                    code,
                    fault,
                )
            )
    return len(out)


_CACHED: list[Any] = []


def _bodies() -> list[Any]:
    if not _CACHED:
        decoder = wire.Decoder()
        for start in range(0, len(STREAM), 4096):
            _CACHED.extend(decoder.feed(STREAM[start : start + 4096]))
    return _CACHED


def rate(decode: Callable[[], int]) -> float:
    """Return samples per second of processor time, the best of three."""
    times = []
    for _ in range(3):
        began = time.process_time()
        count = decode()
        times.append(time.process_time() - began)
    return count / min(times)


def test_decoding(benchmark: Any) -> None:
    assert benchmark(by_link) == ROWS
    whole, plain = rate(by_link), rate(by_struct)
    benchmark.extra_info.update(samples_per_s=round(whole), struct_loop_per_s=round(plain))
    print(f"\ndecoded {whole:,.0f} samples/s from bytes; a struct loop over checked frames {plain:,.0f}")
    assert whole >= GOAL_PER_S


def test_decoding_rows_alone_beats_a_struct_loop(record_property: Note) -> None:
    raw = b"".join(body[7:] for _kind, _seq, body in _bodies())
    size = 100 * wire.SAMPLE_BYTES

    def by_numpy() -> int:
        return sum(len(decode_rows(raw[at : at + size], 70_000)) for at in range(0, len(raw), size))

    ours, plain = rate(by_numpy), rate(by_struct)
    record_property("figure", f"{ours:,.0f} samples/s, struct loop {plain:,.0f}")
    assert ours > plain


def child_s(*command: str) -> float:
    """Return the least processor time of three runs of a child process."""
    times = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *command], env=environment(), check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(times)


@pytest.mark.skipif(sys.platform == "win32", reason="getrusage")
def test_help_is_there_at_once(record_property: Note) -> None:
    nothing, helped = child_s("-c", "pass"), child_s("-m", "strokebench", "--help")
    times = f"{helped:.3f} s, interpreter alone {nothing:.3f} s: {helped / nothing:.1f} times"
    record_property("figure", f"processor time {times}")
    assert helped <= 6 * nothing


HEAVY = ("numpy", "scipy", "matplotlib", "jinja2", "pydantic", "rich", "serial", "sqlite3", "strokebench.sim")


def test_heavy_libraries_wait_until_they_are_used() -> None:
    code = f"import sys, strokebench.cli as c; c.parser(); print([n for n in {HEAVY!r} if n in sys.modules])"
    told = subprocess.run(
        [sys.executable, "-c", code], env=environment(), check=True, capture_output=True, text=True
    )
    assert told.stdout.strip() == "[]"


def stream_growth(seconds: float) -> tuple[int, int]:
    """Stream a simulated bench into a book; return resident bytes after a tenth of it and at its end."""
    import tempfile

    import psutil
    from strokebench.bench.bench import SimSpec, open_bench
    from strokebench.book.book import Book
    from strokebench.parts import load_part
    from strokebench.parts.procedure import Procedure

    hold = {"kind": "hold", "drive": 0.25, "for_s": min(seconds, 600.0), "label": "x"}
    block = {"kind": "repeat", "repeat": max(1, round(seconds / 600)), "segments": [hold]}
    procedure = Procedure.model_validate({"segments": [block]})
    process, early = psutil.Process(), 0
    with tempfile.TemporaryDirectory() as folder, Book(os.path.join(folder, "m.book")) as book:
        with open_bench(sim=SimSpec("throttle-body")) as bench:
            bench.set_limits(load_part("throttle-body").limits)
            bench.arm()
            run = bench.run(procedure)
            with book.new_run("throttle-body", "throttle") as writer:
                for chunk in run:
                    writer.samples(chunk)
                    if not early and run.last_s > seconds / 10:
                        early = process.memory_info().rss
        assert run.last_s >= seconds * 0.999
        assert run.lost_rows == 0
    return early, process.memory_info().rss


def test_memory_is_flat_over_a_minute(record_property: Note) -> None:
    early, late = stream_growth(60)
    record_property("figure", f"resident {early / 1e6:.1f} MB after 6 s, {late / 1e6:.1f} MB after 60 s")
    assert late - early < 3_000_000


@pytest.mark.long
def test_memory_is_flat_over_an_hour(record_property: Note) -> None:
    early, late = stream_growth(3600)
    record_property("figure", f"resident {early / 1e6:.1f} MB after 6 min, {late / 1e6:.1f} MB after an hour")
    assert late - early < 5_000_000


def test_the_stream_is_what_it_claims() -> None:
    values = np.concatenate([decode_rows(bytes(body[7:]), 70_000) for _kind, _seq, body in _bodies()])
    assert len(values) == ROWS
    assert values["time_s"][-1] == pytest.approx((ROWS - 1) / 1000)
