"""Exports of the schematics: `python -m hardware.checks.export` writes them, `--check` compares instead.

Per project: NAME.net (netlist), bom.csv, NAME.pdf, svg/*.svg, kicad-version.txt. What changes each time is
masked (dates, paths, identifiers): in netlist and SVG when they are written, in the PDF when it is compared.
Drawings show the version of KiCad, so they are compared only with the version that wrote them; lists always.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from hardware.checks import bom, pin_page, svg

HERE = Path(__file__).resolve().parents[1]
VERSION_FILE = "kicad-version.txt"
DRAWINGS = (".pdf", ".svg")
PROJECTS = {"kicad": "strokebench", "kicad_small": "strokebench_small"}
_NETLIST_MASKS = (
    (re.compile(r'\(source "[^"]*[/\\]([^"/\\]+)"\)'), r'(source "\1")'),
    (re.compile(r'\n    \(date "[^"]*"\)'), '\n    (date "")'),
    (re.compile(r'\(tool "[^"]*"\)'), '(tool "")'),
    (re.compile(r'\(uri "[^"]*"\)'), '(uri "")'),
)
_PDF_DATES = re.compile(rb"/(CreationDate|ModDate|Producer|Creator) ?\([^)]*\)|/ID ?\[[^\]]*\]")


def available() -> bool:
    """True when kicad-cli of KiCad 9 or later can be run."""
    return shutil.which("kicad-cli") is not None


def kicad(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run kicad-cli; CalledProcessError with its output when it fails."""
    return subprocess.run(["kicad-cli", *arguments], check=True, capture_output=True, text=True)


def version() -> str:
    """Version of the installed KiCad, e.g. 9.0.8."""
    return kicad("version").stdout.strip()


def drawings_comparable(folder: str) -> bool:
    """True when the installed KiCad is the version that drew the committed PDF and SVG."""
    note = HERE / folder / "exports" / VERSION_FILE
    return note.exists() and note.read_text(encoding="utf-8").strip() == version()


def schematic(folder: str) -> Path:
    """Top sheet of a project folder."""
    return HERE / folder / f"{PROJECTS[folder]}.kicad_sch"


def netlist_text(sheet: Path) -> str:
    """Netlist of a schematic with date, tool and machine paths masked."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.net"
        kicad("sch", "export", "netlist", "-o", str(target), str(sheet))
        return mask_netlist(target.read_text(encoding="utf-8"))


def mask_netlist(text: str) -> str:
    """Remove what differs between two exports of the same schematic."""
    for pattern, replacement in _NETLIST_MASKS:
        text = pattern.sub(replacement, text)
    return text


def bom_text(sheet: Path) -> str:
    """Grouped bill of materials of a schematic as CSV."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "bom.csv"
        kicad("sch", "export", "bom", "--fields", bom.KICAD_FIELDS, "-o", str(target), str(sheet))
        return bom.dump(bom.group(target.read_text(encoding="utf-8")))


def write_lists(folder: str, target: Path) -> None:
    """Netlist and bill of one project into a folder."""
    sheet = schematic(folder)
    target.mkdir(parents=True, exist_ok=True)
    (target / f"{sheet.stem}.net").write_text(netlist_text(sheet), encoding="utf-8")
    (target / "bom.csv").write_text(bom_text(sheet), encoding="utf-8")


def write_drawings(folder: str, target: Path) -> None:
    """PDF, SVG and the version of KiCad that drew them into a folder."""
    sheet = schematic(folder)
    pages = target / "svg"
    pages.mkdir(parents=True, exist_ok=True)
    (target / VERSION_FILE).write_text(version() + "\n", encoding="utf-8")
    pdf = target / f"{sheet.stem}.pdf"
    kicad("sch", "export", "pdf", "--exclude-pdf-property-popups", "-o", str(pdf), str(sheet))
    kicad("sch", "export", "svg", "-o", str(pages), str(sheet))
    for page in pages.glob("*.svg"):
        page.write_text(svg.compact(page.read_text(encoding="utf-8")), encoding="utf-8")


def masked(path: Path) -> bytes:
    """Content of an export without dates and identifiers."""
    if path.suffix == ".pdf":
        return _PDF_DATES.sub(b"", path.read_bytes())
    return path.read_bytes().replace(b"\r\n", b"\n")


def differences(folder: str, drawings: bool) -> list[str]:
    """Committed exports of a project that differ from fresh ones, or are missing, or too many."""
    committed = HERE / folder / "exports"
    with tempfile.TemporaryDirectory() as fresh_folder:
        fresh = Path(fresh_folder)
        (write_drawings if drawings else write_lists)(folder, fresh)
        names = {p.relative_to(r).as_posix() for r in (fresh, committed) for p in r.rglob("*") if p.is_file()}
        names = {n for n in names if n != VERSION_FILE and n.endswith(DRAWINGS) == drawings}
        return sorted(name for name in names if not _same(fresh / name, committed / name))


def _same(made: Path, other: Path) -> bool:
    return made.exists() and other.exists() and masked(made) == masked(other)


def _stale(folder: str) -> list[str]:
    names = differences(folder, drawings=False)
    if drawings_comparable(folder):
        names += differences(folder, drawings=True)
    else:
        print(f"{folder}: drawings not compared, KiCad {version()} did not write them")
    return [f"{folder}/exports/{name}" for name in names]


def main() -> int:
    """Write or compare; exit code 1 when something differs."""
    parser = argparse.ArgumentParser(prog="python -m hardware.checks.export", description=__doc__)
    parser.add_argument(
        "--check", action="store_true", help="compare with the committed exports, write nothing"
    )
    check = parser.parse_args().check
    if not available():
        print("kicad-cli was not found: install KiCad 9 (Debian: package kicad), then run this again")
        return 2
    stale = []
    for folder in PROJECTS:
        if check:
            stale += _stale(folder)
        else:
            write_lists(folder, HERE / folder / "exports")
            write_drawings(folder, HERE / folder / "exports")
    stale += pin_page.update(HERE / "README.md", check=check)
    for name in stale:
        print(f"differs: {name}")
    return 1 if stale else 0


if __name__ == "__main__":
    raise SystemExit(main())
