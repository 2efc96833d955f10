"""Measure an unknown load within a current you allow, and propose a profile."""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_json, add_plant, add_sim, open_chosen, print_json, say

if TYPE_CHECKING:
    from strokebench.measure import Load

CAUTION = (
    "The part may move. Keep fingers, tools and cables away; nothing with fuel in or near it; allow no more"
    " current than its wires and its smallest known rating bear."
)
CHARGING_V = 14.5
COIL, ROTOR = "solenoid", "cooling-fan"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "--max-current", type=float, required=True, metavar="A", help="no more than this may ever flow"
    )
    parser.add_argument("--port", metavar="NAME", help="port or URL of the bench")
    parser.add_argument("--sim", metavar="PART", help="a simulated bench with this part on it")
    parser.add_argument("-o", "--output", metavar="FILE.toml", help="write a proposed profile")
    parser.add_argument(
        "--based-on", metavar="PART", help=f"whose procedure it takes (default: {COIL} or {ROTOR})"
    )
    parser.add_argument("--force", action="store_true", help="overwrite the file")
    add_json(parser)
    add_sim(parser)
    add_plant(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the part is off afterwards, whatever happens."""
    from strokebench.measure import limits_for, measure

    limits_for(args.max_current)  # a wrong number is told before anything is opened
    if not args.json:
        say(CAUTION)
    with open_chosen(args, args.sim or "throttle-body") as bench:
        load, _data = measure(bench, args.max_current)
    if args.output:
        _propose(args, load)
    if args.json:
        print_json({**asdict(load), "profile": args.output})
    else:
        _show(load)
        if args.output:
            print(f"Profile: {args.output} (a proposal from one part; see `strokebench learn`)")
    return 0


def _show(load: Load) -> None:
    from strokebench.report.numbers import with_uncertainty

    ohm, henry = load.resistance, load.inductance
    rows = [
        ("Resistance with leads", f"{with_uncertainty(ohm.value, 2 * ohm.u)} ohm"),
        ("Inductance", f"{with_uncertainty(henry.value, 2 * henry.u)} mH (from the {load.method})"),
        ("Constant drop (brushes)", f"{load.brush_v:.2f} V"),
        (f"Inrush at drive {load.test_drive:.2f}", f"{load.inrush_a:.2f} A"),
        ("After 0.8 s", f"{load.steady_a:.2f} A ({'it moves' if load.turns else 'no motion seen'})"),
        ("Highest current of all", f"{load.highest_a:.2f} A"),
    ]
    lines = [f"{amp * 1e3:.1f} mA at {hz:.0f} Hz" for hz, amp in load.spectrum]
    rows += [("Strongest ripple" if n == 0 else "", text) for n, text in enumerate(lines)]
    for name, text in rows:
        print(f"{name:<24} {text}")
    print("U = 2 u, about 95 % confidence")


def proposal(load: Load, base: dict[str, Any], allowed_a: float, name: str) -> dict[str, Any]:
    """Return ``base`` (a profile as a table) with limits of current and findings made for ``load``."""
    table = {**base, "part": {**base["part"], "name": name, "title": f"Unknown load, {name}"}}
    stalled_a = CHARGING_V / max(load.resistance.value, 0.01)
    most = max(0.2, min(allowed_a, 1.3 * stalled_a))
    limits = {**base["limits"], "current_max_a": round(most, 2), "current_mean_a": round(0.9 * most, 2)}
    limits["stall_a"] = round(min(base["limits"]["stall_a"], 0.9 * most), 2)
    limits["i2t_part_rest_a"] = round(min(base["limits"]["i2t_part_rest_a"], 0.7 * most), 2)
    key = "winding_resistance" if "winding_resistance" in base["findings"] else "loop_resistance"
    findings = {key: _around(load.resistance.value, 0.08, load.resistance.u)}
    if "inductance" in base["findings"]:
        findings["inductance"] = _around(load.inductance.value, 0.2, load.inductance.u)
    return {**table, "limits": limits, "findings": findings}


def _around(value: float, share: float, u: float) -> dict[str, Any]:
    reach = share * value + 2 * u
    note = f"one part measured {value:.4g}; +-{share:.0%} and U: a proposal (judgement)"
    return {
        "lower": float(f"{value - reach:.4g}"),
        "upper": float(f"{value + reach:.4g}"),
        "parts": 1,
        "note": note,
    }


def _propose(args: argparse.Namespace, load: Load) -> None:
    from strokebench.data.output import write_whole
    from strokebench.parts import load_part
    from strokebench.parts.write import toml_text

    path = Path(args.output)
    base = load_part(args.based_on or (COIL if load.method == "step" else ROTOR))
    name = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-") or "unknown"
    base_table = base.model_dump(mode="json", exclude_none=True)
    base_table["part"]["simulate_as"] = args.sim or base.simulated
    table = proposal(load, base_table, args.max_current, name)
    head = (
        f"Proposed from one measurement with at most {args.max_current:g} A allowed.\n"
        f"Procedure and cautions are those of {base.name}: read them before you run it."
    )
    write_whole(path, toml_text(table, head), replace=args.force)
    load_part(path)
