"""What was understood of a recording from elsewhere, shown before anything is judged."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile


def show(data: RunData, profile: Profile, picture: str, *, replace: bool) -> int:
    """Print where each column comes from and what was found in the samples, and draw both; return 0.

    ``picture``: SVG file to write. DataError when there is nothing to draw, BookError when it cannot be
    written.
    """
    from strokebench.data.output import check_output
    from strokebench.diagnose import case_of
    from strokebench.errors import BookError, DataError
    from strokebench.report.pictures.foreign import channels

    check_output(picture, replace=replace)
    drawn = channels(case_of(data, profile), {})
    if drawn is None:
        raise DataError("There is nothing to draw.", "Check the file.")
    try:
        Path(picture).write_text(drawn.svg, encoding="utf-8")
    except OSError as error:
        raise BookError(
            f"{picture} cannot be written: {error.strerror}.", "Name another place: --show FILE.svg."
        ) from None
    _print_columns(data)
    _print_stretches(data)
    print(f"Picture: {picture}")
    return 0


def _print_columns(data: RunData) -> None:
    from rich.table import Table

    from strokebench.terminal.console import console

    understood = data.info.get("understood", {})
    if not understood:
        return
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    for name in ("column", "from", "times", "plus", "lowest", "highest"):
        table.add_column(name)
    for target, source in understood["columns"].items():
        numbers = (f"{source[key]:.6g}" for key in ("scale", "offset", "lowest", "highest"))
        table.add_row(target, source["from"], *numbers)
    console().print(table)
    print(f"{understood['rows']} rows, {understood['rate_hz']:.6g} a second")
    for note in understood["notes"]:
        print(note)


def _print_stretches(data: RunData) -> None:
    from strokebench.report.pictures.foreign import NAMES

    found = Counter(NAMES[mark.label] for mark in data.marks if mark.label in NAMES)
    said = ", ".join(f"{name} ({count})" if count > 1 else name for name, count in found.items())
    print(f"Found in it: {said or 'nothing that moves or is switched'}")
