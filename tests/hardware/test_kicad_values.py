"""Values drawn in the schematic are those that hardware/calc and hardware/spice compute with."""

from __future__ import annotations

import pytest

from hardware.calc import design
from hardware.checks.netlist import Netlist, parse_ohm
from tests.hardware.kicad_support import committed


@pytest.fixture(scope="module")
def drawn() -> Netlist:
    return committed("kicad")


def between(drawn: Netlist, net: str, other: str) -> list[float]:
    """Ohm of every resistor between two nets (sheet paths left out)."""
    full = next(name for name in drawn.nets if name.rsplit("/", 1)[-1] == net)
    return [parse_ohm(r.value) for r, end in drawn.resistors(full) if end.rsplit("/", 1)[-1] == other]


@pytest.mark.parametrize(
    ("net", "other", "ohm"),
    [
        ("HARD_HI", "+3.3VA", design.HARD_LADDER_OHM[0]),
        ("HARD_HI", "HARD_LO", design.HARD_LADDER_OHM[1]),
        ("HARD_LO", "GND", design.HARD_LADDER_OHM[2]),
        ("REF_CHOP", "+3.3VA", design.BRAKE_LADDER_OHM[0]),
        ("REF_CHOP", "REF_OV", design.BRAKE_LADDER_OHM[1]),
        ("REF_OV", "GND", design.BRAKE_LADDER_OHM[2]),
        ("BUS_6TH", "BRIDGE_V", design.BUS_SIXTH_OHM[0]),
        ("BUS_6TH", "CHOPPER_ON", design.BUS_SIXTH_FEEDBACK_OHM),
        ("BUS_DIV", "BRIDGE_V", design.BUS_TOP_OHM),
        ("BUS_DIV", "GND", design.BUS_BOTTOM_OHM),
        ("LEG_A", "OUT_A", design.BUS_TOP_OHM),
        ("LEG_B", "GND", design.BUS_BOTTOM_OHM),
        ("VIN_SENSE", "VIN", design.BUS_TOP_OHM),
        ("FEED_SENSE", "FEED_5V", design.SENSOR_TOP_OHM),
        ("FEED_SENSE", "GND", design.SENSOR_BOTTOM_OHM),
        ("AH_GATE", "LEG_A_SW", design.GATE_BLEED_OHM),
        ("BH_GATE", "LEG_B_SW", design.GATE_BLEED_OHM),
    ],
)
def test_resistor(drawn: Netlist, net: str, other: str, ohm: float) -> None:
    assert between(drawn, net, other) == [pytest.approx(ohm)]


def test_lower_half_of_the_bus_sixth(drawn: Netlist) -> None:
    lower = between(drawn, "BUS_6TH", "BUS_12TH") + between(drawn, "BUS_12TH", "GND")
    assert sum(lower) == pytest.approx(design.BUS_SIXTH_OHM[1])


@pytest.mark.parametrize("gate", ["AH_GATE", "AL_GATE", "BH_GATE", "BL_GATE"])
def test_gate_series(drawn: Netlist, gate: str) -> None:
    series = [parse_ohm(r.value) for r, end in drawn.resistors(gate) if "OUT" in end]
    assert series == [pytest.approx(design.GATE_OHM)]


def test_dead_time(drawn: Netlist) -> None:
    """Driver data sheet: 10 ns per kOhm from DT to ground."""
    legs = [p.ref for p in drawn.with_value("UCC21520") if "DRIVER_DISABLE" in drawn.pins_of(p.ref).values()]
    assert len(legs) == 2
    for ref in legs:
        ohm = [parse_ohm(r.value) for r, end in drawn.resistors(drawn.net_of(ref, "6")) if end == "GND"]
        assert ohm == [pytest.approx(design.DEAD_TIME_OHM)]
        assert ohm[0] * 10e-9 / 1e3 == pytest.approx(design.DEAD_TIME_S)


def test_shunts_snubbers_and_thermistors(drawn: Netlist) -> None:
    shunts = [p for p in drawn.parts.values() if p.value.endswith("mOhm")]
    assert [parse_ohm(p.value) for p in shunts] == [pytest.approx(design.SHUNT_OHM)] * 2
    assert [parse_ohm(p.value) for p in drawn.with_value("2R2")] == [pytest.approx(design.SNUBBER_OHM)] * 2
    for net in ("NTC_HEATSINK", "NTC_PART"):
        wire = next(end for _, end in drawn.resistors(f"/inputs/{net}"))
        assert between(drawn, wire, "+3.3VA") == [pytest.approx(design.NTC_PULL_UP_OHM)]


def test_supply_side(drawn: Netlist) -> None:
    cans = drawn.with_value("1000u/35V")
    assert len(cans) == design.BULK_CANS
    assert len(cans) * 1000e-6 == pytest.approx(design.BULK_F)
    assert all({"BRIDGE_V", "GND"} == set(drawn.pins_of(p.ref).values()) for p in cans)
    assert between(drawn, "BRIDGE_V", drawn.by_function("Q103")["D"].rsplit("/", 1)[-1]) == [
        design.PRECHARGE_OHM
    ]
    assert drawn.parts["F101"].value == f"{design.FUSE_A:.0f} A"


@pytest.mark.parametrize(("net", "gain"), [("I_RAW", "INA240A1"), ("I_FINE", "INA240A4")])
def test_amplifier_gains(drawn: Netlist, net: str, gain: str) -> None:
    """INA240 data sheet: A1 gain 20, A4 gain 200."""
    gains = {"INA240A1": design.COARSE_GAIN, "INA240A4": design.FINE_GAIN}
    assert gains == {"INA240A1": 20, "INA240A4": 200}
    chip = next(p for p in drawn.with_value(gain) if "SHUNT_A_P" in drawn.pins_of(p.ref).values())
    output = drawn.net_of(chip.ref, "5")
    reaches = {output.rsplit("/", 1)[-1]} | {end for _, end in drawn.resistors(output)}
    assert net in reaches
