"""The beginner's bench: table, drawing, stripboard, figures and decks agree, and its stop button stops."""

from __future__ import annotations

import copy
import subprocess

import pytest
from strokebench.bench import budget as host_budget
from strokebench.bringup.steps import load_steps
from strokebench.diagnose import volts as diagnose_volts
from strokebench.sim.board import as_built
from strokebench.sim.plants.stage import BEGINNER
from strokefw import channels
from strokefw.guard import limits
from strokefw.pico import pins
from strokefw.tick import check

from hardware.beginner import __main__ as maker
from hardware.beginner import bill, budget, decks, strip, values
from hardware.beginner.parts import PARTS, nets
from hardware.checks.netlist import Netlist, parse_ohm
from hardware.spice import runner
from hardware.twin.deck import moved
from tests.hardware.kicad_support import needs_kicad

needs_spice = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
UNUSED = {
    "UART_TX", "UART_RX", "LATCH_ARM", "PRECHARGE", "A_LOW", "B_LOW", "NTC_SELECT", "CHOPPER_ON",
    "CONV_DOUT", "CONV_CS_N", "CONV_CLK", "CONV_DIN",
}  # fmt: skip
"""Pins of the firmware that this bench leaves open: no serial option, latch, switched precharge, converter,
thermistors, chopper; its modules need one drive input each."""
OTHER = {"ESTOP_OPEN": "STOP_OK", "I_FINE": "SENSOR_A"}
"""Pins with another meaning, see firmware/strokefw/pico/pins.py."""
KIND = 4


def drawn() -> Netlist:
    return decks.drawn()


def value(ref: str) -> str:
    return next(part.value for part in PARTS if part.ref == ref)


def expected(step: str) -> tuple[float | None, float | None]:
    found = next(s for s in load_steps() if s.id == step).expected("beginner")
    assert found is not None
    return found.bounds


# -- drawing -------------------------------------------------------------------------------------------------


def test_what_is_committed_is_what_the_table_gives() -> None:
    for path, text in maker.plain_files().items():
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: run python -m hardware.beginner"


@needs_kicad
def test_kicad_finds_no_error_and_exports_the_committed_netlist() -> None:
    sheet = maker.FOLDER / "beginner.kicad_sch"
    subprocess.run(
        ["kicad-cli", "sch", "erc", "--exit-code-violations", "--severity-all", "-o", "-", str(sheet)],
        check=True, capture_output=True,
    )  # fmt: skip
    made = maker.export.netlist_text(sheet)
    assert made == (maker.FOLDER / "exports/beginner.net").read_text(encoding="utf-8")


def test_the_netlist_is_the_table() -> None:
    found = {
        name: sorted((pin.ref, pin.number) for pin in members)
        for name, members in drawn().nets.items()
        if not name.startswith("unconnected-")
    }
    assert found == {name: sorted(members) for name, members in nets().items()}
    assert all(len(members) > 1 for members in found.values())


def test_every_pin_of_the_pico_is_the_firmwares_or_left_open() -> None:
    found = {}
    for function, net in drawn().by_function("A1").items():
        if function.startswith("GPIO"):
            found[int(function[4:])] = net
    for number, name, *_ in pins.TABLE:
        if name in UNUSED:
            assert found[number].startswith("unconnected-"), name
        else:
            assert found[number] == OTHER.get(name, name)


def test_there_are_few_pieces_on_the_board() -> None:
    assert len([part for part in PARTS if part.box and part.box != "pico"]) <= 36


def test_nothing_conducts_while_the_pico_is_in_reset() -> None:
    array = set(drawn().pins_of("RN1").values())
    assert {"A_HIGH", "B_HIGH", "BRIDGE_ENABLE", "GND"} <= array
    for net in ("MODULES_ON", "STOP_OK"):
        assert "GND" in {other for _, other in drawn().resistors(net)}
    # and without an edge at WATCHDOG neither the modules nor the relay can be on
    assert drawn().pins_of("U3")["2"] == "WATCHDOG" and drawn().pins_of("U3")["13"] == "LATCH_OK"


