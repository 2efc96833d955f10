"""The endless stream end to end: a known ripple arrives gapless, and what is lost is counted."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.bench.stream import RawPiece, unpacked
from strokebench.errors import Refused, UsageError
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.sim.engine.inprocess import InProcessPort
from strokefw import faults

PWM_HZ = 20_000
PATH = os.pathsep.join((str(Path(sys.executable).parent), os.environ.get("PATH", "")))


def joined(pieces: list[RawPiece]) -> NDArray[np.float64]:
    """Check that the pieces follow each other, and put them together."""
    at = pieces[0].first_index
    for piece in pieces:
        assert piece.first_index == at
        at += len(piece.values)
    return np.concatenate([piece.values for piece in pieces])


def hold(seconds: float) -> Procedure:
    segments = [{"kind": "ramp", "to": 0.3, "over_s": 0.2}, {"kind": "hold", "for_s": seconds}]
    return Procedure.model_validate({"title": "hold", "segments": segments})


def test_the_pwm_ripple_arrives_gapless_beside_all_rows() -> None:
    with open_bench(sim=SimSpec("throttle-body")) as bench:
        bench.set_limits(load_part("throttle-body").limits)
        bench.arm()
        with bench.raw("current_fine", 125_000) as stream:
            assert stream.rate_hz == 125_000 and stream.unit == "A"
            pieces = []
            run = bench.run(hold(1.0))
            rows = []
            for chunk in run:
                rows.append(chunk)
                pieces += stream.ready()
        assert run.lost_rows == 0 and stream.lost == 0
    ticks = np.round(np.concatenate(rows)["time_s"] * 1000).astype(int)
    assert (np.diff(ticks) == 1).all()
    amps = joined(pieces)
    assert len(amps) >= 1.15 * 125_000
    held = amps[-100_000:-10_000]
    # the ripple runs on through all ticks: one missing reading turns its phase by 58 degrees
    turns = np.exp(-2j * np.pi * PWM_HZ / 125_000 * np.arange(len(held))) * (held - held.mean())
    phases = np.unwrap(np.angle(turns.reshape(90, -1).sum(axis=1)))
    assert np.ptp(phases) < 0.5


def test_the_mean_is_that_of_the_rows() -> None:
    with open_bench(sim=SimSpec("throttle-body")) as bench:
        bench.set_limits(load_part("throttle-body").limits)
        bench.arm()
        run = bench.run(hold(0.6))
        with bench.raw("current_fine", 62_500) as stream:
            pieces: list[RawPiece] = []
            rows = []
            for chunk in run:
                rows.append(chunk)
                pieces += stream.ready()
    rows_a = np.concatenate(rows)["current_a"][-200:-60]
    raw_a = joined(pieces)[-200 * 62 : -60 * 62]
    assert raw_a.mean() == pytest.approx(rows_a.mean(), abs=0.03)


@pytest.mark.parametrize(
    "asked, true", [(125_000, 125_000), (100_000, 125_000), (50_000, 62_500), (1000, 1000)]
)
def test_rates_are_whole_shares(asked: int, true: int) -> None:
    with open_bench(sim=SimSpec("throttle-body")) as bench, bench.raw("supply", asked) as stream:
        began_s = bench.link.port.now()
        assert stream.rate_hz == true and stream.unit == "V"
        pieces: list[RawPiece] = []
        while bench.link.port.now() < began_s + 0.5:
            pieces += stream.ready(0.005)
        assert len(joined(pieces)) == pytest.approx(0.5 * true, rel=0.06)


class SlowPort(InProcessPort):
    """A link that takes ``room`` bytes per millisecond."""

    def __init__(self, spec: SimSpec, room: int) -> None:
        super().__init__(spec)
        self.room, self.left, self.tick = room, room, 0
        take_all = self.board.write

        def write(buf: object, n: int) -> int:
            if self.board.tick != self.tick:
                self.tick, self.left = self.board.tick, self.room
            n = min(n, self.left)
            self.left -= n
            return take_all(buf, n) if n else 0

        self.board.write = write  # type: ignore[method-assign]


def test_a_link_too_slow_loses_counted_readings_and_no_row() -> None:
    bench = Bench(SlowPort(SimSpec("throttle-body"), 120), "slow", "inprocess")
    bench.link.request("stream", 1)
    with bench.raw("current_coarse", 125_000) as stream:
        pieces: list[RawPiece] = []
        while len(pieces) < 400:
            pieces += stream.ready(0.02)
        came = sum(len(piece.values) for piece in pieces)
        last = pieces[-1]
        assert stream.lost > 20_000 and stream.lost == stream.lost_on_bench == last.lost
        assert last.first_index + len(last.values) == came + stream.lost
    assert bench.status().counters["lost_rows"] == 0
    bench.close()


@pytest.mark.skipif(not shutil.which("micropython", path=PATH), reason="no MicroPython interpreter installed")
def test_both_interpreters_stream_the_same() -> None:
    found = []
    for engine in ("inprocess", "micropython"):
        with open_bench(sim=SimSpec("throttle-body", engine=engine)) as bench:
            with bench.raw("current_coarse", 31_250) as stream:
                pieces: list[RawPiece] = []
                while len(pieces) < 30:
                    pieces += stream.ready(0.02)
            found.append(joined(pieces[:30]))
    assert np.array_equal(*found)


def test_what_cannot_be_is_said_plainly() -> None:
    with open_bench(sim=SimSpec("throttle-body")) as bench:
        with pytest.raises(UsageError, match="no stream of 'sensor_a'"):
            bench.raw("sensor_a")
        with pytest.raises(UsageError, match="cannot be"):
            bench.raw("supply", 0)
        with pytest.raises(Refused) as refused:
            bench.link.request("raw", 7, 1000, answer="raw_begun")
        assert refused.value.code == faults.OUT_OF_RANGE


def test_two_codes_lie_in_three_bytes() -> None:
    # the example of docs/protocol.md
    assert unpacked(bytes.fromhex("fff77f018008")).tolist() == [0x7FF, 0x7FF, 0x001, 0x088]
