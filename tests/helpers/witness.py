"""A simulated bench in a process of its own that writes down when its bridge goes on and off.

Run as a program: a pseudo terminal's name on standard output, one JSON line per change in the file named by
the first argument. ``estop 1`` on standard input opens the emergency line, ``estop 0`` closes it; the answer
``estop 1 seen`` on standard output means that the firmware's tick has looked at it.
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
        self.looked = threading.Event()

    def drive(self, drive: int, gate: int) -> None:
        driven = bool(gate) and drive != 0
        if driven != self._driven:
            self._driven = driven
            self._log.write(json.dumps({"time_s": time.time(), "driven": driven, "drive": drive}) + "\n")
            self._log.flush()
        super().drive(drive, gate)

    def estop(self) -> int:
        opened = self.open_line
        self.looked.set()
        return opened


def _listen(board: WitnessBoard) -> None:
    for line in sys.stdin:
        board.open_line = int(line.split()[1])
        for _ in range(2):  # a look that had begun before does not count
            board.looked.clear()
            board.looked.wait()
        print(f"estop {board.open_line} seen", flush=True)


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
