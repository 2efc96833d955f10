"""Calls of KiCad: its own Python for footprints and zones, its command line for checks and files."""

from __future__ import annotations

import functools
import json
import subprocess
import tempfile
from pathlib import Path

from hardware.boards.shapes import Pad, Shape

SIDE = Path(__file__).with_name("pcbnew_side.py")
OWN = Path(__file__).resolve().parents[1] / "kicad"
"""Where the project's own footprint library is."""
PYTHON = "/usr/bin/python3"
"""The interpreter that Debian's KiCad brings its module for."""


def _side(what: str, given: dict, target: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "in.json"
        source.write_text(json.dumps(given), encoding="utf-8")
        done = subprocess.run(
            [PYTHON, "-E", "-s", str(SIDE), what, str(source), str(target)], capture_output=True, text=True
        )
    if done.returncode:
        raise RuntimeError(f"KiCad's Python failed: {done.stderr[-2000:]}")


@functools.lru_cache
def available() -> bool:
    """True when KiCad's Python module can be imported."""
    try:
        done = subprocess.run([PYTHON, "-E", "-s", "-c", "import pcbnew"], capture_output=True)
    except OSError:
        return False
    return done.returncode == 0


def shapes(footprints: list[str]) -> dict[str, Shape]:
    """Courtyard and pads of each footprint."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.json"
        _side("shapes", {"own": str(OWN), "footprints": sorted(set(footprints))}, target)
        found = json.loads(target.read_text(encoding="utf-8"))
    return {
        name: Shape(
            tuple(item["yard"]),
            tuple(Pad(p["number"], tuple(p["box"]), p["sides"], p["hole"]) for p in item["pads"]),
            tuple(tuple(box) for box in item["keepouts"]),
        )
        for name, item in found.items()
    }


def build(plan: dict, target: Path) -> None:
    """Write a .kicad_pcb, zones filled."""
    _side("build", {**plan, "own": str(OWN)}, target)


def cli(*arguments: str) -> str:
    """Run kicad-cli; RuntimeError with its words when it fails."""
    done = subprocess.run(["kicad-cli", *arguments], capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(f"kicad-cli {' '.join(arguments[:3])}: {done.stdout}{done.stderr}")
    return done.stdout
