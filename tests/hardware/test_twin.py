"""The circuit twin: decks follow the drawing, weaknesses show, and what revision 2 cured is cured."""

from __future__ import annotations

import copy
import dataclasses
from pathlib import Path

import numpy as np
import pytest

from hardware.checks.netlist import Netlist
from hardware.spice import runner
from hardware.twin import copper, legshort, models, page, points, pulses, switching, trip
from hardware.twin.deck import Deck, moved, netlist_of

ROOT = Path(__file__).parents[2]
needs_spice = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")


def with_value(netlist: Netlist, ref: str, value: str) -> Netlist:
    """A copy of the netlist in which a part has another value."""
    changed = copy.deepcopy(netlist)
    changed.parts[ref] = dataclasses.replace(changed.parts[ref], value=value)
    return changed


# -- decks ---------------------------------------------------------------------------------------------------


def test_a_deck_has_the_drawings_values_and_nets() -> None:
    drawn = netlist_of("reference")
    text = Deck("case", drawn).take("R305", "C301").text("", "x")
    assert "RR305 n_leg_a_sw n_net_c301_pad1 2.2" in text and "CC301 n_net_c301_pad1 0 1e-08" in text
    assert "RR305 n_leg_a_sw n_net_c301_pad1 4.7" in Deck("case", with_value(drawn, "R305", "4R7 1W")).take(
        "R305"
    ).text("", "x")
    assert "RR305 n_out_a " in Deck("case", moved(drawn, "R305", "1", "OUT_A")).take("R305").text("", "x")


def test_a_deck_names_what_it_leaves_out() -> None:
    deck = Deck("case", netlist_of("reference")).take("R305", "C301").without("the weather")
    assert {"R301", "Q301", "Q302"} <= set(deck.left_out()) and "R305" not in deck.left_out()
    head = deck.text("", "x").splitlines()[2:4]
    assert "Q301" in head[0] and head[1] == "* left out: the weather"


def test_the_twin_does_not_guess_what_a_part_is() -> None:
    drawn = netlist_of("reference")
    for ref, value in (("Q301", "IRFZ44N"), ("D101", "1N4007")):
        with pytest.raises(models.NoModel, match=ref):
            Deck("case", with_value(drawn, ref, value)).take(ref)
    with pytest.raises(models.NoModel, match="U401"):
        Deck("case", drawn).take("U401")


# -- the bridge ----------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.slow
def test_snubbers_sit_at_the_legs_and_leave_the_sense_pair_alone() -> None:
    """37 A on 1 mOhm: 37 mV; behind 5 nH of shunt the snubbers put volts onto it."""
    today, before = switching.run(5), switching.run(5, at_leg=False)
    assert 0.030 < today["sense_low_v"] < today["sense_high_v"] < 0.045
    # at the chips, leads of 24 nH included: four fifths of 60 V. Behind them, at the board, it was below 40 V
    assert max(today["low_v"], today["high_v"]) < 48
    assert today["monitor_a"] < 80, "ordinary switching stays clear of the monitor's 120 A"
    assert before["sense_high_v"] > 1 and before["sense_low_v"] < -1


