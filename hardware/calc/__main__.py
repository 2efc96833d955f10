"""Write hardware/calc/RESULTS.md: `python -m hardware.calc`."""

from __future__ import annotations

from pathlib import Path

from hardware.calc import results

if __name__ == "__main__":
    target = Path(__file__).with_name("RESULTS.md")
    target.write_text(results.page(), encoding="utf-8", newline="\n")
    print(f"wrote {target.name}")
