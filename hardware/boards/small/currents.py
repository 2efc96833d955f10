"""The small bench's currents: 5 A through the copper, and what warms the board."""

from __future__ import annotations

from hardware.boards.currents import Currents, Leg, Path

CURRENTS = Currents(
    amps=5.0,
    paths=(
        Path("terminal to fuse", "J101.1", "F101.1"),
        Path("fuse to reverse protection", "F101.2", "Q101.2"),
        Path("to the main switch", "Q101.3", "Q102.3"),
        Path("bridge supply to half-bridge A", "Q102.2", "U302.7"),
        Path("half-bridge A to the shunt", "U302.8", "R303.1"),
        Path("shunt to terminal A", "R303.4", "J301.1"),
        Path("terminal B to half-bridge B", "J301.2", "U303.8"),
        Path("ground, half-bridge B to the terminal", "U303.1", "J101.2"),
    ),
    loops={
        "half-bridge A": (Leg("supply", "C301.1", "U302.7"), Leg("ground", "U302.1", "C301.2", front=False)),
        "half-bridge B": (Leg("supply", "C302.1", "U303.7"), Leg("ground", "U303.1", "C302.2", front=False)),
    },
    # bill of materials; half-bridges, regulator and Pico from memory
    parts_w={"Q101": 0.5, "Q102": 0.5, "R303": 0.25, "U302": 0.5, "U303": 0.5, "U101": 0.3, "A601": 0.3},
    warm=("U302", "U303", "R303", "Q101", "Q102"),
    cell=8,
)
