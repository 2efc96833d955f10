"""A simulated bench behind a device of its own, whose bridge the test can see without a word to the bench."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.helpers.process import ROOT, environment
from tests.helpers.waiting import POLL_S


class Witness:
    """The bench process seen from the test."""

    def __init__(self, folder: Path) -> None:
        self.log = folder / "bridge.jsonl"
        program = Path(__file__).with_name("witness.py")
        command = [sys.executable, str(program), str(self.log)]
        pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        self.process = subprocess.Popen(command, env=environment(), cwd=ROOT, **pipes)
        assert self.process.stdout is not None
        self.port = self.process.stdout.readline().strip()
        assert self.port, "the witnessed bench did not start"

    def changes(self) -> list[dict[str, Any]]:
        """Return what the bridge did so far."""
        return [json.loads(line) for line in self.log.read_text(encoding="utf-8").splitlines()]

    @property
    def driven(self) -> bool:
        """True while the bridge drives the part."""
        seen = self.changes()
        return bool(seen) and bool(seen[-1]["driven"])

    def off_after(self, since_s: float, limit_s: float = 5.0) -> float:
        """Return the seconds from ``since_s`` until the bridge was off for good."""
        deadline_s = time.time() + limit_s
        while self.driven:
            assert time.time() < deadline_s, "the bridge stayed on"
            time.sleep(POLL_S)
        time.sleep(0.1)  # a time is what is looked at: for good, not for a moment
        assert not self.driven, "the bridge went on again"
        return float(self.changes()[-1]["time_s"]) - since_s

    def emergency(self, opened: bool) -> None:
        """Open or close the emergency line; return when the firmware has seen it."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(f"estop {int(opened)}\n")
        self.process.stdin.flush()
        assert self.process.stdout.readline() == f"estop {int(opened)} seen\n"

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()
