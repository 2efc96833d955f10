"""A bench that lies, repeats itself, goes back in time or talks without end: a sentence, in time.

Every message of the link comes with fields at random, whole, cut short or twice, as an answer and unasked, in
thousands of sessions over the real link and the real run, in virtual time.
"""

from __future__ import annotations

import random
import struct

import numpy as np
import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.bounds import MARGIN_S, STOP_S, Bounds
from strokebench.bench.run import Run
from strokebench.data.samples import Samples
from strokebench.errors import LinkError, StrokebenchError, VersionMismatch
from strokebench.link.link import MOST_WAITING
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure
from strokefw import state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row

LIMITS = Limits(
    current_max_a=10, current_mean_a=8, drive_min=-0.5, drive_max=0.6, stall_a=3, stall_s=2,
    i2t_part_a2s=100, i2t_part_rest_a=3,
)  # fmt: skip
PROCEDURE = Procedure.model_validate({"segments": [{"kind": "pause", "label": "rest", "for_s": 0.2}]})
BENCH = [kind for kind, _name, by, *_ in wire.MESSAGES if by == wire.BENCH]
SLOWEST_S = 60.0
"""No session lasts longer: greeting, limits, arming, the run with its margin, the stop."""


class Talker(FakePort):
    """A port whose clock goes on with every read, and whose bench says what ``speak`` returns."""

    def __init__(self, dice: random.Random) -> None:
        super().__init__()
        self.dice = dice
        self.reads = 0
        self.last = b""

    def read(self, timeout_s: float) -> bytes:
        self.reads += 1
        self.time_s += 0.002
        if self.dice.random() < 0.7:
            self.outbox += self.speak()
        return super().read(timeout_s)

    def speak(self) -> bytes:
        """Return a few frames at random."""
        return b"".join(self._frame() for _ in range(self.dice.choice((1, 1, 3))))

    def _frame(self) -> bytes:
        dice = self.dice
        way = dice.random()
        if way < 0.15 and self.last:
            return self.last  # once more
        kind = dice.choice(BENCH) if way < 0.7 else wire.ID[dice.choice(("samples", "event", "burst"))]
        size = struct.calcsize(wire.FORMAT[kind])
        body = dice.randbytes(size + dice.choice((0, 0, 0, -1, 1, 26, 52))) if size else b""
        if dice.random() < 0.5 and kind == wire.ID["samples"]:
            count, first = dice.choice((1, 5, 20)), dice.choice((0, 1, 20, 40, 2**29, 2**30 - 1))
            tick = dice.choice((0, 100, 120, 2**29, 2**30 - 1))
            tail = b"".join(row(tick + n) for n in range(count))
            body = wire.pack(kind, first, count, 0, tail=tail)
        if dice.random() < 0.5 and kind == wire.ID["event"]:
            body = wire.pack(
                kind, dice.randrange(2**30), dice.randrange(12), dice.randrange(8), dice.randrange(3), 0
            )
        seq = dice.choice((dice.randrange(256), self._host_seq))
        self.last = wire.frame(kind, seq, body[:900])
        return self.last


def session(seed: int) -> tuple[Talker, list[Samples], StrokebenchError | None]:
    """Go through a whole session with a bench that talks at random; return what came of it."""
    dice = random.Random(seed)
    port, chunks = Talker(dice), []
    sane = dice.choice((0, 0, 3))  # how much of the session the bench behaves for
    talk, port.speak = port.speak, lambda: b""  # type: ignore[method-assign]
    try:
        if not sane:
            port.speak = talk  # type: ignore[method-assign]
        bench = Bench(port)
        with bench:
            bench.set_limits(LIMITS)
            bench.arm()
            port.speak = talk  # type: ignore[method-assign]
            for number, chunk in enumerate(run := bench.run(PROCEDURE)):
                chunks.append(chunk)
                if number == 3 and dice.random() < 0.5:
                    run.stop(now=dice.random() < 0.5)
    except StrokebenchError as error:
        return port, chunks, error
    return port, chunks, None


def check(seed: int) -> str:
    """Carry out session ``seed`` and check what must hold; return how it ended."""
    port, chunks, error = session(seed)
    assert port.time_s < SLOWEST_S
    assert port.closed
    if error is not None:
        assert str(error).strip().endswith((".", ")"))
    if chunks:
        times_s = np.concatenate([chunk["time_s"] for chunk in chunks])
        assert np.all(np.diff(times_s) > 0)
        assert len(times_s) <= Bounds(0.2, 1).longest_s * 1000
    return "" if error is None else type(error).__name__


