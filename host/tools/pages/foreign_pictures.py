"""The pictures of docs/how-to/foreign-csv.md: ``python -m tools.pages.foreign_pictures`` in the folder host.

A simulated throttle body of the second family that binds at one place, moved by hand once each way, and a
fuel pump whose outlet is clogged, switched on and off: with an oscilloscope's and a clamp's errors, written
with semicolons and decimal commas.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from strokebench.bench.spec import SimSpec
from strokebench.diagnose import case_of
from strokebench.foreign.labelling import find_stretches
from strokebench.foreign.read import read_csv
from strokebench.parts import load_part
from strokebench.report.pictures.drawing import Picture, failing_of
from strokebench.report.pictures.foreign import pictures
from strokebench.verdict.examine import examine

from tools import DOCS
from tools.evidence.foreign import scenes
from tools.evidence.foreign.dialects import DIALECTS, write

BINDS = SimSpec(part="throttle-body", family="second", seed=502, faults=("binding=1.5@0.4",))
CLOGGED = SimSpec(part="fuel-pump", family="second", seed=502, faults=("clogged=0.7",))
SHOWN = (
    (BINDS, "slow both ways", False, {"The recording": "recording", "Current against position": "position"}),
    (CLOGGED, "switched on", True, {"How it runs down": "runs-down"}),
)
"""Part, how it was handled, whether the volts were recorded, and pictures -> ends of their files' names."""


def drawn(spec: SimSpec, way: str, volts: bool, names: dict[str, str]) -> dict[str, Picture]:
    """Return the pictures by the names of their files."""
    table = scenes.recorded(spec.part, spec, way, volts, np.random.default_rng(502))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scope.csv"
        path.write_bytes(write(DIALECTS[1], table))
        profile = load_part(spec.part)
        run = find_stretches(read_csv(path), profile)
    findings, _ = examine(run, profile)
    assert failing_of(findings), "it is defective"
    made = pictures(case_of(run, profile), findings)
    return {f"foreign-{names[picture.title]}": picture for picture in made if picture.title in names}


def main() -> None:
    """Write them into docs/img."""
    for name, picture in (found for shown in SHOWN for found in drawn(*shown).items()):
        (DOCS / "img" / f"{name}.svg").write_text(picture.svg + "\n", encoding="utf-8", newline="\n")
        print(f"Written: docs/img/{name}.svg")


if __name__ == "__main__":
    main()
