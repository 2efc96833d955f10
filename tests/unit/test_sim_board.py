"""The simulated board: converters, legs with good and broken MOSFETs, rail, bursts, link bytes, storage."""

from __future__ import annotations

from array import array

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError
from strokebench.sim.board.board import SimBoard, ntc_counts
from strokebench.sim.board.troubles import FETS, BenchFaults
from strokefw import channels as ch


def board_of(*bench_faults: str, ideal: bool = True, **spec: object) -> SimBoard:
    return SimBoard(SimSpec(bench_faults=bench_faults, **spec), ideal=ideal)  # type: ignore[arg-type]


def run(board: SimBoard, ticks: int) -> array[int]:
    counts = array("H", [0] * ch.N_CHANNELS)
    for _ in range(ticks):
        board.watchdog()
        board.step()
    board.scan(counts)
    return counts


def volts(count: int, full_mv: int = ch.SUPPLY_FULL_MV) -> float:
    return count * full_mv / ch.FULL_SCALE / 1000


def charged(*bench_faults: str, **spec: object) -> SimBoard:
    board = board_of(*bench_faults, **spec)
    board.rail(1)
    run(board, 1200)
    return board


def test_precharge_rises_with_its_time_constant() -> None:
    board = board_of(supply_v=12.0)
    board.rail(1)
    counts = run(board, 330)  # 33 ohm x 10 mF
    assert volts(counts[ch.BUS]) == pytest.approx(12.0 * 0.632, rel=0.02)
    assert volts(run(board, 1270)[ch.BUS]) > 0.9 * 12.0


def test_open_rail_leaves_the_bus_without_supply() -> None:
    board = charged()
    board.rail(0)
    full = volts(run(board, 1)[ch.BUS])
    assert volts(run(board, 5000)[ch.BUS]) < 0.85 * full
    assert volts(run(board, 1)[ch.VIN]) == pytest.approx(12.6, abs=0.02)


def test_floating_legs_share_the_bus() -> None:
    board = charged()
    counts = run(board, 1)
    for leg in (ch.LEG_A, ch.LEG_B):
        # 100 k up, 100 k down with the 207 k divider beside: 4.89 V at 12 V in the circuit's DC deck
        assert volts(counts[leg]) == pytest.approx(volts(counts[ch.BUS]) * 4.89 / 12, rel=0.005)


@pytest.mark.parametrize("fet", FETS)
def test_shorted_mosfet_pulls_both_legs_through_the_part(fet: str) -> None:
    counts = run(charged(f"mosfet_short_{fet}"), 1)
    expected = volts(counts[ch.BUS]) if fet[1] == "h" else 0.0
    assert volts(counts[ch.LEG_A]) == pytest.approx(expected, abs=0.02)
    assert volts(counts[ch.LEG_B]) == pytest.approx(expected, abs=0.02)


def test_shorted_mosfet_without_part_pulls_its_own_leg_only() -> None:
    counts = run(charged("mosfet_short_bh", faults=("open_winding",)), 1)
    assert volts(counts[ch.LEG_B]) > 10 > 6 > volts(counts[ch.LEG_A]) > 4


@pytest.mark.parametrize("fet", FETS)
def test_pulse_moves_the_legs_and_a_dead_mosfet_does_not(fet: str) -> None:
    leg, side = "ab".index(fet[0]), "lh".index(fet[1])
    for troubles, moves in ((), True), ((f"mosfet_open_{fet}",), False):
        board = charged(*troubles)
        board.pulse(leg, side, 1000)
        counts = run(board, 1)
        share = counts[(ch.LEG_A, ch.LEG_B)[leg]] / counts[ch.BUS]
        assert share == pytest.approx(side if moves else 0.4075, abs=0.01)
        assert run(board, 1)[ch.LEG_A] / counts[ch.BUS] == pytest.approx(0.4075, abs=0.01)


