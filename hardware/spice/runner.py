"""Run a deck in ngspice's batch mode with changed parameters; return measurements and waveforms.

`ngspice -b` ends with status 0 even when a measurement failed, so what counts is that every name on the
deck's `* measures:` line came back as a finite number.
"""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

FOLDER = Path(__file__).parent
_MEASURE = re.compile(r"^(\w+)\s*=\s*([-+]?(?:\d[\d.]*(?:e[-+]?\d+)?|nan|inf))", re.IGNORECASE | re.MULTILINE)
_PARAM = re.compile(r"^(\.param\s+)(\w+)(\s*=\s*)(\S+)", re.IGNORECASE | re.MULTILINE)


class SpiceError(RuntimeError):
    """The deck did not run, or did not measure what it promises."""


@dataclass(frozen=True)
class Result:
    """Measurements by name, waveforms by vector name (the x axis is the first of them)."""

    measures: dict[str, float]
    waves: dict[str, list[float]] = field(default_factory=dict)

    def __getitem__(self, name: str) -> float:
        return self.measures[name]


def available() -> bool:
    """True when ngspice is installed."""
    return shutil.which("ngspice") is not None


def parameters(deck: str) -> dict[str, str]:
    """The deck's own parameters, as written."""
    return {name: value for _, name, _, value in _PARAM.findall(read(deck))}


def read(deck: str) -> str:
    """Text of a deck by name, without the ending."""
    return (FOLDER / f"{deck}.cir").read_text(encoding="utf-8")


def promised(text: str) -> list[str]:
    """Names on the `* measures:` lines."""
    return [name for line in re.findall(r"^\* measures:(.*)$", text, re.MULTILINE) for name in line.split()]


def with_parameters(text: str, changes: Mapping[str, float]) -> str:
    """The deck with `.param` lines changed; SpiceError for a parameter it does not have."""
    left = {name.lower(): value for name, value in changes.items()}

    def change(match: re.Match[str]) -> str:
        head, name, equals, old = match.groups()
        return f"{head}{name}{equals}{left.pop(name.lower(), old)}"

    changed = _PARAM.sub(change, text)
    if left:
        raise SpiceError(f"the deck has no parameter {', '.join(sorted(left))}")
    return changed


def run(deck: str, timeout_s: float = 60.0, **changes: float) -> Result:
    """Run hardware/spice/DECK.cir with parameters changed."""
    return run_text(with_parameters(read(deck), changes), timeout_s)


def run_text(text: str, timeout_s: float = 60.0) -> Result:
    """Run a deck given as text; it may include the .lib files of this folder."""
    if not available():
        raise SpiceError("ngspice is not installed")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        for library in FOLDER.glob("*.lib"):
            shutil.copy(library, work)
        (work / "deck.cir").write_text(text, encoding="utf-8")
        output = _ngspice(work, timeout_s)
        return Result(_measures(output, promised(text)), _waves(work / "wave.txt"))


def _ngspice(work: Path, timeout_s: float) -> str:
    command = ["ngspice", "-b", "deck.cir"]
    try:
        done = subprocess.run(
            command, cwd=work, capture_output=True, text=True, timeout=timeout_s, check=False
        )
    except subprocess.TimeoutExpired as late:
        raise SpiceError(f"ngspice took longer than {timeout_s:g} s") from late
    if done.returncode:
        raise SpiceError(f"ngspice ended with {done.returncode}: {(done.stderr or done.stdout)[-800:]}")
    return done.stdout + "\n" + done.stderr


def _measures(output: str, names: list[str]) -> dict[str, float]:
    if not names:
        raise SpiceError("the deck promises no measurement")
    found = {name.lower(): float(value) for name, value in _MEASURE.findall(output)}
    missing = [name for name in names if not math.isfinite(found.get(name.lower(), math.nan))]
    if missing:
        raise SpiceError(f"not measured: {', '.join(missing)}\n{output[-1500:]}")
    return {name: found[name.lower()] for name in names}


def _waves(path: Path) -> dict[str, list[float]]:
    if not path.exists():
        return {}
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    columns = zip(*(map(float, row.split()) for row in rows), strict=True)
    return {name: list(column) for name, column in zip(head.split(), columns, strict=True)}
