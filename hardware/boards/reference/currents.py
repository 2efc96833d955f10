"""The reference bench's currents: 40 A through the copper, its fast loops, and what warms the board."""

from __future__ import annotations

from hardware.boards.currents import Currents, Leg, Path


def _leg(ceramics: tuple[str, ...], high: str, low: str, shunt: str, pad: str) -> tuple[Leg, ...]:
    """The loop of a leg through its middle ceramic capacitor, and the way from it to the shunt."""
    middle = ceramics[1]
    return (
        Leg("ceramic to drain", f"{middle}.1", f"{high}.2"),
        Leg("high to low MOSFET", f"{high}.3", f"{low}.2"),
        Leg("source to ceramic", f"{low}.3", f"{middle}.2", front=False),
        Leg("leg to shunt", f"{low}.2", f"{shunt}.{pad}"),
    )


CURRENTS = Currents(
    amps=40.0,
    paths=(
        Path("stud to fuse", "J101.1", "F101.1"),
        Path("fuse to ideal diode", "F101.2", "Q101.3"),
        Path("to the main switch", "Q101.2", "Q102.2"),
        Path("main switch to the supply's shunt", "Q102.3", "R309.1"),
        Path("shunt to leg A", "R309.4", "Q301.2"),
        Path("high MOSFET A to its shunt", "Q301.3", "R301.1"),
        Path("shunt to stud A", "R301.4", "J301.1"),
        Path("stud B to its shunt", "J302.1", "R302.1"),
        Path("shunt to low MOSFET B", "R302.4", "Q304.2"),
        Path("ground, low MOSFET B to the stud", "Q304.3", "J102.1"),
    ),
    loops={
        "leg A": _leg(("C303", "C304", "C305"), "Q301", "Q302", "R301", "1"),
        "leg B": _leg(("C306", "C307", "C308"), "Q303", "Q304", "R302", "4"),
    },
    # shunts: I2 R; converters and Pico from memory; the MOSFETs' heat leaves by the heatsink
    parts_w={
        "R301": 1.6,
        "R302": 1.6,
        "R309": 0.8,
        "U103": 0.5,
        "A601": 0.3,
        "PS101": 0.2,
        "PS201": 0.2,
        "PS202": 0.2,
        "PS203": 0.2,
    },
    warm=("F101", "Q101", "Q102", "R309", "Q301", "R301", "R302", "Q304", "J301", "J102", "U401", "A601"),
    cell=16,
)  # fmt: skip
