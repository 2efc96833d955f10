"""The list of test points against ngspice, against what one works out by hand, and against its own page."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from hardware.checks.voltages import CHARGED, METER_OHM, PAGE, REST, Network, State, page
from tests.hardware.kicad_support import FOLDERS, Damage, committed


def test_dividers_by_hand() -> None:
    """Values read off the schematic of the small bench."""
    rest = Network(committed("kicad_small"), REST)
    assert rest.volts("/sense/MID") == pytest.approx(1.65, abs=0.001)
    assert rest.volts("/sense/HARD_HI") == pytest.approx(3.3 * (9.53 + 1.8) / (9.53 + 3.6), abs=0.001)
    assert rest.volts("ESTOP_LOOP") == pytest.approx(5 * 2200 / 3140, abs=0.002)
    assert rest.volts("HARD_N") == pytest.approx(3.3 * 47 / (1 + 4.7 + 47), abs=0.02)
    assert rest.volts("VIN_SENSE") == pytest.approx(12 * 27 / 207, abs=0.005)


def test_a_wrong_resistor_is_out_of_its_range() -> None:
    damaged = Damage(committed("kicad_small"))
    damaged.value("R405", "8k2")
    _, low, high = Network(committed("kicad_small"), REST).expected("/sense/HARD_HI")
    wrong = Network(damaged.net, REST).volts("/sense/HARD_HI")
    assert not low <= wrong <= high


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("folder", FOLDERS)
@pytest.mark.parametrize("state", [REST, CHARGED], ids=["rest", "charged"])
def test_ngspice_finds_the_same(folder: str, state: State, tmp_path: Path) -> None:
    network = Network(committed(folder), state)
    points = [p for p in state.points if p in network.names]
    for point in points[:: max(1, len(points) // 6)]:
        at = network.names.index(point)
        ground = network.names.index("GND")
        lines = ["resistors of a bench"]
        every = [*network.resistors, (at, ground, METER_OHM, 0.0)]
        lines += [f"R{i} n{a} n{b} {ohm:g}" for i, (a, b, ohm, _) in enumerate(every)]
        lines += [
            f"V{i} n{network.names.index(n)} 0 {v[0]:g}" for i, (n, v) in enumerate(network.known.items())
        ]
        lines += [".options gmin=1e-12", ".control", "op", f"print v(n{at})", "quit", ".endc", ".end"]
        deck = tmp_path / "deck.cir"
        deck.write_text("\n".join(lines) + "\n", encoding="utf-8")
        out = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True).stdout
        found = next(line for line in out.splitlines() if line.startswith(f"v(n{at})"))
        assert float(found.split("=")[1]) == pytest.approx(network.volts(point), abs=2e-3), point


@pytest.mark.slow
def test_the_page_is_that_of_the_drawings() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert page(text) == text