def test_the_strap_ties_the_kind_to_the_lamp() -> None:
    assert {(part.value, other) for part, other in drawn().resistors("BOARD_KIND")} == {("10k", "LED")}


def must_say_yes(netlist: Netlist, gate: tuple[str, ...], out: str) -> set[str]:
    """What stands in the way of a gate's output: its inputs, and what clears the watchdog."""
    pads = netlist.pins_of("U4")
    shot = netlist.pins_of("U3")
    found = {pads[pad] for pad in gate}
    clears = {other for _, other in netlist.resistors(shot["3"])}
    if shot["13"] in found and "STOP_12V" in clears:
        found.add("stop button")
    return found if pads[out] else set()


ON, MAIN = ("1", "2", "13"), ("3", "4", "5")
YES = {"BRIDGE_ENABLE", "TRIP_N", "LATCH_OK", "stop button"}


def test_firmware_fast_limit_watchdog_and_stop_must_all_say_yes() -> None:
    assert must_say_yes(drawn(), ON, "12") == YES and drawn().pins_of("U4")["12"] == "MODULES_ON"
    assert must_say_yes(drawn(), MAIN, "6") == {"MAIN_SWITCH", "LATCH_OK", "stop button"}
    assert {drawn().pins_of(ref)["5"] for ref in ("M1", "M2")} == {"MODULES_ON"}
    assert must_say_yes(moved(drawn(), "U4", "2", "+3V3A"), ON, "12") == YES - {"TRIP_N"} | {"+3V3A"}
    assert "stop button" not in must_say_yes(moved(drawn(), "U3", "3", "+3V3A"), ON, "12")


# -- figures -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", host_budget.default_budget(few=True))
def test_the_librarys_uncertainties_are_the_derived_ones(name: str) -> None:
    channel = host_budget.budget(10, few=True).channels[name]
    found = (channel.offset, channel.gain, channel.linearity, channel.noise)
    assert found == pytest.approx(budget.channels()[name].standard(), rel=0.06)


def test_values_of_the_drawing_are_those_of_the_calculation() -> None:
    assert parse_ohm(value("R2")) == values.PRECHARGE_OHM and parse_ohm(value("R3")) == values.BLEED_OHM
    assert (parse_ohm(value("R16")), parse_ohm(value("R17"))) == values.DIVIDER_OHM
    assert (parse_ohm(value("R12")), parse_ohm(value("R13"))) == values.STOP_OHM
    assert parse_ohm(value("R18")) == values.SENSOR_OHM and value("R4") == "10 mOhm"
    assert channels.FINER[KIND] == round(values.SHUNT_OHM / 1e-3)
    top, bottom = values.DIVIDER_OHM
    assert 3300 * (top + bottom) / bottom == pytest.approx(channels.SUPPLY_FULL_MV, rel=1e-3)
    most = limits.ABSOLUTE[KIND]
    assert (most.current_max_ma, most.current_mean_ma) == (1000 * values.PEAK_A, 1000 * values.MEAN_A)
    assert values.MEAN_A / values.FUSE_A <= 0.8
    assert values.top_a() > values.PEAK_A + 2.0


def test_the_simulated_bench_is_this_one() -> None:
    assert BEGINNER.precharge_ohm == values.PRECHARGE_OHM and BEGINNER.bus_f == values.BULK_F
    assert 2 * BEGINNER.fet_ohm == pytest.approx(values.MODULE_OHM)
    assert BEGINNER.shunt_ohm == values.SHUNT_OHM
    assert BEGINNER.hard_trip_a == pytest.approx(values.top_a(), abs=0.3)
    assert pytest.approx(as_built.LATE_SHARE) == values.DUTY_S / values.PERIOD_S
    assert pytest.approx(values.SHUNT_OHM + values.MODULE_OHM / 2) == diagnose_volts.OUTPUT_OHM