def test_pulse_against_a_short_pulls_the_bus_down() -> None:
    board = charged("mosfet_short_ah")
    before = volts(run(board, 1)[ch.BUS])
    board.pulse(0, 0, 500)
    assert volts(run(board, 1)[ch.BUS]) < 0.1 * before


def test_both_current_ranges_read_the_same_current() -> None:
    board = charged()
    board.rail(2)
    board.drive(1500, 1)
    counts = run(board, 100)
    coarse = (counts[ch.I_COARSE] - ch.MID_SCALE) * ch.COARSE_FULL_MA / ch.FULL_SCALE
    fine = (counts[ch.I_FINE] - ch.MID_SCALE) * ch.FINE_FULL_MA / ch.FULL_SCALE
    assert coarse == pytest.approx(board.plant.current_a * 1000, abs=3)
    assert fine == pytest.approx(board.plant.current_a * 1000, abs=0.4)


def test_fine_range_clips() -> None:
    board = charged(part="throttle-loh2013", supply_v=14.0)
    board.rail(2)
    board.drive(10000, 1)
    assert run(board, 200)[ch.I_FINE] == ch.FULL_SCALE


def test_noise_of_a_tick_is_that_of_its_mean() -> None:
    board = charged(ideal=False)
    counts = [run(board, 1)[ch.I_COARSE] for _ in range(400)]
    expected = 2.84 * 16 / 160**0.5  # 8.7 effective bits, 160 conversions
    assert np.std(counts) == pytest.approx(expected, rel=0.2)


def test_fast_converter_jumps_at_its_bad_codes() -> None:
    bend = board_of(ideal=False).converter.bend[ch.BUS]
    for code in (512, 1536, 2560, 3584):
        jump = abs(bend[code + 12] - bend[code - 12]) / 16
        assert 8 < jump < 12
        assert abs(bend[code + 300] - bend[code + 276]) / 16 < 0.5


def test_comparator_cuts_and_counts() -> None:
    board = charged()
    board.rail(2)
    board.trip_level(3000)
    board.drive(10000, 1)
    run(board, 300)
    assert board.plant.current_max_a <= 3.001
    assert board.trips() > 100
    assert board.trips() == 0


def test_dead_comparator_lets_it_through() -> None:
    board = charged("comparator_dead")
    board.rail(2)
    board.trip_level(3000)
    board.drive(10000, 1)
    run(board, 300)
    assert board.plant.current_max_a > 6
    assert board.trips() == 0


def test_shorted_leads_are_cut_every_cycle() -> None:
    board = charged("leads_shorted")
    board.rail(2)
    board.trip_level(20_000)
    board.drive(5000, 1)
    run(board, 3)
    # 12.6 V over 2 uH for the 1.7 us that the cut takes: about 10 A over the level, as the design note says
    assert board.plant.current_max_a == pytest.approx(20 + 10.7, rel=0.05)
    assert board.trips() >= 40
    assert 0 < board.plant.current_a < 45


def test_gates_fall_when_the_watchdog_starves() -> None:
    board = charged()
    board.rail(2)
    board.drive(5000, 1)
    run(board, 50)
    assert board.plant.current_a > 1
    for _ in range(30):
        board.step()
    assert board.plant.current_a == 0.0


def test_estop_cuts_without_firmware() -> None:
    board = charged("estop@1.3")
    board.rail(2)
    board.drive(5000, 1)
    run(board, 50)
    assert board.estop() == 0 and board.plant.current_a > 1
    run(board, 150)
    assert board.estop() == 1 and board.plant.current_a == 0.0


def test_supply_dips_and_comes_back() -> None:
    board = charged("supply=8.0@1.3+0.1")
    board.rail(2)
    seen = [volts(run(board, 50)[ch.VIN]) for _ in range(6)]
    assert min(seen) == pytest.approx(8.0, abs=0.05)
    assert seen[0] == pytest.approx(12.6, abs=0.05) == seen[-1]


