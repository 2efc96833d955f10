"""Recordings from elsewhere, as the commands that judge and learn read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.foreign.text import Progress
    from strokebench.parts.profile import Profile


def from_csv(file: str, mapping: str, profile: Profile) -> RunData:
    """Return a CSV file's recording, its stretches labelled by the profile's procedure or by its current."""
    from strokebench.foreign.labelling import label_by_procedure
    from strokebench.foreign.read import read_csv
    from strokebench.foreign.switched import mark_by_current

    data = label_by_procedure(read_csv(file, mapping, progress_of(file)), profile.procedure)
    known = data.samples[["drive", "output_a_v"]]
    if not data.marks or any(known[name][0] != known[name][0] for name in known.dtype.names or ()):
        data = mark_by_current(data)
    return data


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