def test_the_stop_button_is_seen_from_9_to_16_volts() -> None:
    assert values.stop_v(9.0) > values.REFERENCE_V * 0.7  # the limit of an HC input's data sheet
    assert values.stop_v(16.0) < values.REFERENCE_V + 1.0
    assert (values.stop_v(16.0) - 3.8) / values.STOP_OHM[0] < 0.1e-3  # through an input's diode
    assert values.stop_least_v() < 8.0


def test_the_self_test_would_go_on_with_a_healthy_board() -> None:
    assert 10.9 < 12 * values.rest_share(12.0) < 11.5  # test point 3
    assert 16 * values.rest_share(16.0) < 17.0


def test_the_bring_up_expects_what_the_calculation_gives() -> None:
    low, high = expected("precharge_ohm")
    assert low is not None and high is not None
    assert low < 0.95 * values.PRECHARGE_OHM and 1.05 * values.PRECHARGE_OHM < high < 80
    table = {name: parts.standard() for name, parts in budget.channels().items()}
    offset, gain, linearity, _ = table["supply_v"]
    u = (offset**2 + linearity**2 + (12.6 * gain) ** 2) ** 0.5
    assert expected("bus_v")[1] == pytest.approx(3 * u, rel=0.05)
    offset, gain, linearity, _ = table["sensor_a_v"]
    assert expected("sensor_low_v")[1] > 3 * (offset**2 + linearity**2) ** 0.5
    assert expected("sensor_high_v")[0] == pytest.approx(5 - 3 * (5 * gain + linearity), abs=0.03)
    offset, _, linearity, _ = table["current_coarse_a"]
    assert expected("current_coarse_zero_a")[1] == pytest.approx(
        3 * (offset**2 + linearity**2) ** 0.5, rel=0.05
    )
    assert expected("supply_held")[0] > check.HELD_LOW
    charge_s = values.PRECHARGE_OHM * values.BULK_F * 2.303
    assert 1.2 * charge_s < expected("charged_s")[1] < 2.5 * charge_s


def test_the_bill_has_every_part_and_a_price() -> None:
    assert sum(len(refs.split()) for refs, *_ in bill.lines()) == len(PARTS)
    assert 40 < bill.total_euro() < 100 and all(part.euro > 0 and part.why for part in PARTS)


# -- stripboard ----------------------------------------------------------------------------------------------


def as_nets(made: strip.Board) -> set[frozenset[tuple[str, str]]]:
    """What copper and wires join, without the chips' open pins."""
    real = {pin for members in nets().values() for pin in members}
    return {frozenset(group & real) for group in strip.connected(made).values() if group & real}


def wanted() -> set[frozenset[tuple[str, str]]]:
    """Nets that come onto the board."""
    made = strip.board()
    here = set(made.at)
    return {frozenset(members) for members in nets().values() if here & set(members)}


def test_the_stripboard_joins_what_the_drawing_joins_and_nothing_else() -> None:
    assert as_nets(strip.board()) == wanted()


def test_a_forgotten_wire_a_forgotten_cut_and_a_wrong_hole_are_noticed() -> None:
    for spoil in ("wire", "cut", "hole"):
        made = copy.deepcopy(strip.board())
        if spoil == "wire":
            made.wires.pop()
        elif spoil == "cut":
            made.cuts.remove(min(made.cuts))
        else:
            made.at["R10", "1"], made.at["R11", "1"] = made.at["R11", "1"], made.at["R10", "1"]
        assert as_nets(made) != wanted(), spoil


def test_every_hole_has_one_leg_and_no_part_is_forgotten() -> None:
    made = strip.board()
    holes = [*made.at.values(), *(h for a, b, _ in made.wires for h in (a, b)), *(h for h, *_ in made.leads)]
    assert len(set(holes)) == len(holes) and not set(holes) & made.cuts
    on_board = {ref for ref, _ in made.at}
    assert on_board == {part.ref for part in PARTS if part.box} == set(strip.places())


def test_few_wires_few_cuts_and_short_wires() -> None:
    made = strip.board()
    assert len(made.wires) <= 45 and len(made.cuts) <= 75
    assert sum(abs(a[0] - b[0]) + abs(a[1] - b[1]) for a, b, _ in made.wires) / len(made.wires) < 8


