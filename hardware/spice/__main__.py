"""Run every deck and redraw docs/img/spice: `python -m hardware.spice` (all) or with names of figures."""

from __future__ import annotations

import sys
from pathlib import Path

from hardware.spice import figures

TARGET = Path(__file__).parents[2] / "docs" / "img" / "spice"


def main(names: list[str]) -> int:
    """Draw the named figures, all of them by default; 2 for a name that does not exist."""
    unknown = [name for name in names if name not in figures.ALL]
    if unknown:
        print(f"no figure {', '.join(unknown)}; there are: {', '.join(figures.ALL)}", file=sys.stderr)
        return 2
    TARGET.mkdir(parents=True, exist_ok=True)
    for name in names or figures.ALL:
        figures.save(figures.ALL[name](), TARGET / f"{name}.svg")
        print(f"docs/img/spice/{name}.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
