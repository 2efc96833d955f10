"""KiCad itself on the projects: electrical rules, exports, footprints. Skipped without KiCad 9."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from hardware.checks import bom, export, pin_page, svg
from tests.hardware.kicad_support import FOLDERS, Damage, committed, needs_kicad

LIBRARY = Path("/usr/share/kicad/footprints")


def erc(sheet: Path, report: Path) -> tuple[int, list[str]]:
    """Exit code and kinds of violation of KiCad's electrical rules check, warnings included."""
    options = ["--severity-all", "--exit-code-violations", "--format", "json", "-o", str(report)]
    done = subprocess.run(["kicad-cli", "sch", "erc", *options, str(sheet)], capture_output=True)
    found = json.loads(report.read_text(encoding="utf-8"))
    return done.returncode, [v["type"] for s in found["sheets"] for v in s["violations"]]


@needs_kicad
@pytest.mark.parametrize("folder", FOLDERS)
def test_electrical_rules_are_clean(folder: str, tmp_path: Path) -> None:
    assert erc(export.schematic(folder), tmp_path / "erc.json") == (0, [])


@needs_kicad
def test_electrical_rules_notice_a_cut_wire(tmp_path: Path) -> None:
    project = tmp_path / "kicad"
    shutil.copytree(export.HERE / "kicad", project, ignore=shutil.ignore_patterns("exports"))
    sheet = project / "bridge.kicad_sch"
    text = sheet.read_text(encoding="utf-8")
    cut = re.sub(r'\t\(global_label "AH_GATE".*?\n\t\)\n', "", text, count=1, flags=re.S)
    assert cut != text
    sheet.write_text(cut, encoding="utf-8")
    code, kinds = erc(project / "strokebench.kicad_sch", tmp_path / "erc.json")
    assert code == 5 and kinds


@needs_kicad
@pytest.mark.parametrize("folder", FOLDERS)
def test_committed_netlist_and_bill_are_those_of_the_schematic(folder: str) -> None:
    assert export.differences(folder, drawings=False) == []


@needs_kicad
@pytest.mark.parametrize("folder", FOLDERS)
def test_committed_drawings_are_those_of_the_schematic(folder: str) -> None:
    if not export.drawings_comparable(folder):
        pytest.skip(f"KiCad {export.version()} did not write the committed drawings")
    assert export.differences(folder, drawings=True) == []


@needs_kicad
def test_stale_exports_are_noticed(tmp_path: Path, mocker: MockerFixture) -> None:
    shutil.copytree(export.HERE / "kicad", tmp_path / "kicad")
    mocker.patch.object(export, "HERE", tmp_path)
    sheet = tmp_path / "kicad" / "bridge.kicad_sch"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace('"2R2 1W"', '"3R3 1W"'), encoding="utf-8")
    assert export.differences("kicad", drawings=False) == ["bom.csv", "strokebench.net"]


@pytest.mark.parametrize("folder", FOLDERS)
def test_bill_and_netlist_hold_the_same_parts(folder: str) -> None:
    rows = bom.load((export.HERE / folder / "exports" / "bom.csv").read_text(encoding="utf-8"))
    assert tuple(rows[0]) == bom.COLUMNS
    assert bom.compare(rows, committed(folder)) == []
    assert bom.missing_numbers(rows) == []
    numbers = [row["number"] for row in rows]
    assert len(set(numbers)) == len(numbers), "one order number, one line"


def test_bill_comparison_notices_damage() -> None:
    rows = bom.load((export.HERE / "kicad" / "exports" / "bom.csv").read_text(encoding="utf-8"))
    damage = Damage(committed("kicad"))
    damage.remove("U104")
    damage.value("R101", "47k")
    assert bom.compare(rows, damage.net) == [
        "R101: value or number differ between bill and netlist",
        "U104: in the bill, not in the netlist",
    ]
    short = [row for row in rows if row["reference"] != "U104"]
    assert bom.compare(short, committed("kicad")) == ["U104: in the netlist, not in the bill"]
    rows[0] = {**rows[0], "number": "", "quantity": "7"}
    assert bom.missing_numbers(rows) == [f"{rows[0]['reference']}: no number"]
    assert any("quantity 7" in text for text in bom.compare(rows, committed("kicad")))


def test_pin_table_of_the_page_is_current() -> None:
    page = export.HERE / "README.md"
    assert pin_page.update(page, check=True) == []
    assert "| 6 | `BRIDGE_ENABLE` | out | 0 |" in page.read_text(encoding="utf-8")


def test_stale_pin_table_is_noticed_and_renewed(tmp_path: Path) -> None:
    page = tmp_path / "README.md"
    page.write_text(f"before\n{pin_page.BEGIN}\nold\n{pin_page.END}\nafter\n", encoding="utf-8")
    assert pin_page.update(page, check=True) == ["README.md"]
    assert pin_page.update(page, check=False) == [] == pin_page.update(page, check=True)
    text = page.read_text(encoding="utf-8")
    assert text.startswith("before\n") and text.endswith("after\n") and "\nold\n" not in text


def test_netlist_mask_hides_only_date_tool_and_place() -> None:
    here = '(design\n    (source "/home/a/x.kicad_sch")\n    (date "2026-01-01")\n    (tool "Eeschema 9"))'
    two = here.replace("/home/a", "/elsewhere").replace("2026-01-01", "2027").replace("9", "9.1")
    assert export.mask_netlist(here) == export.mask_netlist(two)
    assert export.mask_netlist(here) != export.mask_netlist(here.replace("x.kicad", "y.kicad"))


def test_compact_svg_keeps_every_line() -> None:
    line = '<path d="M{} 1.0000\nL{} 2.5000\n" />\n'
    text = "<svg>\n" + line.format("0.0000", "1.0000") + line.format("5.0000", "6.0000") + "</svg>"
    assert '<path fill="none" d="M0 1l1 1.5 M5 1l1 1.5"/>' in svg.compact(text)


@pytest.mark.parametrize("folder", FOLDERS)
def test_committed_drawings_are_well_formed(folder: str) -> None:
    pages = sorted((export.HERE / folder / "exports" / "svg").glob("*.svg"))
    assert len(pages) == 7
    for page in pages:
        assert ElementTree.parse(page).getroot().tag.endswith("svg")


@pytest.mark.skipif(
    not (LIBRARY / "Resistor_SMD.pretty").is_dir(), reason="KiCad's footprint libraries are not installed"
)
@pytest.mark.parametrize("folder", FOLDERS)
def test_every_used_pin_has_a_pad(folder: str) -> None:
    sound = committed(folder)
    wrong = []
    for part in sound.parts.values():
        library, name = part.footprint.split(":")
        own = export.HERE / folder / f"{library}.pretty"
        path = (own if own.is_dir() else LIBRARY / f"{library}.pretty") / f"{name}.kicad_mod"
        if not path.is_file():
            wrong.append(f"{part.ref}: no footprint {part.footprint}")
            continue
        pads = set(re.findall(r'\(pad "([^"]*)"', path.read_text(encoding="utf-8")))
        wrong += [f"{part.ref}: no pad {n} in {name}" for n in sound.pins_of(part.ref) if n not in pads]
    assert wrong == []
