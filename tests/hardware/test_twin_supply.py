"""Circuit twin: a vehicle's supply, lost rails, build steps, the signal port; true boards by Monte Carlo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from strokebench.sim.board import as_built

from hardware.calc import budget
from hardware.spice import runner
from hardware.twin import build, page, points, port, pulses, rails, sections, sense, trip, vehicle
from hardware.twin.deck import netlist_of

ROOT = Path(__file__).parents[2]
BENCHES = ("reference", "small")
needs_spice = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")


# -- what a vehicle does -------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize("bench", BENCHES)
@pytest.mark.parametrize("which", vehicle.PULSES, ids=lambda pulse: pulse.name[:2])
def test_pulses_stay_below_what_parts_bear(which: vehicle.Pulse, bench: str) -> None:
    """60 V MOSFETs, 50 V capacitors, 36 V of the 5 V module's input; the suppressor's joules."""
    r = vehicle.pulse(which, bench)
    assert r["rail_max_v"] < 45 and r["terminals_max_v"] < 45 and r["terminals_min_v"] > -45
    assert r["suppressor_j"] < pulses.RATED_J
    # the rail never goes below ground, whichever way the pulse goes
    assert r["rail_min_v"] > 0


@needs_spice
def test_cranking_lets_go_or_rides_through() -> None:
    names = {which.name: which for which in vehicle.CRANKS}
    assert vehicle.survives(vehicle.crank(names["I"], 2.0)) == "rides through"
    assert vehicle.survives(vehicle.crank(names["II"], 2.0)) == "the drivers let go of the gates"
    assert vehicle.survives(vehicle.crank(names["III"], 2.0)) == "the Pico restarts"


@needs_spice
def test_hot_plug_of_the_small_bench_stays_below_its_suppressor() -> None:
    assert pulses.hot_plug(14.4, "small")["terminals_v"] < 30


# -- rails ---------------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize(
    ("lost", "bench"),
    [(rail, "reference") for rail in rails.RAILS] + [(rail, "small") for rail in rails.RAILS[:3]],
    ids=lambda case: getattr(case, "node", case),
)
def test_a_lost_rail_opens_the_gates(lost: rails.Rail, bench: str) -> None:
    """The small bench's half-bridge chips make their own gate supply."""
    r = rails.lose(lost, bench)
    assert r["held_begin_v"] > 3 and r["held_end_v"] < 0.1
    assert 0 < r["after_s"] < 3e-3


@needs_spice
def test_gates_fall_while_the_logic_that_holds_them_is_still_sure() -> None:
    assert rails.lose(rails.RAILS[0])["rail_at_off_v"] > rails.VCCI_UVLO_V
    assert rails.lose(rails.RAILS[3])["rail_at_off_v"] == pytest.approx(rails.GATE_UVLO_V, abs=0.05)


@needs_spice
def test_what_the_page_admits_of_the_analog_rail() -> None:
    """The latch falls only when the amplifiers are long unsure: a limit, not a cure."""
    assert rails.lose(rails.RAILS[1])["rail_at_off_v"] < rails.AMPLIFIER_MIN_V


# -- build steps ---------------------------------------------------------------------------------------------


@needs_spice
def test_logic_comes_up_at_the_limits_that_the_guide_names() -> None:
    text = (ROOT / "docs" / "build.md").read_text(encoding="utf-8")
    assert build.start_logic(0.1, build.BARE_LOGIC_W)["five_v"] == pytest.approx(5)
    assert build.start_logic(0.1, points.LOGIC_W)["five_v"] < 4.9
    assert build.start_logic(0.3, points.LOGIC_W)["five_v"] == pytest.approx(5)
    assert "limit 0.1 A, on `VIN`" in text and "limit 0.3 A" in text


@needs_spice
def test_turned_leads_draw_nothing_without_the_wire() -> None:
    assert abs(build.reversed_leads(False)["feed_a"]) < 1e-3 < 1 < abs(build.reversed_leads(True)["feed_a"])


@needs_spice
def test_the_enable_chain_needs_the_loops_5_v() -> None:
    assert build.enable_chain(0.0, False)["disable_v"] > 3
    assert build.enable_chain(0.0, True)["disable_v"] > 3
    assert build.enable_chain(5.0, False)["disable_v"] > 3
    assert build.enable_chain(5.0, True)["disable_v"] < 0.1


