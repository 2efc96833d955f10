"""Smaller things of revision 2 on the netlists, and what the pages say where something is only a limit."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.calc import leads
from hardware.checks.netlist import parse_ohm
from tests.hardware.kicad_support import FOLDERS, committed

ROOT = Path(__file__).parents[2]
RATED_W = {"R_0805_2012Metric": 0.125, "R_1206_3216Metric": 0.25}
"""Thick-film resistors at 70 C (common practice of data sheets)."""
GATE_SUPPLY_V = 13.2
"""The unregulated converters at light load (data sheet, from memory)."""


@pytest.mark.parametrize("folder", FOLDERS)
def test_sensor_ground_reaches_ground_through_a_fuse_alone(folder: str) -> None:
    drawn = committed(folder)
    refs = {pin.ref for pin in drawn.nets["SENSOR_GND"]}
    assert {ref for ref in refs if not ref.startswith("J")} == {"F501"}
    assert set(drawn.pins_of("F501").values()) == {"SENSOR_GND", "GND"}


@pytest.mark.parametrize("folder", FOLDERS)
def test_only_the_module_has_a_pin_called_vbus(folder: str) -> None:
    drawn = committed(folder)
    named = [name for name in drawn.nets if "VBUS" in name]
    assert all(name.startswith("unconnected-(A601") for name in named), named
    assert "BRIDGE_V" in drawn.nets


def test_loads_of_the_gate_supplies_bear_their_heat() -> None:
    drawn = committed("kicad")
    loads = [part for part in drawn.parts.values() if part.kind == "R" and part.value.startswith("1k5")]
    assert len(loads) == 4
    for part in loads:
        watts = GATE_SUPPLY_V**2 / parse_ohm(part.value)
        assert watts < 0.6 * RATED_W[part.footprint.split(":")[1]], part.ref


def test_the_fuse_protects_no_thin_lead() -> None:
    """6000 A2s of the fuse against what 20 AWG bears, each as the calculations have them."""
    assert leads.smallest_gauge() == 18


SAID = {
    "docs/build.md": (
        "Never connect either bench while an alternator is running",
        "Nothing on this page has been",
    ),
    "docs/safety.md": (
        "Never connect the bench while an alternator is running",
        "chafed to each other",
        "protects no thin lead",
        "the bench notices one dead comparator only in a run",
        "Nothing has been tried on real hardware",
    ),
    "docs/small-bench.md": ("Never connect it while an alternator is running", "Nobody has built it"),
    "docs/circuit-twin.md": ("never connect the bench while one is running", "Nothing has been built"),
    "hardware/README.md": ("Nothing here has been built",),
}


@pytest.mark.parametrize("page", SAID)
def test_limits_and_that_nothing_was_built_are_said(page: str) -> None:
    text = " ".join((ROOT / page).read_text(encoding="utf-8").split())
    for words in SAID[page]:
        assert words in text, words
