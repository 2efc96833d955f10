"""A bench that lies, repeats itself, goes back in time or talks without end: a sentence, in time.

Thousands of sessions over the real link and the real run, in virtual time, with a bench that does what it
should and lies at rates that each session draws: every message with fields at random, whole, cut short, late,
twice or never, as an answer and unasked.
"""

from __future__ import annotations

import random
import re
from collections import Counter

import numpy as np
import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.bounds import MARGIN_S, STOP_S, Bounds
from strokebench.bench.run import Run
from strokebench.data.samples import Samples, empty
from strokebench.errors import LinkError, StrokebenchError, VersionMismatch
from strokebench.link.link import MOST_WAITING
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure
from strokefw import state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row
from tests.helpers.lying_bench import LyingBench

LIMITS = Limits(
    current_max_a=10, current_mean_a=8, drive_min=-0.5, drive_max=0.6, stall_a=3, stall_s=2,
    i2t_part_a2s=100, i2t_part_rest_a=3,
)  # fmt: skip
PROCEDURE = Procedure.model_validate({"segments": [{"kind": "pause", "label": "rest", "for_s": 0.2}]})
SLOWEST_S = 60.0
"""No session lasts longer: greeting, limits, arming, the run with its margin, the stop."""


def session(seed: int) -> tuple[LyingBench, list[Samples], StrokebenchError | None]:
    """Go through a session with a lying bench: questions, then a run; return what came of it."""
    port, chunks = LyingBench(seed), []
    dice = random.Random(-seed)
    procedure = Procedure.model_validate(
        {
            "segments": [
                PAUSE | {"for_s": dice.choice((0.02, 0.05, 0.1, 0.3))} for _ in range(dice.choice((1, 2, 4)))
            ]
        }
    )
    try:
        with Bench(port) as bench:
            for name in dice.sample(QUESTIONS, dice.choice((0, 0, 1, 3))):
                getattr(bench, name)()
            bench.set_limits(LIMITS)
            bench.arm()
            stops_after = dice.choice((3, 10**9))
            for number, chunk in enumerate(run := bench.run(procedure)):
                chunks.append(chunk)
                if number == stops_after:
                    run.stop(now=dice.random() < 0.5)
            run.data(np.concatenate(chunks) if chunks else empty())
    except StrokebenchError as error:
        return port, chunks, error
    return port, chunks, None


QUESTIONS = ("status", "events", "identity_text", "counts", "selftest_report")
PAUSE = {"kind": "pause", "label": "rest"}


def check(seed: int) -> tuple[str, int]:
    """Carry out session ``seed`` and check what must hold; return how it ended and how many rows came."""
    port, chunks, error = session(seed)
    assert port.time_s < SLOWEST_S, seed
    assert port.closed, seed
    if error is not None:
        assert str(error).strip().endswith((".", ")")), seed
    asked = port.asked()
    if "run" in asked:  # whatever it said: it was told to let go of the part
        assert {"stop", "disarm"} & set(asked[asked.index("run") :]), seed
    count = sum(map(len, chunks))
    if chunks:
        times_s = np.concatenate([chunk["time_s"] for chunk in chunks])
        assert np.all(np.diff(times_s) > 0), seed
        assert len(times_s) <= Bounds(4 * 0.3, 4).longest_s * 1000, seed
    ended = "ended" if error is None else re.sub(r"[0-9].*|'.*", "", str(error))
    return ended, count


def test_a_thousand_sessions() -> None:
    """Most of them go far: a bench that talks nonsense from the first byte is turned away at the door."""
    ends, rows = zip(*(check(seed) for seed in range(1000)), strict=True)
    assert sum(count > 0 for count in rows) > 500
    assert ends.count("ended") > 100
    assert len(set(ends)) >= 12


@pytest.mark.long
@pytest.mark.parametrize("part", range(10))
def test_a_hundred_thousand_sessions(part: int) -> None:
    """Ten parts, so that several processes can share them; ``pytest -s`` shows how the sessions ended."""
    first = 10_000 * (part + 1)
    ends, rows = zip(*(check(seed) for seed in range(first, first + 10_000)), strict=True)
    print(f"\npart {part}: {sum(count > 0 for count in rows)} with rows, {sum(rows)} rows")
    print(*(f"{count:6d} {end}" for end, count in Counter(ends).most_common()), sep="\n")


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
    with pytest.raises(LinkError, match="the command to stop"):
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
