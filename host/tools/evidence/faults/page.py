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

This page shows how the bench reacts to each trouble in each of its states. Each row gives the fault code
that the bench reported, and the time until the bridge was off. Use it to look up how fast a protection
is.

`python -m tools.evidence.faults.page` makes this page. Each row of the first table is a run of the
firmware on the simulated bench, in virtual time. Nothing here was measured on real hardware. One tick is
one millisecond. The fast current limit (comparator and PIO) acts within a PWM cycle. Its time is not in
these numbers.

Each run brings the bench to a state. The cause begins, and the run watches the bench. Then the cause
ends, and the run does what a person would do next: clear the fault, and arm. In *check* the cause is
present when the host requests arming. In *stopping* the drive falls by only 0.3 % of full drive per
millisecond, so that there is time for the cause to act. A cause that needs more time than that has no
effect in that state.

- **reported**: the code from the bench. `-` means that the bench reported no code. That is right where
  the bridge is off, or where the cause does no harm.
- **after**: ticks from the cause to the code.
- **off**: ticks from the cause until the bridge is off. The field is empty if the bridge was off already.
  `on` means that the bridge stays on, as it may with codes that warn or limit.
- **recorded**: the worst code in the recording's rows / the code at the recording's end.
- **then**: the steps that got the bench going again after the cause had ended.

Every run also checks that the gates stay off while a fault is latched.
"""
CHIP_TITLE, REQUESTS_TITLE = "## Causes that only the chip has", "## Requests"
"""The first is made by :mod:`tools.chip.waits`, and kept here."""


def split(old: str) -> tuple[str, str, str]:
    """Return the text before, in and behind that part of the page as it is now."""
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
        "The bench's answer to each request in each state. 0 means done. Each answer comes from a run.\n",
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
