"""Run the twin's cases and write docs/circuit-twin.md: `python -m hardware.twin` (about a minute)."""

from __future__ import annotations

from pathlib import Path

from hardware.twin.page import page

TARGET = Path(__file__).parents[2] / "docs" / "circuit-twin.md"

if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8", newline="\n")
    print("docs/circuit-twin.md")
