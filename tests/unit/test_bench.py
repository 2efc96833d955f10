"""The bench's face against a scripted port: runs, loss, heartbeats, bursts, and leaving it safe."""

from __future__ import annotations

import itertools
import math
import struct
from collections.abc import Callable

import numpy as np
import pytest
from strokebench.bench.bench import Bench
from strokebench.errors import LinkLost, ProtectionTripped, Refused, UsageError
from strokebench.link import conversion
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure
from strokefw import channels, faults, state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row

LIMITS = Limits(
    current_max_a=10, current_mean_a=8, drive_min=-0.5, drive_max=0.6, stall_a=3, stall_s=2,
    i2t_part_a2s=100, i2t_part_rest_a=3, slew_per_s=20, heartbeat_s=0.4,
)  # fmt: skip
PROCEDURE = Procedure.model_validate(
    {
        "segments": [
            {"kind": "pause", "label": "rest", "for_s": 0.1},
            {"kind": "hold", "label": "stall", "for_s": 0.2},
        ]
    }
)


def make(script: dict[str, Callable[..., bytes | None]] | None = None) -> tuple[FakePort, Bench]:
    port = FakePort(script)
    bench = Bench(port)
    bench.set_limits(LIMITS)
    bench.arm()
    return port, bench


def rows(first: int, count: int) -> bytes:
    return b"".join(row(1000 + n, drive=n, current_ma=-n) for n in range(first, first + count))


def stream(port: FakePort, first: int) -> None:
    """Let the bench send 100 rows, in messages as large as they may be."""
    for start in range(first, first + 100, wire.ROWS_MAX):
        port.say("samples", start, wire.ROWS_MAX, 0, tail=rows(start, wire.ROWS_MAX))


def segment(port: FakePort, tick: int, index: int) -> None:
    port.say("event", tick, state.EVENT_SEGMENT, 5, index, 0)


def end(port: FakePort, tick: int, reason: int = state.END_DONE, code: int = 0) -> None:
    port.say("event", tick, state.EVENT_RUN_END, reason, 0, code)


def test_a_run_yields_samples_and_collects_marks() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    segment(port, 1000, 0)
    for first in range(0, 300, 20):
        port.say("samples", first, 20, 0, tail=rows(first, 20))
        if first == 100:
            segment(port, 1100, 1)
    end(port, 1300)
    chunks = list(run)
    samples = np.concatenate(chunks)
    assert max(len(chunk) for chunk in chunks) <= 100
    assert samples["time_s"] == pytest.approx(np.arange(300) / 1000)
    assert samples["drive"][299] == pytest.approx(0.0299)
    assert samples["current_a"][250] == pytest.approx(-0.25)
    assert samples["heatsink_c"][0] == 25.0
    assert math.isnan(samples["part_c"][0])
    assert [(mark.label, mark.start_s, mark.end_s) for mark in run.marks] == [
        ("rest", 0, 0.1),
        ("stall", 0.1, 0.3),
    ]
    assert (run.outcome, run.lost_rows) == ("done", 0)
    names = port.asked()
    assert names.count("run") == 1
    assert names.count("segment") == 2


def test_lost_and_dropped_rows_are_counted_never_guessed() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.say("samples", 0, 5, 0, tail=rows(0, 5))
    port.say("samples", 25, 5, 0, tail=rows(25, 5))
    end(port, 1030)
    samples = np.concatenate(list(run))
    assert run.lost_rows == 20
    assert samples["time_s"][5] == pytest.approx(0.025)  # the gap stays a gap


def test_rows_lost_at_the_very_beginning_are_counted_too() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    segment(port, 1000, 0)
    port.say("samples", 20, 5, 0, tail=rows(20, 5))
    end(port, 1025)
    list(run)
    assert run.lost_rows == 20


def test_the_tick_counter_may_wrap_in_the_middle() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    last = state.TICK_MASK
    segment(port, last - 1, 0)
    port.say("samples", 0, 4, 0, tail=row(last - 1) + row(last) + row(0) + row(1))
    segment(port, 1, 1)
    end(port, 2)
    samples = np.concatenate(list(run))
    assert samples["time_s"] == pytest.approx([0, 0.001, 0.002, 0.003])
    assert run.marks[1].start_s == pytest.approx(0.003)