@needs_spice
def test_gates_rest_and_the_bulk_precharges_as_the_guide_says() -> None:
    gates, main = build.gates_off(), build.close_main()
    assert max(gates.measures.values()) < 0.1
    assert main["ready_s"] < 1.2 and main["precharge_a"] < 0.4 and main["bridge_v"] > 11.9


# -- signal port ---------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize("bench", BENCHES)
def test_the_sender_has_square_edges_at_20_khz(bench: str) -> None:
    for volts in (5.0, 12.0):
        r = port.edges(volts, True, bench)
        assert r["high_v"] > 0.8 * volts and r["low_v"] < 0.1
        assert r["rise_us"] < 1 and r["fall_us"] < 1, "of a period of 50 us"
    drain = port.edges(12, False, bench)
    assert drain["low_v"] < 1 and drain["high_v"] > 11.9 and drain["rise_us"] < 5


@needs_spice
def test_24_v_on_either_line_break_nothing() -> None:
    low = port.supply_on_line(24, True)
    assert low["line_a"] < 0.7 and low["mosfet_w"] < 0.1, "until the resettable fuse opens"
    for volts in (24.0, -24.0):
        assert abs(port.supply_on_line(volts, False)["line_a"]) < 0.7
    assert abs(port.supply_on_line(24, False)["line_a"]) < 1e-3, "released or high: nothing flows"
    above = port.level(24)
    assert above["line_ma"] < 1 and above["seen_v"] < 5.5 and abs(above["five_ma"]) < 0.1
    assert port.jump_start(26)["sender_v"] < 13


@needs_spice
def test_the_reader_sees_sent_and_an_open_line_as_high() -> None:
    seen = port.delay()
    assert seen["low_v"] < port.SCHMITT_LOW_V and seen["high_v"] > port.SCHMITT_HIGH_V
    assert seen["fall_us"] < 3e-6 > seen["rise_us"], "within a tick of 3 us, and alike for each pulse"
    assert port.level(None)["seen_v"] > port.SCHMITT_HIGH_V


def test_the_port_is_on_the_serial_options_pins_of_both_benches() -> None:
    for bench in BENCHES:
        drawn = netlist_of(bench)
        assert {"J505", "JP601"} <= {pin.ref for pin in drawn.nets["UART_TX"]}
        assert {"J505", "R621"} <= {pin.ref for pin in drawn.nets["UART_RX"]}


# -- true boards ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bench", BENCHES)
def test_boards_measure_as_the_budget_says(bench: str) -> None:
    """JCGM 101: Monte Carlo against the formula; the amplifier's middle is not in the budget."""
    stated = budget.channels(sense.SHUNT_OHM[bench])
    for name, found in sense.channels(bench).items():
        offset, gain, _, _ = stated[name].standard()
        assert found.gain == pytest.approx(gain, rel=0.03), name
        assert 0.97 < found.offset / offset < 1.15, name


@pytest.mark.parametrize("bench", BENCHES)
def test_benches_as_built_have_the_twins_spread(bench: str) -> None:
    """Offsets, slope and watchdog of the simulated bench are those of the netlist's boards."""
    finer = 1 if bench == "reference" else 10
    drawn = [as_built.built(seed, finer, True) for seed in range(2000)]
    for amps in (3.0 / finer, 30.0 / finer):
        plus, minus = trip.cycle_limit(amps, bench)
        for sign, boards in (("plus_a", plus), ("minus_a", minus)):
            built = np.array([b.factor * amps + getattr(b, sign) for b in drawn])
            assert float(np.mean(built)) == pytest.approx(float(np.mean(boards.all)), abs=0.05 / finer)
            assert float(np.std(built)) == pytest.approx(float(np.std(boards.all)), rel=0.1)
    on, off = trip.chopper()
    assert float(np.mean([b.chopper_v for b in drawn])) == pytest.approx(
        (on.middle + off.middle) / 2, abs=0.02
    )
    ticks = [b.watchdog_ticks for b in drawn]
    assert (
        1000 * trip.watchdog(bench).low - 1 < min(ticks) <= max(ticks) < 1000 * trip.watchdog(bench).high + 1
    )


def test_the_page_has_todays_figures_of_what_costs_no_simulation() -> None:
    text = (ROOT / "docs" / "circuit-twin.md").read_text(encoding="utf-8")
    assert sections.measuring() in text and page.became() in text


def test_no_chopper_and_no_spread_where_there_is_none() -> None:
    assert as_built.built(1, 10, False).chopper_v == 0.0
    assert as_built.Built().watchdog_ticks == 10 and as_built.Built().factor == 1.0