def test_the_page_has_the_counts_of_the_board() -> None:
    made, page = strip.board(), (maker.ROOT / "docs/beginners-bench.md").read_text(encoding="utf-8")
    pieces = sum(1 for part in PARTS if part.box and part.box != "pico")
    assert f"all {len(made.cuts)} cuts, {len(made.wires)} wires and {len(made.leads)} leads" in page
    assert f"there are {pieces} pieces" in page and f"about {bill.total_euro():.0f} euro" in page
    costs = (maker.ROOT / "docs/what-it-costs.md").read_text(encoding="utf-8")
    assert f"cut {len(made.cuts)} places, solder {pieces} pieces and {len(made.wires)} wires" in costs


def test_what_has_to_be_near_is_near() -> None:
    """Decoupling within 1.5 cm of its chip, the filter of a converter's input within 3 cm of the Pico."""
    made = strip.board()

    def holes_between(a: str, b: str) -> int:
        ends = [[hole for (ref, _), hole in made.at.items() if ref == name] for name in (a, b)]
        return min(max(abs(x[0] - y[0]), abs(x[1] - y[1])) for x in ends[0] for y in ends[1])

    assert all(holes_between(a, b) <= 6 for a, b in (("C7", "U1"), ("C8", "U3"), ("C8", "U4"), ("C10", "U2")))
    assert all(holes_between(a, "A1") <= 12 for a in ("C5", "C6"))


# -- decks ---------------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize("volts", [values.SUPPLY_V, values.SUPPLY_MAX_V])
@pytest.mark.parametrize("sign", [1, -1])
def test_touching_leads_are_cut_without_the_pico(sign: int, volts: float) -> None:
    found = decks.touch_leads(sign, volts=volts)
    assert found["steady_a"] == pytest.approx(3.0, rel=0.02)
    assert 0 < found["off_s"] - 20e-6 < 1.1 * values.late_s()
    assert 30 < found["peak_a"] < values.short_a(volts=volts)


@needs_spice
def test_the_stop_button_ends_the_drive_and_opens_the_relay() -> None:
    found = decks.press_stop()
    assert found["before_a"] == pytest.approx(3.0, rel=0.05)
    assert found["off_s"] - decks.STOP_AT_S < 1e-3
    assert found["load_end_a"] < 1e-3 and found["stop_end_v"] < 0.5 and found["on_end_v"] < 0.1
    assert found["open_s"] - decks.STOP_AT_S < 0.02


@needs_spice
@pytest.mark.parametrize("volts", [values.SUPPLY_V, values.SUPPLY_MAX_V])
def test_without_d4_the_capacitors_would_hold_relay_and_drive(volts: float) -> None:
    found = decks.press_stop(moved(drawn(), "R2", "1", "STOP_12V"), volts)
    assert found["coil_end_a"] > 0.03 and found["load_end_a"] > 2.5
    assert decks.press_stop(volts=volts)["load_end_a"] < 1e-3


@needs_spice
@pytest.mark.parametrize(("lose", "at_s", "within_s"), [("usb", 20e-3, 5e-3), ("pico", 20e-3, 12e-3)])
def test_without_usb_or_signs_of_life_everything_is_off(lose: str, at_s: float, within_s: float) -> None:
    found = {"usb": decks.lose_usb, "pico": decks.lose_pico}[lose]()
    assert found["before_a"] == pytest.approx(3.0, rel=0.05)
    assert 0 < found["off_s"] - at_s < within_s
    assert found["on_end_v"] < 0.1 and found["load_end_a"] < 1e-3 and found["coil_end_a"] < 1e-3


@needs_spice
def test_a_battery_turned_round_moves_nothing() -> None:
    found = decks.turned_round()
    assert (
        abs(found["bus_end_v"]) < 0.1 and abs(found["stop_end_v"]) < 0.2 and abs(found["coil_end_a"]) < 1e-3
    )
