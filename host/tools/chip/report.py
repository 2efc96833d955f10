"""Measures the firmware on the emulated chip and writes the numbers down, in two columns.

    python -m tools.chip.report IMAGE [PAGE] --cached PYTHON

IMAGE is an RPI_PICO .uf2 of MicroPython, PAGE where the table goes (docs/performance-chip.md). PYTHON is one
with strokebench[chip,test] and an rp2040py that models the RP2040's flash cache: rp2040py.native._rp2040 has
``xip_config(cycles)``, the cost of a miss. Without --cached that column stays empty, and the page says so.

Each part is made in a process of its own, two at a time; ``--part NAME`` makes one alone and prints its rows.
With ``--keep FOLDER`` the rows of each whole part are kept there, and a run that was cut short goes on: only
what was made with the same firmware and image is taken from there. ``--kept-only`` makes nothing anew. The
page names every part that is not whole.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import subprocess
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from strokebench.errors import StrokebenchError
from strokebench.image import files as chip_files

from tools import DOCS
from tools.chip import alone, classroom, fault_report, procedure, whole

Row = tuple[str, str]
MISS_CYCLES = 64
"""What a miss costs at 125 MHz, about: 8 bytes over four wires at 62.5 MHz, as MicroPython sets it."""
AT_ONCE = 2
PLAIN, CACHED = "as emulated", "with flash cache"
NOT_AGAIN = "-"


@dataclass(frozen=True)
class Part:
    """A part of the page; ``again``: made with the flash cache too, as it hangs on how fast Python is."""

    rows: Callable[[Path], Iterable[Row]]
    again: bool = True


PARTS = {
    "procedure": Part(procedure.rows, again=False),
    "streams": Part(whole.streams),
    "whole": Part(whole.rows),
    "causes": Part(fault_report.cause_rows),
    "hangs": Part(fault_report.hang_rows, again=False),
    "conversion": Part(alone.conversion, again=False),
    "classroom": Part(classroom.rows, again=False),
    "pins": Part(alone.pins, again=False),
    "costs": Part(alone.costs),
    "ticks": Part(whole.ticks),
}
"""The longest first, as they are begun; the last is the beginning of the first, for who changes the tick."""
ORDER = ("costs", "whole", "streams", "causes", "hangs", "pins", "conversion", "classroom", "procedure")
PAGE_HEAD = f"""# The firmware on the emulated chip, in numbers

This page shows how much time and memory the firmware needs on the chip. The most important figure is the
longest tick, which must end within one millisecond. Everything was measured on an emulated chip, not on real
hardware.

`python -m tools.chip.report IMAGE --cached PYTHON` makes this page. The emulator is rp2040py. It runs the
real MicroPython image on an RP2040 at 125 MHz, and the simulated bench is on the chip's pins.

Most rows have two columns. In "{PLAIN}" the flash is as fast as RAM. In "{CACHED}" the emulator has a
model of the RP2040's cache: 16 kB, two ways, lines of 8 bytes (RP2040 datasheet, "XIP"). A miss costs
{MISS_CYCLES} processor cycles. MicroPython is in the flash. So compare a real Pico with the second
column. A "{NOT_AGAIN}" means that the row was measured in one column only.

Neither column models these:

- The rest of the cache. The model replaces the line that was used longer ago. The chip's own rule may
  differ, and its misses may cost more or less than {MISS_CYCLES} cycles. DMA could make the flash wait
  too, but this firmware's DMA does not read the flash.
- The bus. DMA, PIO and processor never wait for each other.
- The speed of the PIO. The emulated PIO executes at most one instruction for each instruction of the
  processor.
- Temperature, supply voltage, brown-out and the error of the crystal. The clocks are exact.
- The analog side: edges, dead time, the comparator's noise and the converter's steps (erratum E11).
- USB below the packet: errors on the bus, a hub, the 10 ms that a computer waits after a reset, the
  computer's own buffers, and `CONNECTED` after the cable is pulled. The emulated computer polls evenly.
- The flash, except the time for erasing and programming. Not modelled are a read while the flash is busy,
  a reset or a power cut during an erase, and wear.

How far can the speed be trusted? MicroPython's developers published scores of perf_bench, their own speed
test, for the RP2040. On the plain emulator the programs of perf_bench run 1.11 to 1.17 times as fast as
these scores. One program is 1.66 times as fast as in another published build. With {MISS_CYCLES} cycles a
miss the programs run 0.72 to 1.01 times as fast as the scores.

"""
SAME = "All rows are of the same firmware and image (fingerprint `{}`).\n\n"
TABLE_HEAD = f"| what | {PLAIN} | {CACHED} |\n| --- | --- | --- |\n"


def set_cache(cycles: int) -> None:
    """Switch this process's model of the flash cache on; raises StrokebenchError when it has none."""
    from rp2040py.native import _rp2040

    if not hasattr(_rp2040, "xip_config"):
        raise StrokebenchError(
            "This Python's rp2040py does not model the flash cache.",
            "Install one whose rp2040py.native._rp2040 has xip_config, and name that Python.",
        )
    _rp2040.xip_config(cycles)


