"""The pictures of docs/how-to/foreign-csv.md: ``python -m tools.pages.foreign_pictures`` in the folder host.

A simulated throttle body of the second family that binds at one place, moved by hand once each way, with an
oscilloscope's and a clamp's errors, written with semicolons and decimal commas.
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

PART, WAY = "throttle-body", "slow both ways"
SPEC = SimSpec(part=PART, family="second", seed=502, faults=("binding=1.5@0.4",))
NAMES = {"The recording": "foreign-recording", "Current against position": "foreign-position"}


def drawn() -> dict[str, Picture]:
    """Return the pictures by the names of their files."""
    rng = np.random.default_rng(502)
    table = scenes.recorded(PART, SPEC, WAY, False, rng)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scope.csv"
        path.write_bytes(write(DIALECTS[1], table))
        profile = load_part(PART)
        run = find_stretches(read_csv(path), profile)
    findings, _ = examine(run, profile)
    assert failing_of(findings), "it binds"
    made = pictures(case_of(run, profile), findings)
    return {NAMES[picture.title]: picture for picture in made if picture.title in NAMES}


def main() -> None:
    """Write them into docs/img."""
    for name, picture in drawn().items():
        (DOCS / "img" / f"{name}.svg").write_text(picture.svg + "\n", encoding="utf-8", newline="\n")
        print(f"Written: docs/img/{name}.svg")


if __name__ == "__main__":
    main()
