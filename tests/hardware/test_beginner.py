"""The beginner's bench: table, drawing, stripboard, figures and decks agree, and its stop button stops."""

from __future__ import annotations

import copy
import subprocess

import pytest
from strokebench.bench import budget as host_budget
from strokebench.bringup.steps import load_steps
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
UNUSED = {"UART_TX", "UART_RX", "LATCH_ARM", "PRECHARGE"}
"""Pins of the firmware that this bench leaves open: no serial option, no latch, no switched precharge."""
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
        elif name == "CHOPPER_ON":
            assert found[number] == "GND"
        else:
            assert found[number] == name
    assert [drawn().by_function("U3")[f"CH{i}"] for i in range(8)] == list(pins.CONVERTER)


def test_nothing_conducts_while_the_pico_is_in_reset() -> None:
    array = set(drawn().pins_of("RN1").values())
    low = {"A_HIGH", "A_LOW", "B_HIGH", "B_LOW", "BRIDGE_ENABLE", "WATCHDOG", "MAIN_SWITCH", "TRIP_LEVEL"}
    assert array == low | {"GND"}
    ends = {(net, other) for net in ("A_EN", "B_EN", "DISABLE") for _, other in drawn().resistors(net)}
    assert {("A_EN", "GND"), ("B_EN", "GND"), ("DISABLE", "+3V3A")} <= ends


def test_the_strap_ties_the_kind_to_the_lamp() -> None:
    assert {(part.value, other) for part, other in drawn().resistors("BOARD_KIND")} == {("10k", "LED")}


def must_say_yes(netlist: Netlist) -> set[str]:
    """What stands in the way of the modules' enable inputs."""
    gates = netlist.pins_of("U6")
    nor = netlist.pins_of("U7")
    found = {gates[pad] for pad in ("1", "2", "13")} if gates["12"] == netlist.pins_of("R15")["1"] else set()
    stop = netlist.pins_of("Q1")["3"] == netlist.pins_of("Q2")["1"] and netlist.pins_of("Q2")["3"] == "GND"
    if stop and netlist.pins_of("R18")["1"] == "STOP_12V":
        found.add("stop button")
    if {nor["6"], nor["12"]} != {"DISABLE"} or netlist.pins_of("Q1")["1"] != "DISABLE":
        found.clear()
    return found


YES = {"BRIDGE_ENABLE", "TRIP_N", "LATCH_OK", "stop button"}


def test_firmware_fast_limit_watchdog_and_stop_must_all_say_yes() -> None:
    assert must_say_yes(drawn()) == YES
    assert must_say_yes(moved(drawn(), "U6", "2", "+3V3A")) == YES - {"TRIP_N"} | {"+3V3A"}
    assert "stop button" not in must_say_yes(moved(drawn(), "Q1", "3", "GND"))
    assert drawn().pins_of("U5")["13"] == "LATCH_OK" and drawn().pins_of("U5")["2"] == "WATCHDOG"


# -- figures -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", host_budget.default_budget())
def test_the_librarys_uncertainties_are_the_derived_ones(name: str) -> None:
    channel = host_budget.budget(10, plain=True).channels[name]
    found = (channel.offset, channel.gain, channel.linearity, channel.noise)
    assert found == pytest.approx(budget.channels()[name].standard(), rel=0.06)


def test_values_of_the_drawing_are_those_of_the_calculation() -> None:
    assert parse_ohm(value("R2")) == values.PRECHARGE_OHM and parse_ohm(value("R3")) == values.BLEED_OHM
    assert (parse_ohm(value("R30")), parse_ohm(value("R31"))) == values.DIVIDER_OHM
    assert parse_ohm(value("R38")) == values.LEG_UP_OHM and value("R4") == "10 mOhm"
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


def test_the_self_test_would_go_on_with_a_healthy_board() -> None:
    assert values.rest_share(9.0) > 0.9 and 10.9 < 12 * values.rest_share(12.0) < 11.5  # test point 3
    assert check.FLOAT_LOW < 1000 * values.float_share() < check.FLOAT_HIGH


def test_the_bring_up_expects_what_the_calculation_gives() -> None:
    low, high = expected("precharge_ohm")
    assert low < 0.95 * values.PRECHARGE_OHM and 1.05 * values.PRECHARGE_OHM < high < 80
    low, high = expected("leg_a_permille")
    assert low < 1000 * values.float_share() < high
    offset, gain, linearity, _ = budget.channels()["output_a_v"].standard()
    u = (offset**2 + linearity**2 + (12.6 * gain) ** 2) ** 0.5
    assert expected("vin_v")[1] == pytest.approx(3 * u, rel=0.05)
    charge_s = values.PRECHARGE_OHM * values.BULK_F * 2.303
    assert 1.2 * charge_s < expected("charged_s")[1] < 2.5 * charge_s


def test_the_bill_has_every_part_and_a_price() -> None:
    assert sum(len(refs.split()) for refs, *_ in bill.lines()) == len(PARTS)
    assert 50 < bill.total_euro() < 150 and all(part.euro > 0 and part.why for part in PARTS)


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
            made.cuts.discard((0, strip.CHIPS["U3"][3]))
        else:
            made.at["R13", "1"], made.at["R14", "2"] = made.at["R14", "2"], made.at["R13", "1"]
        assert as_nets(made) != wanted(), spoil


def test_every_hole_has_one_leg_and_no_part_is_forgotten() -> None:
    made = strip.board()
    holes = [*made.at.values(), *(h for a, b, _ in made.wires for h in (a, b)), *(h for h, *_ in made.leads)]
    assert len(set(holes)) == len(holes) and not set(holes) & made.cuts
    on_board = {ref for ref, _ in made.at}
    assert on_board == {part.ref for part in PARTS if part.box}


# -- decks ---------------------------------------------------------------------------------------------------


@needs_spice
@pytest.mark.parametrize("sign", [1, -1])
def test_touching_leads_are_cut_without_the_pico(sign: int) -> None:
    found = decks.touch_leads(sign)
    assert found["steady_a"] == pytest.approx(3.0, rel=0.02)
    assert 0 < found["off_s"] - 20e-6 < 1.1 * values.late_s()
    assert 30 < found["peak_a"] < values.short_a(volts=values.SUPPLY_V)


@needs_spice
def test_the_stop_button_ends_the_drive_and_opens_the_relay() -> None:
    found = decks.press_stop()
    assert found["before_a"] == pytest.approx(3.0, rel=0.05)
    assert found["load_end_a"] < 1e-3 and found["stop_end_v"] < 0.5 and found["disable_end_v"] > 3
    assert found["open_s"] - decks.STOP_AT_S < 0.02


@needs_spice
def test_without_d4_the_capacitors_would_hold_relay_and_drive() -> None:
    found = decks.press_stop(moved(drawn(), "R2", "1", "STOP_12V"))
    assert found["coil_end_a"] > 0.03 and found["load_end_a"] > 2.5


@needs_spice
def test_without_usb_everything_is_off() -> None:
    found = decks.lose_usb()
    assert found["before_a"] == pytest.approx(3.0, rel=0.05)
    assert found["off_s"] - decks.USB_AT_S < 5e-3
    assert found["en_end_v"] < 0.1 and found["load_end_a"] < 1e-3 and found["coil_end_a"] < 1e-3
