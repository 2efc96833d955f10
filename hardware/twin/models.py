"""What a part of the netlist is in SPICE: by the letters of its reference and the value on the drawing."""

from __future__ import annotations

import re

from hardware.checks.netlist import Part, parse_ohm

Pins = dict[str, str]
"""Pad number or pin function -> SPICE node."""

MOSFETS = {
    "CSD18536KCS": "fet60", "IRF4905": "pfet55", "Si2309CDS": "pfet60", "BSS138": "nfet50",
    "Si2308BDS": "nfet60small",
}  # fmt: skip
BIPOLAR = {"BCX56": "npn80", "BC547": "npn45", "BC337": "npn45big"}
DIODES = {
    "SMCJ24CA": "tvs24", "SMBJ24CA": "tvs24small", "SMCJ22A": "tvs22", "SMBJ22A": "tvs22small",
    "BZT52C12": "zener12", "BZT52C16": "zener16", "SS14": "schottky1", "SS56": "schottky5", "RED": "red",
    "1N5819": "schottky1", "1N4004": "rectifier", "1.5KE22A": "tvs22", "1N4734A": "zener5v6",
}  # fmt: skip
BOTH_WAYS = ("SMCJ24CA", "SMBJ24CA")
ESR_OHM = {"1000u/35V": 0.020, "10u/50V": 0.003}
"""Series resistance by value, from memory of such parts; others have none."""
FUSE_OHM = {"50 A": 0.0012, "7.5 A": 0.012, "5 A": 0.018, "100 mA PTC": 3.0, "50 mA PTC": 10.0}


class NoModel(ValueError):
    """The twin does not know what this part is; it says so instead of guessing."""


def parse_farad(value: str) -> float:
    """'10u/50V', '2n2', '100n' -> farads; ValueError for anything else."""
    match = re.fullmatch(r"(\d+)([pnu])(\d*)(/\d+V)?", value.split()[0])
    if not match:
        raise ValueError(f"not a capacitor value: {value!r}")
    return float(f"{match[1]}.{match[3] or 0}") * {"p": 1e-12, "n": 1e-9, "u": 1e-6}[match[2]]


def lines(part: Part, pins: Pins, start_v: float | None = None) -> list[str]:
    """Return the part's SPICE lines; ``start_v``: volts on a capacitor at the beginning."""
    makers = {"R": _resistor, "C": _capacitor, "D": _diode, "Q": _mosfet, "F": _fuse}
    if part.kind not in makers:
        raise NoModel(f"{part.ref} ({part.value}): no model for this kind of part")
    if part.kind == "C":
        return _capacitor(part, pins, start_v)
    return makers[part.kind](part, pins)  # type: ignore[operator]


def _resistor(part: Part, pins: Pins) -> list[str]:
    if {"1", "2", "3", "4"} <= set(pins):  # a shunt with four terminals: force 1 and 4, sense 2 and 3
        ref = part.ref
        return [
            f"L{ref} {pins['1']} {ref}_i {{lshunt}} ic=0",
            f"R{ref} {ref}_i {pins['4']} {parse_ohm(part.value):g}",
            f"R{ref}p {pins['1']} {pins['2']} 1m",
            f"R{ref}n {pins['4']} {pins['3']} 1m",
        ]
    return [f"R{part.ref} {pins['1']} {pins['2']} {parse_ohm(part.value):g}"]


def _capacitor(part: Part, pins: Pins, start_v: float | None) -> list[str]:
    farad, start = parse_farad(part.value), "" if start_v is None else f" ic={start_v:g}"
    esr = ESR_OHM.get(part.value)
    if esr is None:
        return [f"C{part.ref} {pins['1']} {pins['2']} {farad:g}{start}"]
    ref = part.ref
    return [f"C{ref} {pins['1']} {ref}_e {farad:g}{start}", f"R{ref} {ref}_e {pins['2']} {esr:g}"]


def _diode(part: Part, pins: Pins) -> list[str]:
    if part.value == "BAV199":
        return [
            f"D{part.ref}a {pins['A']} {pins['COM']} clamp",
            f"D{part.ref}b {pins['COM']} {pins['K']} clamp",
        ]
    model = _known(part, DIODES)
    if part.value in BOTH_WAYS:
        middle = f"{part.ref}_m"
        return [
            f"D{part.ref}a {middle} {pins['A1']} {model}",
            f"D{part.ref}b {middle} {pins['A2']} {model}",
        ]
    return [f"D{part.ref} {pins['A']} {pins['K']} {model}"]


def _mosfet(part: Part, pins: Pins) -> list[str]:
    if part.value in BIPOLAR:
        return [f"Q{part.ref} {pins['C']} {pins['B']} {pins['E']} {BIPOLAR[part.value]}"]
    return [f"M{part.ref} {pins['D']} {pins['G']} {pins['S']} {_known(part, MOSFETS)}"]


def _fuse(part: Part, pins: Pins) -> list[str]:
    return [f"R{part.ref} {pins['1']} {pins['2']} {_known(part, FUSE_OHM)}"]


def _known(part: Part, table: dict) -> str:
    if part.value not in table:
        raise NoModel(f"{part.ref}: the twin has no model for {part.value!r}")
    return table[part.value]