def test_thermistors() -> None:
    assert ntc_counts(25.0) / ch.FULL_SCALE == pytest.approx(2.245 / 3.3, rel=1e-3)  # 10 k over 14.7 k
    assert ntc_counts(85.0) / ch.FULL_SCALE == pytest.approx(0.620 / 3.3, rel=2e-3)
    counts = run(board_of("heatsink_ntc_open", "part_ntc_short"), 20)
    assert counts[ch.NTC_HEATSINK] == ch.FULL_SCALE and counts[ch.NTC_PART] == 0


def test_burst_shows_the_pwm_ripple() -> None:
    board = charged(part="throttle-loh2013", supply_v=12.0, source_ohm=0.0, lead_ohm=0.0)
    board.rail(2)
    board.drive(2000, 1)
    run(board, 400)
    assert board.burst_start(ch.I_FINE, 500_000, 2000, 100) == 500_000
    run(board, 1)
    assert board.burst_ready() == 0
    board.burst_trigger()
    run(board, 5)
    assert board.burst_ready() == 1
    buf = bytearray(4000)
    assert board.burst_copy(0, buf) == 4000
    amps = (np.frombuffer(buf, "<u2").astype(float) - ch.MID_SCALE) * ch.FINE_FULL_MA / ch.FULL_SCALE / 1000
    # V D (1 - D) / (L f), the small-ripple formula; quantised to 4 mA and sampled 25 times a period
    assert np.ptp(amps) == pytest.approx(12 * 0.2 * 0.8 / (1.5e-3 * 20e3), rel=0.1)
    part = bytearray(200)
    assert board.burst_copy(1900, part) == 200 and part == buf[-200:]
    assert amps.mean() == pytest.approx(board.plant.current_a, abs=0.01)


def test_burst_keeps_what_came_before_the_trigger() -> None:
    board = charged()
    board.rail(2)
    rate = board.burst_start(ch.I_COARSE, 50_000, 500, 250)
    run(board, 10)
    board.burst_trigger()
    board.drive(10000, 1)
    run(board, 8)
    buf = bytearray(1000)
    board.burst_copy(0, buf)
    amps = (np.frombuffer(buf, "<u2").astype(float) - ch.MID_SCALE) * ch.COARSE_FULL_MA / ch.FULL_SCALE / 1000
    assert rate == 50_000 and abs(amps[:250]).max() < 0.1 and amps[260:].max() > 2


@pytest.mark.parametrize(
    "channel, rate, count", [(ch.SENSOR_A, 1000, 10), (ch.BUS, 10, 10), (ch.BUS, 1000, 100_000)]
)
def test_impossible_bursts_are_refused(channel: int, rate: int, count: int) -> None:
    board = board_of()
    assert board.burst_start(channel, rate, count, 0) == 0
    board.burst_trigger()
    assert board.burst_ready() == 0


def test_link_bytes_and_storage() -> None:
    board = board_of("link_silent@0.005")
    board.hear(b"abcdef")
    buf = bytearray(4)
    assert board.read(buf) == 4 and buf == b"abcd"
    assert board.read(buf) == 2 and buf[:2] == b"ef"
    assert board.write(memoryview(b"xyz"), 2) == 2 and board.to_host == b"xy"
    run(board, 6)
    board.hear(b"lost")
    assert board.read(buf) == 0
    assert board.load(0) is None
    board.store(0, b"cal")
    assert board.load(0) == b"cal"


def test_identity() -> None:
    board = board_of(seed=77)
    assert len(board.uid()) == 8 and board.uid() != board_of(seed=78).uid()
    assert board.kind() == 2 and board.reset_cause() == 0


@pytest.mark.parametrize(
    "text, says",
    [
        ("gremlins", "no trouble called"),
        ("supply", "needs a value"),
        ("supply=x", "malformed"),
        ("estop@-1", "impossible"),
        ("estop@1+0", "impossible"),
    ],
)
def test_bad_troubles_say_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        BenchFaults([text])
