"""Design rules and net classes, written into the .kicad_pro of a board's project."""

from __future__ import annotations

import json
from pathlib import Path

from hardware.boards.layout import Layout
from hardware.boards.route.grid import CLEARANCE, DRILL, EDGE, HALF, HOLE_TO_HOLE, VIA

RULES = {
    "min_clearance": CLEARANCE,
    "min_copper_edge_clearance": EDGE,
    "min_hole_clearance": 0.25,
    "min_hole_to_hole": HOLE_TO_HOLE,
    "min_through_hole_diameter": 0.3,
    "min_track_width": 0.2,
    "min_via_annular_width": 0.13,
    "min_via_diameter": 0.5,
    "min_resolved_spokes": 1,
    "solder_mask_to_copper_clearance": 0.0,
}
"""What common fabrication of four layers offers without extra cost, from memory."""
IGNORED = ("lib_footprint_issues", "lib_footprint_mismatch")
"""KiCad's libraries need not be installed to check the board; references are smaller than in the library."""


def write_rules(layout: Layout, folder: Path) -> None:
    """Rules and classes into the project of a board; what else is in the project stays."""
    path = folder / f"{layout.name}.kicad_pro"
    project = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    severities = dict.fromkeys(IGNORED, "ignore")
    project["board"] = {"design_settings": {"rules": RULES, "rule_severities": severities}}
    widths = sorted(set(layout.widths.values()))
    classes = [_class("Default", 2 * HALF, CLEARANCE), *(_class(f"{w} mm", w, CLEARANCE) for w in widths)]
    patterns = [{"netclass": f"{w} mm", "pattern": net} for net, w in sorted(layout.widths.items())]
    project["net_settings"] = {"classes": classes, "netclass_patterns": patterns, "meta": {"version": 4}}
    path.write_text(json.dumps(project, indent=2, sort_keys=True) + "\n", encoding="utf-8")


def _class(name: str, width: float, clearance: float) -> dict:
    return {
        "name": name, "clearance": clearance, "track_width": width, "via_diameter": VIA, "via_drill": DRILL,
        "priority": 2147483647 if name == "Default" else 1, "diff_pair_gap": 0.25, "diff_pair_width": 0.25,
        "microvia_diameter": 0.3, "microvia_drill": 0.1, "wire_width": 6, "bus_width": 12, "line_style": 0,
        "pcb_color": "rgba(0, 0, 0, 0.000)", "schematic_color": "rgba(0, 0, 0, 0.000)",
    }  # fmt: skip
