"""Make everything of the beginner's bench anew: `python -m hardware.beginner`; `--check` compares instead.

KiCad drawing, its netlist and picture (with kicad-cli only), bill, stripboard, wiring picture, figures.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from hardware.beginner import bill, drawing, strip_picture, wiring
from hardware.checks import export, svg

ROOT = Path(__file__).resolve().parents[2]
FOLDER, PICTURES = ROOT / "hardware/kicad_beginner", ROOT / "docs/img"
PROJECT = """{
  "erc": {"rule_severities": {"lib_symbol_issues": "ignore", "lib_symbol_mismatch": "ignore"}},
  "meta": {"filename": "beginner.kicad_pro", "version": 3}
}
"""


def plain_files() -> dict[Path, str]:
    """Path -> text of all that needs no KiCad."""
    return {
        FOLDER / "beginner.kicad_sch": drawing.sheet(),
        FOLDER / "beginner.kicad_pro": PROJECT,
        FOLDER / "exports/bom.csv": bill.text(),
        FOLDER / "exports/wires.csv": strip_picture.wire_list(),
        FOLDER / "FIGURES.md": bill.figures(),
        PICTURES / "beginner-stripboard.svg": strip_picture.picture(),
        PICTURES / "beginner-wiring.svg": wiring.picture(),
    }


def kicad_files() -> dict[Path, str]:
    """The same of what KiCad makes of the drawing as it is on disk."""
    sheet = FOLDER / "beginner.kicad_sch"
    with tempfile.TemporaryDirectory() as folder:
        export.kicad("sch", "export", "svg", "-o", folder, str(sheet))
        picture = svg.compact(next(Path(folder).glob("*.svg")).read_text(encoding="utf-8"))
    return {
        FOLDER / "exports/beginner.net": export.netlist_text(sheet),
        PICTURES / "beginner-circuit.svg": picture,
    }


def main() -> int:
    """Write or compare; 1 when something differs, 2 without kicad-cli."""
    parser = argparse.ArgumentParser(prog="python -m hardware.beginner", description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare with what is there, write nothing")
    check = parser.parse_args().check
    stale = []
    for make in (plain_files, kicad_files):
        if make is kicad_files and not export.available():
            print("kicad-cli was not found: netlist and circuit picture were left as they are")
            return 2
        for path, text in make().items():
            if check:
                stale += [] if path.exists() and path.read_text(encoding="utf-8") == text else [path.name]
            else:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8", newline="\n")
    for name in stale:
        print(f"differs: {name}")
    return 1 if stale else 0


if __name__ == "__main__":
    raise SystemExit(main())
