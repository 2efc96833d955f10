"""A simulated bench in a process of its own that writes down when its bridge goes on and off.

Run as a program: a pseudo terminal's name on standard output, one JSON line per change in the file named by
the first argument. ``estop 1`` on standard input opens the emergency line, ``estop 0`` closes it.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine.inprocess import InProcessPort
from strokebench.sim.engine.serve import PtyLine, run


class WitnessBoard(SimBoard):
    """Notes each change between driven and not driven, with the computer's clock."""

    def __init__(self, spec: SimSpec, log: Path) -> None:
        super().__init__(spec)
        self._log = log.open("w", encoding="utf-8")
        self._driven = False
        self.open_line = 0

    def drive(self, drive: int, gate: int) -> None:
        driven = bool(gate) and drive != 0
        if driven != self._driven:
            self._driven = driven
            self._log.write(json.dumps({"time_s": time.time(), "driven": driven, "drive": drive}) + "\n")
            self._log.flush()
        super().drive(drive, gate)

    def estop(self) -> int:
        return self.open_line


def _listen(board: WitnessBoard) -> None:
    for line in sys.stdin:
        board.open_line = int(line.split()[1])


def main() -> None:
    """Serve until killed."""
    spec = SimSpec("throttle-body")
    board = WitnessBoard(spec, Path(sys.argv[1]))
    threading.Thread(target=_listen, args=(board,), daemon=True).start()
    line = PtyLine()
    print(line.name, flush=True)
    run(line, InProcessPort(spec, board), lambda: False)


if __name__ == "__main__":
    main()
