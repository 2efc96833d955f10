"""KiCad's design rule check of a board, the comparison with its drawing included."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

from hardware.boards.kicad import cli


@dataclass(frozen=True)
class Outcome:
    """What the check found, a sentence each."""

    errors: list[str]
    warnings: list[str]
    unconnected: list[str]
    not_as_drawn: list[str]


def check(board: Path) -> Outcome:
    """Check a .kicad_pcb; rules and drawing are those beside it."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "drc.json"
        cli(
            "pcb",
            "drc",
            "--severity-all",
            "--schematic-parity",
            "--format",
            "json",
            "-o",
            str(target),
            str(board),
        )
        found = json.loads(target.read_text(encoding="utf-8"))
    by = {
        kind: [_words(v) for v in found["violations"] if v["severity"] == kind]
        for kind in ("error", "warning")
    }
    return Outcome(
        by["error"],
        by["warning"],
        [_words(v) for v in found["unconnected_items"]],
        [_words(v) for v in found["schematic_parity"]],
    )


def _words(item: dict) -> str:
    return ": ".join([item["description"], *(i["description"] for i in item["items"])])