def test_two_thousand_sessions() -> None:
    ends = [check(seed) for seed in range(2000)]
    assert len(set(ends)) >= 3  # they do not all end at the door


@pytest.mark.long
def test_a_hundred_thousand_sessions() -> None:
    for seed in range(10_000, 110_000):
        check(seed)


def started() -> tuple[FakePort, Run]:
    port = FakePort()
    bench = Bench(port)
    bench.set_limits(LIMITS)
    bench.arm()
    return port, bench.run(PROCEDURE)


def rows_said(port: FakePort, first: int, count: int, tick: int) -> None:
    port.say("samples", first, count, 0, tail=b"".join(row(tick + n) for n in range(count)))


def test_a_frame_that_comes_twice_or_late_is_refused() -> None:
    """550 rows were recorded for 530, time went back, and a thousand million were counted lost."""
    port, run = started()
    port.say("event", 1000, state.EVENT_SEGMENT, 5, 0, 0)
    for start in (0, 20, 40, 20, 60, 0, 80):
        rows_said(port, start, 20, 1000 + start)
    port.say("event", 1100, state.EVENT_RUN_END, state.END_DONE, 0, 0)
    times_s = np.concatenate(list(run))["time_s"]
    assert len(times_s) == 100
    assert np.all(np.diff(times_s) > 0)
    assert run.refused_frames == 2
    assert run.lost_rows == 0


@pytest.mark.parametrize("what", ["events", "rows", "bursts", "silence of the end"])
def test_a_bench_that_keeps_talking_does_not_hold_the_host(what: str) -> None:
    """No end was seen after 40 s, and memory grew."""
    port, run = started()
    said = 0

    def talk() -> None:
        nonlocal said
        port.time_s += 0.02
        said += 1
        if what == "events":
            for _ in range(50):
                port.say("event", 1000 + said, state.EVENT_WARNING, 3, 0, 0)
        elif what == "rows":
            rows_said(port, 20 * said, 20, 1000 + 20 * said)
        elif what == "bursts":
            port.say("burst", 0, 1, 1000, 5, 0, 1000)
        else:
            port.say("event", 1000, state.EVENT_WARNING, 3, 0, 0)

    port.on_wait = talk
    with pytest.raises(LinkError, match=r"more|has not ended"):
        list(run)
    assert port.time_s < 0.2 + 2 * MARGIN_S
    assert "stop" in port.asked()
    assert run.outcome == "cut"


def test_a_stop_that_is_not_obeyed_has_an_end() -> None:
    port, run = started()
    tick = 1000

    def talk() -> None:
        nonlocal tick
        port.time_s += 0.02
        rows_said(port, tick - 1000, 20, tick)
        tick += 20

    port.on_wait = talk
    run.stop()
    with pytest.raises(LinkError, match="being told to stop"):
        list(run)
    assert port.time_s < STOP_S + 2


def test_a_clock_that_runs_backwards_ends_the_run() -> None:
    port, run = started()
    rows_said(port, 0, 20, 1000)
    rows_said(port, 20, 20, 900)
    with pytest.raises(VersionMismatch, match="backwards"):
        list(run)


def test_what_nobody_takes_does_not_pile_up() -> None:
    port = FakePort({"status": lambda: None})
    bench = Bench(port)

    def talk() -> None:
        for _ in range(1000):
            port.say("event", 1000, state.EVENT_WARNING, 3, 0, 0)

    port.on_wait = talk
    with pytest.raises(LinkError, match="without end"):
        bench.status()
    assert len(bench.link.poll(0)) <= MOST_WAITING


@pytest.mark.parametrize("body", [b"", b"\x01", bytes(8)])
def test_a_greeting_of_a_byte_is_a_sentence(body: bytes) -> None:
    port = FakePort()
    port.script["hello"] = lambda *_: wire.frame(wire.ID["welcome"], port._host_seq, body)
    with pytest.raises(VersionMismatch, match="too short"):
        Bench(port)
    port.script["hello"] = lambda *_: wire.frame(wire.ID["reply"], port._host_seq, body[:1])
    with pytest.raises(VersionMismatch):
        Bench(port)