def test_heartbeats_go_out_while_it_runs() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    beats: list[float] = []
    port.script["heartbeat"] = lambda: beats.append(port.now()) or port.frame("reply", 0, 0)  # type: ignore[func-returns-value]
    ticks = iter(range(200))

    def wait() -> None:
        tick = next(ticks)
        port.time_s += 0.01
        port.say("samples", tick, 1, 0, tail=rows(tick, 1))
        if tick == 150:
            end(port, 1150)

    port.on_wait = wait
    list(run)
    assert len(beats) >= 14
    assert max(b - a for a, b in itertools.pairwise(beats)) < LIMITS.heartbeat_s / 2


def test_a_fault_ends_the_run_after_the_last_sample() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.say("samples", 0, 3, 0, tail=rows(0, 3))
    port.say("event", 1002, state.EVENT_FAULT, faults.STALL, 0, 5000)
    end(port, 1003, state.END_FAULT, faults.STALL)
    chunks = []
    with pytest.raises(ProtectionTripped, match="stall current without moving") as caught:
        for chunk in run:
            chunks.append(chunk)
    assert sum(map(len, chunks)) == 3
    assert caught.value.code == faults.STALL
    assert caught.value.exit_code == 5
    assert run.outcome == "fault"
    assert [event.code for event in run.events if event.kind == "fault"] == [faults.STALL]


def test_a_bench_that_falls_silent_is_lost_and_told_to_stop() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.script["heartbeat"] = lambda: None
    with pytest.raises(LinkLost, match="fell silent"):
        list(run)
    assert port.asked()[-2:] == ["stop", "disarm"]
    assert run.outcome == "cut"


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError, LinkLost])
def test_leaving_for_any_reason_stops_the_part(error: type[BaseException]) -> None:
    port, bench = make()
    port.say("samples", 0, 1, 0, tail=rows(0, 1))

    def leave() -> None:
        for _ in bench.run(PROCEDURE):
            raise error("x")

    port.on_wait = lambda: stream(port, 1)
    with pytest.raises(error), bench:
        leave()
    assert ("stop", (1,)) in port.requests
    assert port.closed


def test_a_break_out_of_the_loop_stops_when_the_bench_is_left() -> None:
    port, bench = make()
    port.on_wait = lambda: stream(port, 0)
    with bench:
        for _ in bench.run(PROCEDURE):
            break
    assert ("stop", (1,)) in port.requests


def test_stop_is_asked_once_and_the_rest_still_comes() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.script["stop"] = lambda now: end(port, 1101, state.END_STOPPED) or port.frame("reply", 0, 0)  # type: ignore[func-returns-value]
    port.on_wait = lambda: stream(port, 0)
    chunks = []
    for chunk in run:
        chunks.append(chunk)
        run.stop()
    assert run.outcome == "stopped"
    assert port.asked().count("stop") == 1


def burst(port: FakePort, order: list[int], count: int = 500) -> None:
    counts = np.arange(count, dtype="<u2") * 100
    port.say("burst", 1, channels.I_FINE, 500_000, count, 0, 1050)
    for offset in order:
        port.say("burst_data", offset, tail=counts[offset : offset + 240].tobytes())


def test_a_burst_comes_together_in_amperes() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.say("samples", 0, 1, 0, tail=rows(0, 1))
    burst(port, [240, 0, 480])
    end(port, 1100)
    list(run)
    (capture,) = run.bursts
    assert (capture.channel, capture.unit, capture.label, capture.rate_hz) == (
        "current_fine",
        "A",
        "stall",
        5e5,
    )
    assert capture.start_s == pytest.approx(0.05)
    full_a, zero = channels.FINE_FULL_MA / 1000, channels.MID_SCALE
    assert capture.values[0] == pytest.approx(-zero / channels.FULL_SCALE * full_a)
    assert capture.values[499] == pytest.approx((49900 - zero) / channels.FULL_SCALE * full_a)


