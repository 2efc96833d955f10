"""Recordings from elsewhere, as the commands that judge and learn read them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.foreign.text import Progress
    from strokebench.parts.profile import Profile


def from_csv(file: str, mapping: str, profile: Profile) -> RunData:
    """Return a CSV file's recording with the stretches that are found in it."""
    from strokebench.foreign.labelling import find_stretches
    from strokebench.foreign.read import read_csv

    return find_stretches(read_csv(file, mapping, progress_of(file)), profile)


LARGEST_ABOUT = 2_000_000
"""Bytes: a larger file beside an export is none of ours."""


def about_beside(file: str) -> dict[str, Any]:
    """Return what an export says of itself in the file ``NAME.about.json`` beside it, empty without one."""
    import json

    from strokebench.book.export.csv import about_path

    beside = about_path(file)
    try:
        small = Path(file).is_file() and beside.stat().st_size < LARGEST_ABOUT
        carried = json.loads(beside.read_text(encoding="utf-8")) if small else None
    except (OSError, ValueError, RecursionError):
        return {}
    return carried if isinstance(carried, dict) else {}


LARGE = 20_000_000
"""Bytes from which reading a file takes so long that its progress is shown."""


def progress_of(file: str) -> Progress | None:
    """Return what shows how much of a large file is read, on a terminal; None for a small one."""
    import os
    import sys

    if not sys.stderr.isatty() or not os.path.exists(file) or os.path.getsize(file) < LARGE:
        return None

    def show(done: int, size: int) -> None:
        end = "\n" if done >= size else ""
        print(f"\rReading {file}: {100 * done // size} %", end=end, file=sys.stderr, flush=True)

    return show
