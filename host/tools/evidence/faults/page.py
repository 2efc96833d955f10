"""The page docs/fault-matrix.md, from the fault matrix: ``python -m tools.evidence.faults.page``."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path

from strokefw import faults, state

from tools import DOCS
from tools.evidence.faults.causes import Cause
from tools.evidence.faults.matrix import STATES, Cell, matrix
from tools.evidence.refusals import REQUESTS, refusals

HEAD = """\
# Fault matrix

This page shows what the bench does about each trouble in each of its states. For each it gives the
fault code that was reported, and how many milliseconds later the bridge was off. Use it to look up how
fast a protection is.

Made by `python -m tools.evidence.faults.page`: every cell is a run of the firmware on the simulated
bench, in virtual time; nothing here was measured on real hardware. One tick is one millisecond. The
fast current limit (comparator and PIO) acts within a PWM cycle and is not in these numbers.

Each run brings the bench to a state, begins a cause, watches, ends the cause, and then does what a
person would: clear, arm. In *check* the cause is there when the host asks to arm. In *stopping* the
bench is on its way down at 0.3 % per millisecond, slow enough to be caught; what needs longer than that
does not happen there.

- **reported**: the code from the bench; `-` none, and that is right where the bridge is off or the cause
  does not matter
- **after**: ticks from the cause to the code. **off**: ticks to the bridge off; empty where it was off
  already; `on` where it stays on, as it may with codes that warn or limit
- **recorded**: worst code in the recording's rows / code in the recording's end
- **then**: what got it going again after the cause had ended

Every run also checks that the gates stay off while a fault is latched.
"""
CHIP_TITLE, REQUESTS_TITLE = "## Causes that only the chip has", "## Requests"
"""The first is made by :mod:`tools.chip.waits`, and kept here."""


def split(old: str) -> tuple[str, str, str]:
    """Return what stands before, in and behind that part of a page that is there already."""
    before, _, rest = old.partition(REQUESTS_TITLE)
    before, found, on_chip = before.partition(CHIP_TITLE)
    return before, found + on_chip, REQUESTS_TITLE + rest


def page(cells: Mapping[Cause, Mapping[int, Cell]], on_chip: str) -> str:
    """Return the whole page as Markdown."""
    lines = [HEAD, "## Causes\n"]
    lines.append("| code | cause | state | reported | after | off | ends in | recorded | then |")
    lines.append("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for cause, row in sorted(cells.items(), key=lambda item: item[0].code):
        for where in STATES:
            lines.append(_line(cause, row[where]))
    lines += ["", on_chip.rstrip()] if on_chip else []
    lines += [
        f"\n{REQUESTS_TITLE}\n",
        "What each request is answered in each state (0: done); also each from a run.\n",
    ]
    table = refusals()
    lines.append("| request | " + " | ".join(state.NAMES[where] for where in range(1, 7)) + " |")
    lines.append("| --- |" + " --- |" * 6)
    for name in REQUESTS:
        lines.append(f"| {name} | " + " | ".join(_answer(table[name][where]) for where in range(1, 7)) + " |")
    return "\n".join(lines) + "\n"


def _answer(code: int) -> str:
    row = faults.row(code)
    return f"{code} {row[1]}" if row else "0"


def shown(code: int) -> str:
    """Return a code with its key."""
    return f"{code} {faults.row(code)[1]}" if code else "-"


def _line(cause: Cause, cell: Cell) -> str:
    if cell.off_after is None:
        off = "on" if cell.ends_in in (state.DRIVING, state.STOPPING) else ""
    else:
        off = str(cell.off_after)
    recorded = f"{cell.row_code} / {cell.end_code}" if cell.in_state >= state.DRIVING else ""
    after = "" if cell.told_after is None or cell.in_state == state.CHECK else str(cell.told_after)
    return (
        f"| {cause.code} | {cause.how} | {state.NAMES[cell.in_state]} | {shown(cell.code)} |"
        f" {after} | {off} | {state.NAMES[cell.ends_in]} | {recorded} | {cell.recovery} |"
    )


def main() -> None:
    """Run the matrix and write the page; the chip's part stays as it is."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.faults.page", description=__doc__)
    parser.add_argument("--out", type=Path, default=DOCS / "fault-matrix.md")
    out = parser.parse_args().out
    on_chip = split(out.read_text("utf-8"))[1] if out.is_file() else ""
    out.write_text(page(matrix(), on_chip), encoding="utf-8", newline="\n")
    print(f"Written: {out}")


if __name__ == "__main__":
    main()