def test_a_lost_piece_of_a_burst_is_asked_for_again() -> None:
    port, bench = make()
    run = bench.run(PROCEDURE)
    port.say("samples", 0, 1, 0, tail=rows(0, 1))
    burst(port, [0, 480])
    end(port, 1100)

    def again(offset: int) -> bytes:
        piece = (np.arange(240, dtype="<u2") + 240) * 100
        return port.frame("reply", 0, 0) + port.frame("burst_data", offset, tail=piece.tobytes())

    port.script["burst_read"] = again
    list(run)
    assert ("burst_read", (240,)) in port.requests
    assert len(run.bursts) == 1


def test_nothing_runs_without_limits_or_against_them() -> None:
    bench = Bench(FakePort())
    with pytest.raises(UsageError, match="No part's limits"):
        bench.run(PROCEDURE)
    _port, bench = make()
    wild = Procedure.model_validate({"segments": [{"kind": "hold", "drive": 0.9, "for_s": 1}]})
    with pytest.raises(UsageError, match="cannot be run"):
        bench.run(wild)


def test_limits_beyond_the_bench_are_refused_before_they_are_sent() -> None:
    port = FakePort()
    bench = Bench(port)
    with pytest.raises(UsageError, match=r"current_mean_a = 45.* more than the .* allows \(40 A\)"):
        bench.identity = bench.identity.__class__(**{**bench.identity.__dict__, "current_mean_a": 40.0})
        bench.set_limits(LIMITS.model_copy(update={"current_mean_a": 45.0, "current_max_a": 50.0}))
    assert "limits" not in port.asked()


def test_limits_travel_in_the_firmwares_units_and_order() -> None:
    values = dict(zip(wire.FIELDS[wire.ID["limits"]], conversion.limits_values(LIMITS), strict=True))
    assert values["current_max_ma"] == 10_000
    assert values["slew_per_ms"] == 200
    assert values["drive_min"] == -5000
    assert values["stall_ms"] == 2000
    assert values["part_temp_max_dc"] == 1000


def test_a_refused_arm_leaves_the_bench_closed() -> None:
    port = FakePort()
    port.script["arm"] = lambda: port.frame("reply", faults.OPEN_LOAD, 0)
    with pytest.raises(Refused, match="winding is open"), Bench(port) as bench:
        bench.set_limits(LIMITS)
        bench.arm()
    assert port.closed


def test_the_travelling_row_has_the_firmwares_size_and_names() -> None:
    assert conversion.WIRE_SAMPLE.itemsize == wire.SAMPLE_BYTES == struct.calcsize(wire.SAMPLE_FORMAT)
    assert conversion.WIRE_SAMPLE.names == wire.field_names(wire.SAMPLE)


def test_how_it_looks_in_a_notebook() -> None:
    from rich.pretty import pretty_repr

    _port, bench = make()
    bench.name = "<b>COM3</b>"
    assert "firmware='0.1.0'" in pretty_repr(bench)
    assert "&lt;b&gt;COM3" in bench._repr_html_()


@pytest.mark.parametrize(
    ("kind", "code", "index", "text"),
    [
        (state.EVENT_BOOT, 1, 0, "Started after watchdog."),
        (state.EVENT_STATE, state.LATCHED, state.DRIVING, "From driving to latched."),
        (state.EVENT_SEGMENT, 1, 4, "Segment 4 (ramp) begins."),
        (state.EVENT_WATCH, 1, 2, "The watch of segment 2 ended the run."),
        (state.EVENT_RUN_END, state.END_STOPPED, 0, "The run ended: stopped."),
        (state.EVENT_FAULT, faults.ESTOP, 0, "The emergency stop line is open."),
        (state.EVENT_WARNING, 0, 0, "The condition is gone."),
        (state.EVENT_BURST_FAILED, 0, 7, "The capture of segment 7 failed."),
    ],
)
def test_every_event_is_a_sentence(kind: int, code: int, index: int, text: str) -> None:
    assert conversion.event_text(kind, code, index, 0) == text