def test_the_decks_take_the_copper_of_the_routed_board(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loops and resistance come from figures.json; another board would be another deck."""
    drawn = netlist_of("reference")
    legs = copper.low_nh("leg A")
    assert legs > copper.DRAIN_NH + copper.SOURCE_NH, "packages and copper"
    assert f" {legs:g}n ic=0" in switching.deck(drawn, 3)
    assert f"lshunt={copper.shunt_nh('leg B'):g}n" in legshort.deck("Q303")
    assert f"{6.6e-3 + copper.upstream_ohm():g}" in legshort.deck("Q303")
    before = switching.deck(drawn, 3), legshort.deck("Q303")
    longer = copy.deepcopy(copper._figures())
    for loop in longer["reference"]["loops_nh"].values():
        loop["source to ceramic"] += 10
    monkeypatch.setattr(copper, "_figures", lambda: longer)
    assert before[0] != switching.deck(drawn, 3) and before[1] != legshort.deck("Q303")


@needs_spice
@pytest.mark.slow
@pytest.mark.parametrize("shorted", ["Q301", "Q304"])
def test_a_leg_short_clears_the_latch_within_microseconds(shorted: str) -> None:
    """One high and one low MOSFET, one of each leg."""
    r = legshort.run(shorted)
    assert r["i2t_a2s"] < 5 and r["terminals_v"] < 20
    assert r["peak_a"] > 200, "a short it was"


@needs_spice
@pytest.mark.slow
def test_without_the_monitor_a_leg_short_would_break_the_input() -> None:
    r = legshort.run("Q302", monitor=False)
    assert r["i2t_a2s"] > 100 and r["terminals_v"] > 60 and r["suppressor_a"] > 39
    assert r["i2t_a2s"] < 6000 / 10, "the fuse does not help"


def test_the_monitor_shares_the_ladder_of_the_hard_trip() -> None:
    drawn = netlist_of("reference")
    amps = (legshort.threshold_v(drawn) - 1.65) / (20 * 0.5e-3)
    assert amps == pytest.approx(119.8, abs=0.2)
    comparators = [pin.ref for pin in drawn.nets["HARD_N"] if drawn.parts[pin.ref].value == "MCP6567"]
    assert comparators.count("U305") == 2, "either way, into the hard latch"


# -- thresholds ----------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize("bench", ["reference", "small"])
@pytest.mark.parametrize("pico_v", [3.2, 3.3])
def test_formulas_of_the_thresholds_agree_with_the_network(bench: str, pico_v: float) -> None:
    found = trip.spice_thresholds(3.0, pico_v, bench)
    nominal = [np.array([float(v)]) for v in (1e3, 100e3, 100e3)]
    level = np.array([(1.65 + trip.PER_A[bench] * 3.0) / 3.3 * pico_v])
    high, low = trip.thresholds(level, *nominal, np.array([1.65]), np.array([0.0]))
    assert found["high_v"] == pytest.approx(high[0], abs=2e-4)
    assert found["low_v"] == pytest.approx(low[0], abs=2e-4)


@pytest.mark.parametrize("bench", ["reference", "small"])
def test_the_limit_is_scaled_by_the_comparators_own_supply(bench: str) -> None:
    drawn = netlist_of(bench)
    assert trip.ratiometric(drawn, bench)
    first = moved(drawn, trip.refs(bench)[0], "1", "TRIP_LEVEL")
    assert not trip.ratiometric(first, bench)


def test_boards_trip_nearer_to_what_they_are_set_to_than_they_did() -> None:
    for bench, amps in (("reference", 3.0), ("small", 0.3)):
        now, before = (trip.cycle_limit(amps, bench, first)[0] for first in (False, True))
        assert now.high - now.low < 0.35 * (before.high - before.low)
        assert trip.at_zero(amps, bench) == 0.0 and trip.at_zero(amps / 3, bench, first=True) > 0.1


def test_fixed_thresholds_keep_clear_of_each_other() -> None:
    on, off = trip.chopper()
    assert off.low > 16.0 and on.high < 20.0, "above the working supply, below the over-voltage latch"
    assert trip.hard_trip("small").low > 5.0 * 1.1
    assert trip.watchdog().low > 0.005 and trip.watchdog().high < 0.015


# -- supply --------------------------------------------------------------------------------------------------


@needs_spice
def test_the_small_benchs_main_switch_gets_most_of_the_supply() -> None:
    assert points.small_main_switch(12.0)["gate_main_v"] > 9
    assert points.small_main_switch(8.0)["gate_main_v"] > 6


@needs_spice
def test_build_step_of_the_chopper_works_as_the_guide_says() -> None:
    assert points.fed_bus(18.0, 100.0)["bus_v"] < 13, "what the guide once said cannot reach the threshold"
    cycle = points.chopper_cycle(20.0, 10.0)
    on, off = trip.chopper()
    assert cycle["high_v"] == pytest.approx(on.middle, abs=0.05)
    assert cycle["low_v"] == pytest.approx(off.middle, abs=0.05)
    assert cycle["feed_a"] < 0.5


@needs_spice
def test_no_load_dump_is_survived_and_a_jump_start_is() -> None:
    gentlest = min(pulses.DUMPS, key=lambda dump: (dump[0], -dump[1], dump[2]))
    assert pulses.load_dump(*gentlest)["energy_j"] > pulses.RATED_J
    assert points.jump_start(26.0)["suppressor_w"] < 0.1
    assert pulses.hot_plug(14.4)["terminals_v"] < 30


def test_the_page_has_todays_figures() -> None:
    """The parts of the page that cost no simulation; the rest is made by the same command."""
    text = (ROOT / "docs" / "circuit-twin.md").read_text(encoding="utf-8")
    assert page.heat() in text and page.limits() in text
    assert "Nothing has been built" in text