def make(part: Part, image: Path) -> int:
    """Print the rows of a part, each as a tuple on its line; return 1 when it is not whole."""
    try:
        for row in part.rows(image):
            print(repr(row), flush=True)
    except (StrokebenchError, AssertionError, RuntimeError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 1
    return 0


class Keeper:
    """Rows of parts that are whole, in files of ``folder`` (None: nothing is kept)."""

    def __init__(self, folder: Path | None, image: Path, only: bool = False) -> None:
        self._folder = folder
        self._only = only
        firmware = chip_files.precompiled(chip_files.firmware_sources())
        made_of = hashlib.sha256(repr(sorted(firmware.items())).encode() + image.read_bytes())
        self.made_of = made_of.hexdigest()[:16]
        """Fingerprint of firmware and image: the same for all rows of a page."""

    def made(self, python: str, name: str, image: Path, miss: int) -> tuple[list[Row], str]:
        """As :func:`made`, or the rows kept."""
        if self._folder is None:
            return made(python, name, image, miss)
        path = self._folder / f"{self.made_of}-{name}-{miss}"
        if path.is_file():
            return ast.literal_eval(path.read_text("utf-8")), ""
        if self._only:
            return [], f"{name}: nothing is kept."
        rows, why = made(python, name, image, miss)
        if not why:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(repr(rows), encoding="utf-8")
        return rows, why


def made(python: str, name: str, image: Path, miss: int) -> tuple[list[Row], str]:
    """The rows of a part, made by ``python``, and what kept it from giving more of them."""
    command = [python, "-m", "tools.chip.report", str(image), "--part", name, "--miss", str(miss)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    rows = [ast.literal_eval(line) for line in done.stdout.splitlines()]
    for row in rows:
        print(CACHED if miss else PLAIN, *row, sep=": ", file=sys.stderr, flush=True)
    return rows, "" if done.returncode == 0 else f"{name}: {done.stderr.strip()[-500:]}"


def table(plain: dict[str, list[Row]], cached: dict[str, list[Row]]) -> str:
    """Both columns beside each other, by the row's words."""
    lines = []
    for name in ORDER:
        beside = dict(cached.get(name, []))
        for what, measured in plain.get(name, []):
            lines.append(f"| {what} | {measured} | {beside.pop(what, NOT_AGAIN)} |\n")
        lines += [f"| {what} | {NOT_AGAIN} | {measured} |\n" for what, measured in beside.items()]
    return TABLE_HEAD + "".join(lines)


def lacks(parts: list[str]) -> str:
    """The sentence of the page that names the parts that are not whole, or nothing."""
    return f"Not complete: {', '.join(parts)}. Rows of these parts are missing.\n\n" if parts else ""


def write_page(page: Path, keeper: Keeper, image: Path, cached_python: str | None) -> list[str]:
    """Make all parts and write the page; return what went wrong."""
    columns: tuple[dict[str, list[Row]], ...] = {}, {}
    wrong, lacking = [], []
    with ThreadPoolExecutor(AT_ONCE) as pool:
        jobs = []
        for name, part in PARTS.items():
            if name not in ORDER:
                continue
            jobs.append((0, name, pool.submit(keeper.made, sys.executable, name, image, 0)))
            if cached_python and part.again:
                jobs.append((1, name, pool.submit(keeper.made, cached_python, name, image, MISS_CYCLES)))
        for column, name, job in jobs:
            columns[column][name], why = job.result()
            if why:
                wrong.append(why)
                lacking.append(f"{name} ({(PLAIN, CACHED)[column]})")
    note = "" if cached_python else "The second column was not measured: --cached was not given.\n\n"
    made_anew = PAGE_HEAD + SAME.format(keeper.made_of) + note + lacks(lacking) + table(*columns)
    page.write_text(made_anew, encoding="utf-8", newline="\n")
    return wrong


def main(arguments: list[str] | None = None) -> int:
    """Measure and write; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tools.chip.report", description=__doc__)
    parser.add_argument("image", type=Path)
    parser.add_argument("page", type=Path, nargs="?", default=DOCS / "performance-chip.md")
    parser.add_argument("--cached", metavar="PYTHON", help="a Python whose emulator models the flash cache")
    parser.add_argument(
        "--keep", metavar="FOLDER", type=Path, help="where whole parts are kept, to go on later"
    )
    parser.add_argument("--kept-only", action="store_true", help="make the page of what is kept")
    parser.add_argument("--part", choices=PARTS, help="make this part alone, and print it")
    parser.add_argument("--miss", type=int, default=0, metavar="CYCLES", help="with --part: cost of a miss")
    asked = parser.parse_args(arguments)
    try:
        if asked.miss:
            set_cache(asked.miss)
    except StrokebenchError as error:
        print(f"{error} {error.hint}", file=sys.stderr)
        return 2
    if asked.part:
        return make(PARTS[asked.part], asked.image)
    keeper = Keeper(asked.keep, asked.image, asked.kept_only)
    wrong = write_page(asked.page, keeper, asked.image, asked.cached)
    for why in wrong:
        print(f"A part of the page is not whole. {why}", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
