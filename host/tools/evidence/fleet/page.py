"""The page of the lake's and the fleet's figures: ``python -m tools.evidence.fleet.page`` (ten minutes).

``--only NAME`` (speed, spreads, benches, shops, cluster, golden) renews that part alone, ``page`` no part.
What was measured is kept in ``--kept FOLDER``.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Callable
from pathlib import Path

from tools import DOCS
from tools.evidence.fleet import sections

HEAD = """# The lake and the fleet in figures

This page shows how fast questions about many runs are answered. It also shows whether the statistics of
a fleet find the right limits and the benches that measure wrongly. The fleet is drawn by a random
generator, not real.

Written by `python -m tools.evidence.fleet.page`; nothing here is typed in by hand. How to use a lake:
[pool the runs of many benches](how-to/fleet.md), [limits from the fleet](how-to/fleet-limits.md),
[the golden part](how-to/golden-part.md).

**The fleet is drawn, not simulated.** One run of a solenoid valve is simulated. Around its findings, parts
are drawn with the spread that simulated good parts have, benches with errors of their gains (current 0.6 %,
voltage 0.3 %, standard deviations), and repeats. So the page shows that the statistics do what they claim. It
shows nothing about real parts and real benches, because there was no real fleet. Nothing was tuned on these
seeds.

The computer did other work during most measurements. This does not change processor times. Other times may be
much too long. Only the fifteen million findings were searched on a quiet computer.
"""
PARTS: dict[str, Callable[[], str]] = {
    "speed": sections.speed,
    "spreads": sections.spreads,
    "benches": sections.benches,
    "shops": sections.shops,
    "cluster": sections.cluster,
    "golden": sections.golden,
}


def main() -> None:
    """Measure what is asked for, and write the page from all that was measured."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=(*PARTS, "page"), action="append")
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "strokebench-fleet")
    args = parser.parse_args()
    args.kept.mkdir(parents=True, exist_ok=True)
    file = args.kept / "sections.json"
    kept = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    for name in PARTS if args.only is None else [name for name in args.only if name in PARTS]:
        print(name, flush=True)
        kept[name] = PARTS[name]()
        file.write_text(json.dumps(kept), encoding="utf-8")
    missing = [name for name in PARTS if name not in kept]
    if missing:
        print(f"Not written: {', '.join(missing)} were not measured yet.")
        return
    text = "\n\n".join([HEAD.strip(), *(kept[name].strip() for name in PARTS)]) + "\n"
    (DOCS / "fleet.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
