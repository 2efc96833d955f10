"""Files to order a board with, from its .kicad_pcb: Gerber and drill (one zip), positions, netlist, IPC-2581.

Dates are taken out, so that the same board gives the same files.
"""

from __future__ import annotations

import re
import tempfile
import zipfile
from pathlib import Path

from hardware.boards.kicad import cli

LAYERS = "F.Cu,In1.Cu,In2.Cu,B.Cu,F.Mask,B.Mask,F.Paste,F.Silkscreen,B.Silkscreen,Edge.Cuts"
KINDS = ("gerber.zip", "positions.csv", "netlist.d356", "ipc2581.zip")
DAY = (1980, 1, 1, 0, 0, 0)
"""The date of every file in a zip: the earliest that the format knows."""
_DATES = (
    (re.compile(r"%TF\.CreationDate,[^*]*\*%\n"), ""),
    (re.compile(r"(G04 Created by KiCad \([^)]*\)) date [^*]*\*"), r"\1*"),
    (re.compile(r"(; DRILL file \{[^}]*\}) date .*"), r"\1"),
    (re.compile(r"; #@! TF\.CreationDate,.*\n"), ""),
    (re.compile(r'(origination|datetime|date|lastChange)="\d{4}-[^"]*"'), r'\1="2000-01-01T00:00:00"'),
    (re.compile(r'"CreationDate": *"[^"]*"'), '"CreationDate": "2000-01-01T00:00:00"'),
    (re.compile(r"FILE_NAME\('([^']*)','[^']*'"), r"FILE_NAME('\1','2000-01-01T00:00:00'"),
)


def without_dates(text: str) -> str:
    """A file's text with what changes each time taken out."""
    for pattern, put in _DATES:
        text = pattern.sub(put, text)
    return text


def write(board: Path, target: Path) -> list[Path]:
    """All files for a factory into a folder; their paths."""
    target.mkdir(parents=True, exist_ok=True)
    name = board.stem
    made = [
        target / f"{name}-{kind}" for kind in ("gerber.zip", "positions.csv", "netlist.d356", "ipc2581.zip")
    ]
    with tempfile.TemporaryDirectory() as folder:
        plots = Path(folder) / "plots"
        plots.mkdir()
        cli("pcb", "export", "gerbers", "-o", f"{plots}/", "--layers", LAYERS, "--no-protel-ext", str(board))
        holes = ("--excellon-separate-th", "--excellon-oval-format", "route")
        cli("pcb", "export", "drill", "-o", f"{plots}/", *holes, str(board))
        zipped(sorted(plots.iterdir()), made[0])
        cli(
            "pcb",
            "export",
            "pos",
            "--format",
            "csv",
            "--units",
            "mm",
            "--exclude-dnp",
            "-o",
            str(made[1]),
            str(board),
        )
        cli("pcb", "export", "ipcd356", "-o", str(made[2]), str(board))
        made[2].write_text(without_dates(made[2].read_text(encoding="utf-8")), encoding="utf-8")
        xml = Path(folder) / f"{name}.xml"
        cli("pcb", "export", "ipc2581", "--precision", "4", "-o", str(xml), str(board))
        zipped([xml], made[3])
    return made


def zipped(files: list[Path], target: Path) -> None:
    """A zip that is the same for the same files."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in files:
            entry = zipfile.ZipInfo(path.name, DAY)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, without_dates(path.read_text(encoding="utf-8")))


def step(board: Path, target: Path) -> None:
    """The board with its parts as a solid, for a case; large, so it is made when it is needed."""
    cli("pcb", "export", "step", "--force", "--subst-models", "--no-dnp", "-o", str(target), str(board))
    target.write_text(without_dates(target.read_text(encoding="utf-8")), encoding="utf-8")


def picture(board: Path, target: Path, side: str = "top", turn: str = "0,0,0") -> None:
    """A rendered picture (PNG)."""
    cli(
        "pcb", "render", "--side", side, "--rotate", turn, "-w", "1400", "-h", "1000", "--quality", "basic",
        "--background", "opaque", "-o", str(target), str(board),
    )  # fmt: skip
