"""Copper of the routed boards, for the decks: what `python -m hardware.boards.figures` found, by name.

Packages are not in the copper; theirs are here, from memory.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

FIGURES = Path(__file__).resolve().parents[1] / "boards" / "figures.json"
DRAIN_NH, SOURCE_NH = 4.5, 7.5
"""A TO-220 with leads of 6 mm: the usual figures of data sheets, from memory."""
SHUNT_NH = 3.0
"""The four-terminal shunt itself: below 3 nH by its data sheet, from memory."""
UPSTREAM = ("stud to fuse", "fuse to ideal diode", "to the main switch", "main switch to the supply's shunt")
"""Stretches of the reference board that a short behind its main switch goes through."""


@cache
def _figures() -> dict:
    found: dict = json.loads(FIGURES.read_text(encoding="utf-8"))
    return found


def piece_nh(bench: str, loop: str, piece: str) -> float:
    """Inductance of a piece of a loop's copper, nH; KeyError names what the board does not have."""
    return float(_figures()[bench]["loops_nh"][loop][piece])


def high_nh(leg: str) -> float:
    """Reference board: from the ceramics through the high MOSFET to the low one's drain, nH."""
    copper = piece_nh("reference", leg, "ceramic to drain") + piece_nh("reference", leg, "high to low MOSFET")
    return copper + DRAIN_NH + SOURCE_NH


def low_nh(leg: str) -> float:
    """Reference board: through the low MOSFET and back to the ceramics, nH."""
    return piece_nh("reference", leg, "source to ceramic") + DRAIN_NH + SOURCE_NH


def shunt_nh(leg: str) -> float:
    """Reference board: from the leg through the shunt, nH."""
    return piece_nh("reference", leg, "leg to shunt") + SHUNT_NH


def upstream_ohm() -> float:
    """Reference board: copper from the stud to the legs' supply at 60 C, Ohm."""
    return sum(float(_figures()["reference"]["ohm"][name]) for name in UPSTREAM)
