"""What every way to reach a bench must do alike, from the handshake to the farewell.

The order is the cheapest for the emulated chip, where arming takes half a minute; no test needs another one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
import strokefw
from strokebench.bench.bench import BOARDS, Bench
from strokebench.bench.run import Run
from strokebench.data.samples import DRIVE_ONE, TICK_S, Samples
from strokebench.errors import Refused
from strokebench.link import conversion
from strokefw import faults, state
from strokefw.link import wire

from tests.contract.ways import LIMITS, Way, heard, until
from tests.helpers.strokes import procedure

DRIVE = 0.2
BOARD_OF = {"chip": "reference bench", "inprocess, small": "small bench"}
ROUNDING = 1e-4
"""A drive is told in steps of 1/10000."""
READINGS, BEFORE = 200, 50
HEARTBEAT_S = 0.1


def test_the_handshake_says_which_bench_it_is(way: Way) -> None:
    mine = way.bench.identity
    assert mine.protocol == wire.PROTOCOL
    assert mine.firmware == ".".join(str(number) for number in strokefw.VERSION)
    assert mine.board == BOARD_OF.get(way.name, "simulated bench")
    assert mine.board in BOARDS and bytes.fromhex(mine.uid)
    assert mine.current_max_a > LIMITS.current_max_a and mine.segments_max > 0
    assert mine.firmware in way.bench.identity_text()


def test_limits_are_echoed_as_they_are_in_force(bench: Bench) -> None:
    names = wire.FIELDS[wire.ID["limits"]]
    values = conversion.limits_values(LIMITS)
    assert bench.set_limits(LIMITS) == dict(zip(names, values, strict=True))


def test_limits_beyond_the_benchs_own_are_refused(bench: Bench) -> None:
    values = list(conversion.limits_values(LIMITS))
    values[wire.FIELDS[wire.ID["limits"]].index("heartbeat_ms")] = 60_000
    with pytest.raises(Refused) as caught:
        bench.link.request("limits", *values, answer="limits_in_force")
    assert caught.value.code == faults.OUT_OF_RANGE


def test_nothing_is_driven_unless_armed(bench: Bench) -> None:
    bench.disarm()
    with pytest.raises(Refused) as caught:
        bench.jog(DRIVE)
    assert caught.value.code == faults.NOT_NOW
    assert bench.status().drive == 0.0


# -- one short run -------------------------------------------------------------------------------------------


@dataclass
class Recorded:
    """A run as it was received, and what the bench had counted before it."""

    run: Run
    samples: Samples
    bad_frames: int
    counters: dict[str, int]


@pytest.fixture(scope="module")
def recorded(way: Way) -> Recorded:
    """Up as fast as the bench lets it, a burst there, and down: 0.15 s."""
    bench = way.bench
    until(bench, lambda status: status.state not in ("off", "check"))
    bench.set_limits(LIMITS)
    bench.arm()
    run = bench.run(
        procedure(
            {"kind": "step", "to": DRIVE, "for_s": 0.07, "label": "up"},
            {"kind": "burst", "channel": "supply", "rate_hz": 100_000, "count": READINGS,
             "pre": BEFORE, "label": "ripple"},
            {"kind": "hold", "for_s": 0.02, "label": "hold"},
            {"kind": "pause", "for_s": 0.02, "label": "off"},
        )
    )  # fmt: skip
    samples = np.concatenate(list(run))
    return Recorded(run, samples, bench.link.bad_frames, bench.status().counters)


def test_every_row_of_a_run_comes_once_and_in_order(recorded: Recorded) -> None:
    assert recorded.run.outcome == "done"
    assert len(recorded.samples) >= 110
    assert np.allclose(np.diff(recorded.samples["time_s"]), TICK_S)
    assert recorded.run.lost_rows == recorded.bad_frames == 0
    assert recorded.counters["lost_rows"] == recorded.counters["overruns"] == 0


def test_the_drive_changes_no_faster_than_the_limit(recorded: Recorded) -> None:
    drive = recorded.samples["drive"]
    assert drive.max() == pytest.approx(DRIVE, abs=ROUNDING)
    change = np.diff(drive[: int(np.argmax(drive)) + 1])
    assert change.max() == pytest.approx(LIMITS.slew_per_s * TICK_S, abs=ROUNDING)


def test_current_flows_where_it_is_driven_and_nowhere_else(recorded: Recorded) -> None:
    """12.6 V x 0.2 over about 20 ohm."""
    samples = recorded.samples
    full = samples[samples["drive"] > DRIVE - ROUNDING]
    assert 0.10 < full["current_a"].mean() < 0.15
    assert abs(samples["current_a"][0]) < 0.02 and abs(samples["current_a"][-1]) < 0.02
    assert samples["drive"][-1] == 0.0


def test_segments_are_told_as_they_begin(recorded: Recorded) -> None:
    assert [mark.label for mark in recorded.run.marks] == ["up", "ripple", "hold", "off"]
    lasts_s = {mark.label: mark.end_s - mark.start_s for mark in recorded.run.marks}
    assert lasts_s["up"] == pytest.approx(0.07, abs=TICK_S)
    assert lasts_s["hold"] == pytest.approx(0.02, abs=TICK_S)
    starts_s = [mark.start_s for mark in recorded.run.marks]
    assert starts_s == sorted(starts_s) and starts_s[0] <= TICK_S


def test_a_burst_comes_whole(recorded: Recorded) -> None:
    (burst,) = recorded.run.bursts
    assert (burst.channel, burst.label, len(burst.values)) == ("supply", "ripple", READINGS)
    assert burst.rate_hz == pytest.approx(100_000, rel=0.01)
    full = recorded.samples[recorded.samples["drive"] > DRIVE - ROUNDING]
    assert burst.unit == "V" and burst.values.mean() == pytest.approx(full["supply_v"].mean(), rel=0.02)


# -- stopping and what must not happen -----------------------------------------------------------------------


def test_arming_gives_the_part_its_supply(armed: Bench) -> None:
    status = armed.status()
    assert (status.state, status.drive) == ("armed", 0.0)
    assert status.supply_v == pytest.approx(status.terminals_v, abs=0.3)


def test_stop_at_once_takes_one_tick(armed: Bench) -> None:
    run = armed.run(procedure({"kind": "step", "to": DRIVE, "for_s": 20.0, "label": "on"}))
    run.chunk_rows = 10
    chunks = []
    for chunk in run:
        chunks.append(chunk)
        if chunk["drive"][-1] > 0.1:
            run.stop(now=True)
    drive = np.concatenate(chunks)["drive"]
    assert run.outcome == "stopped" and drive[-1] == 0.0
    last = int(np.flatnonzero(drive)[-1])
    assert drive[last] > 0.1 and not drive[last + 1 :].any()


def test_a_damaged_frame_does_nothing_and_is_counted(armed: Bench) -> None:
    kind = wire.ID["jog"]
    good = wire.frame(kind, 7, wire.pack(kind, round(DRIVE * DRIVE_ONE)))
    damaged = bytearray(good)
    damaged[len(good) // 2] ^= 0x40
    before = armed.status()
    armed.link.port.write(bytes(damaged))
    after = until(armed, lambda status: status.counters["bad_frames"] > before.counters["bad_frames"])
    assert after.counters["bad_frames"] == before.counters["bad_frames"] + 1
    assert (after.state, after.drive) == ("armed", 0.0)
    armed.link.port.write(good)  # undamaged, the same bytes do drive
    until(armed, lambda status: status.drive > 0)
    armed.stop(now=True)
    assert until(armed, lambda status: status.state != "driving").drive == 0.0


def test_limits_can_only_be_tightened_while_armed(armed: Bench) -> None:
    with pytest.raises(Refused) as caught:
        armed.set_limits(LIMITS.model_copy(update={"drive_max": 1.0}))
    assert caught.value.code == faults.ONLY_TIGHTER
    with pytest.raises(Refused) as beyond:
        armed.jog(0.6)
    assert beyond.value.code == faults.OUT_OF_RANGE
    assert armed.status().drive == 0.0


def test_closing_leaves_the_bench_off(way: Way, armed: Bench) -> None:
    armed.jog(DRIVE)
    until(armed, lambda status: status.drive > 0)
    way.leave()
    status = way.bench.status()
    assert (status.state, status.drive, status.fault) == ("ready", 0.0, 0)


def test_silence_while_driving_is_a_fault_that_stays_until_cleared(armed: Bench) -> None:
    armed.set_limits(LIMITS.model_copy(update={"heartbeat_s": HEARTBEAT_S}))
    armed.jog(DRIVE)
    event = heard(armed, lambda message: message.fields.get("kind") == state.EVENT_FAULT)
    assert event.fields["code"] == faults.HEARTBEAT_LOST
    latched = until(armed, lambda status: status.state != "stopping")
    assert (latched.state, latched.fault, latched.drive) == ("latched", faults.HEARTBEAT_LOST, 0.0)
    with pytest.raises(Refused) as caught:
        armed.arm()
    assert caught.value.code == faults.FAULT_LATCHED
    armed.clear()
    cleared = armed.status()
    assert (cleared.state, cleared.fault) == ("ready", 0)
    logged = [event.code for event in armed.events() if event.kind == "fault"]
    assert logged[-1] == faults.HEARTBEAT_LOST
