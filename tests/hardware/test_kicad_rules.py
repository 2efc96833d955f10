"""The rules of the circuit hold, and each rule notices when its reason is taken away."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from strokefw.pico import pins

from hardware.checks.netlist import parse_ohm
from hardware.checks.rules import RULES, all_problems
from tests.hardware.kicad_support import FOLDERS, Damage, committed


@pytest.mark.parametrize("folder", FOLDERS)
def test_committed_netlist_obeys_every_rule(folder: str) -> None:
    assert all_problems(committed(folder)) == []


def test_the_four_bridge_gates_are_among_those_checked() -> None:
    sound = committed("kicad")
    gates = {name for name, nodes in sound.nets.items() if any(p.function == "G" for p in nodes)}
    assert {"AH_GATE", "AL_GATE", "BH_GATE", "BL_GATE"} <= gates


def test_pin_table_is_complete() -> None:
    numbers = [row[0] for row in pins.TABLE]
    names = [row[1] for row in pins.TABLE] + list(pins.CONVERTER)
    assert len(set(numbers)) == len(numbers) and len(set(names)) == len(names)
    # RP2040 data sheet: GPIO23-25 and 29 stay on the Pico itself, converters 0-2 are GPIO26-28
    assert set(numbers) <= set(range(23)) | {26, 27, 28}
    assert [pins.gpio(n) for n in ("I_COARSE", "I_FINE", "BUS_SENSE")] == [26, 27, 28]
    with pytest.raises(KeyError):
        pins.gpio("NO_SUCH_NET")


def test_legs_share_a_pwm_slice() -> None:
    """RP2040 data sheet 4.5.2: slice = (gpio >> 1) & 7, channel = gpio & 1."""
    for leg in "AB":
        high, low = pins.gpio(f"{leg}_HIGH"), pins.gpio(f"{leg}_LOW")
        assert (high >> 1) & 7 == (low >> 1) & 7
        assert (high & 1, low & 1) == (0, 1)


@pytest.mark.parametrize(
    ("text", "ohm"), [("4k7", 4700), ("15R", 15), ("33R 5W", 33), ("1 mOhm", 1e-3), ("1M", 1e6)]
)
def test_resistor_values_are_read(text: str, ohm: float) -> None:
    assert parse_ohm(text) == pytest.approx(ohm)
    with pytest.raises(ValueError, match="resistor"):
        parse_ohm("100n")


Spoil = Callable[[Damage], None]
DAMAGES: list[tuple[str, str, Spoil, str]] = [
    (
        "gates",
        "series resistor bridged",
        lambda d: d.remove(d.resistor("AH_GATE", "Net-(U205-OUTA)")),
        "AH_GATE",
    ),
    ("gates", "high-side bleed gone", lambda d: d.remove(d.resistor("BH_GATE", "LEG_B_SW")), "BH_GATE"),
    (
        "gates",
        "high-side bleed too strong",
        lambda d: d.value(d.resistor("AH_GATE", "LEG_A_SW"), "10k"),
        "below",
    ),
    ("gates", "low-side bleed gone", lambda d: d.remove(d.resistor("AL_GATE", "GND")), "AL_GATE"),
    ("gates", "driver straight at the gate", lambda d: d.move("U205", "15", "AH_GATE"), "chip sits directly"),
    (
        "gates",
        "precharge transistor floats",
        lambda d: d.remove(d.resistor("PRECHARGE_ON", "GND")),
        "PRECHARGE_ON",
    ),
    ("pin_table", "two gate inputs swapped", lambda d: d.move("A601", "4", "A_LOW"), "GPIO2"),
    ("pin_table", "pin not connected", lambda d: d.lift("A601", "20"), "GPIO15"),
    ("converter", "channel on another net", lambda d: d.move("U406", "1", "SENSOR_B"), "CH0"),
    (
        "rest_levels",
        "gate input without pull-down",
        lambda d: d.remove(d.resistor("A_HIGH", "GND")),
        "A_HIGH",
    ),
    (
        "rest_levels",
        "chip select without pull-up",
        lambda d: d.remove(d.resistor("CONV_CS_N", "+3V3")),
        "CONV_CS",
    ),
    ("order_numbers", "number missing", lambda d: d.blank("R101", "MPN"), "R101"),
    ("order_numbers", "no second source", lambda d: d.blank("Q301", "MPN2"), "Q301"),
    ("footprints", "footprint missing", lambda d: d.footprint("C301", ""), "C301"),
    ("lonely", "net with one pin", lambda d: d.move("C301", "1", "LOST"), "LOST"),
    (
        "enable",
        "one hard comparator left",
        lambda d: [d.lift("U404", n) for n in ("1", "7", "8", "14")],
        "hard comp",
    ),
    ("enable", "latch not cleared", lambda d: d.lift(d.at("HARD_N", "74HC74").ref, "1"), "does not clear"),
    ("enable", "no supervisor", lambda d: d.remove("U201"), "supervisor"),
    ("enable", "Pico can hold the trip line", lambda d: d.move("A601", "21", "HARD_N"), "microcontroller"),
    ("enable", "heat switch bypassed", lambda d: d.move("R201", "1", "+3V3"), "heat switch"),
    ("enable", "watchdog skipped", lambda d: d.move("U204", "13", "LATCH_OK"), "enable gate"),
    ("enable", "latch skipped in main switch", lambda d: d.move("U204", "4", "WATCHDOG_OK"), "MAIN_ON"),
    ("enable", "one-shot not fed", lambda d: d.lift("U203", "2"), "watchdog"),
    ("enable", "stop loop bypassed", lambda d: d.move("Q201", "2", "GND"), "emergency stop"),
    ("enable", "stop connector missing", lambda d: d.remove("J504"), "emergency stop"),
    (
        "enable",
        "drivers enabled by default",
        lambda d: d.remove(d.resistor("DRIVER_DISABLE", "+3V3")),
        "pull-up",
    ),
    ("enable", "leg B cannot be disabled", lambda d: d.move("U206", "5", "GND"), "U206"),
    ("enable", "PIO does not see the trip", lambda d: d.lift("A601", "10"), "TRIP_N"),
    ("enable", "only one sign of current", lambda d: d.lift("U405", "7"), "TRIP_N"),
    ("enable", "legs not watched", lambda d: d.lift("U305", "1"), "supply current"),
    ("enable", "trip line hangs on another rail", lambda d: d.move("R414", "1", "+3V3"), "no trip"),
    ("enable", "latch hangs on another rail", lambda d: d.move("R228", "1", "+3V3"), "stay set"),
    ("enable", "level from the Pico's own rail", lambda d: d.move("R409", "1", "TRIP_LEVEL"), "scaled"),
    ("enable", "stop loop to ground", lambda d: d.move("R514", "1", "GND"), "not fed"),
    ("port", "line without suppressor", lambda d: d.remove("D605"), "SIGNAL_IN: no suppressor"),
    ("port", "fuse bridged", lambda d: d.move("R615", "2", "SIGNAL_OUT"), "no resistor behind the fuse"),
    ("port", "driver straight at the line", lambda d: d.move("U601", "5", d.net.net_of("Q601", "3")), "back"),
    ("port", "diode bridged", lambda d: d.move("D602", "1", d.net.net_of("R614", "2")), "feeds the port"),
    ("port", "sender on the raw supply", lambda d: d.move("JP603", "1", "VPROT"), "above 12 V"),
    ("port", "read straight", lambda d: d.value("R619", "1k"), "Schmitt"),
    ("port", "no clamp", lambda d: d.remove("D607"), "no clamp"),
    ("port", "pull-up without diode", lambda d: d.move("R618", "1", "+5V"), "feed the 5 V"),
    ("enable", "open stop loop floats", lambda d: d.remove("R512"), "gate low"),
]


@pytest.mark.parametrize(
    ("rule", "what", "spoil", "says"), DAMAGES, ids=[f"{r}: {w}" for r, w, _, _ in DAMAGES]
)
def test_damage_to_the_reference_bench_is_noticed(rule: str, what: str, spoil: Spoil, says: str) -> None:
    damage = Damage(committed("kicad"))
    spoil(damage)
    assert any(says in text for text in RULES[rule](damage.net)), what


SMALL: list[tuple[str, str, Spoil, str]] = [
    ("enable", "half-bridge A ignores the line", lambda d: d.move("U301", "6", "GND"), "INH"),
    ("gates", "main switch without bleed", lambda d: d.remove("R103"), "no bleed"),
    ("pin_table", "half-bridge on the wrong pin", lambda d: d.move("A601", "6", "A_LOW"), "GPIO4"),
]


@pytest.mark.parametrize(("rule", "what", "spoil", "says"), SMALL, ids=[f"{r}: {w}" for r, w, _, _ in SMALL])
def test_damage_to_the_small_bench_is_noticed(rule: str, what: str, spoil: Spoil, says: str) -> None:
    damage = Damage(committed("kicad_small"))
    spoil(damage)
    assert any(says in text for text in RULES[rule](damage.net)), what


def test_every_rule_has_a_damage() -> None:
    assert {rule for rule, *_ in DAMAGES} == set(RULES)


def test_strap_tells_the_boards_apart() -> None:
    for folder, rail in (("kicad", "GND"), ("kicad_small", "+3V3")):
        assert [other for _, other in committed(folder).resistors("BOARD_KIND")] == [rail]
