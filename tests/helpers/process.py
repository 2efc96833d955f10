"""The real command line in its own process."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]

SHORT = """based_on = "throttle-body"
[part]
name = "short"
[procedure]
title = "a short one"
[[procedure.segments]]
kind = "pause"
label = "rest"
for_s = 0.2
[[procedure.segments]]
kind = "ramp"
label = "sweep_open"
to = 0.4
over_s = SECONDS
"""


def short_profile(folder: Path, seconds: float = 0.5) -> Path:
    """Write and return a profile whose procedure takes ``seconds`` and a bit."""
    path = folder / "short.toml"
    path.write_text(SHORT.replace("SECONDS", str(seconds)), encoding="utf-8")
    return path


def environment() -> dict[str, str]:
    """Return an environment in which the sources are found, however the tests were started."""
    paths = [str(ROOT / "host"), str(ROOT / "firmware"), str(ROOT), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "COLUMNS": "80", "NO_COLOR": "1"}


def start(*args: object, cwd: Path, program: str = "", **more: Any) -> subprocess.Popen[str]:
    """Start ``strokebench args``, or another Python ``program`` with them, with its output captured."""
    what = ("-c", program) if program else ("-m", "strokebench")
    command = [sys.executable, *what, *map(str, args)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen(command, cwd=cwd, env=environment(), text=True, **pipes, **more)


def strokebench(*args: object, cwd: Path, **more: Any) -> subprocess.CompletedProcess[str]:
    """Run ``strokebench args`` to its end."""
    process = start(*args, cwd=cwd, **more)
    try:
        out, err = process.communicate(timeout=120)
    except BaseException:
        process.kill()
        raise
    return subprocess.CompletedProcess(process.args, process.returncode, out, err)


@contextmanager
def simulated_device(cwd: Path, *args: object) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Run ``strokebench sim`` and yield the name to reach it by, and the process."""
    process = start("sim", *args, cwd=cwd)
    assert process.stdout is not None
    try:
        name = process.stdout.readline().strip()
        assert name, process.communicate()[1]
        yield name, process
    finally:
        process.kill()
        process.communicate()
