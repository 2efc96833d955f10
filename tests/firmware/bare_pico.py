"""A bare Pico without the chip: the main loop on a board with nothing on it, its link on stdin and stdout.

    micropython bare_pico.py FIRMWARE_DIR TESTS_DIR     (or python)

Ends with the line "held" on stderr, and how often bridge or rails were touched since the plant took over.
"""

import sys

sys.path[:0] = sys.argv[1:3]

import select  # noqa: E402
import time  # noqa: E402

from fake_board import FakeBoard  # noqa: E402
from strokefw.app import App  # noqa: E402

MICROPYTHON = sys.implementation.name == "micropython"
if not MICROPYTHON:
    import os


class BarePico(FakeBoard):
    """No supply, no feed; time is real, and the link is this process's own."""

    def __init__(self):
        super().__init__()
        self.supply_mv = 0
        self.held = False
        self.touched = 0
        self.wanted = False
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._one = bytearray(1)
        self._before = 0

    def ticks_us(self):
        """The computer's clock."""
        return time.ticks_us() if MICROPYTHON else time.monotonic_ns() // 1000 & 0x3FFFFFFF

    def read(self, buf):
        """At most len(buf) bytes; Ctrl-C where a frame would begin asks for the REPL (here: the end)."""
        if MICROPYTHON:
            n = 0
            while n < len(buf) and self._poll.poll(0):
                sys.stdin.buffer.readinto(self._one)
                buf[n] = self._one[0]
                n += 1
        else:
            data = os.read(0, len(buf)) if self._poll.poll(1) else b""
            n = len(data)
            buf[:n] = data
        if n >= 2 and bytes(buf[n - 2 : n]) == b"\r\x03":
            self.wanted = True
            return n - 2
        return n

    def write(self, buf, n):
        """All of it."""
        if MICROPYTHON:
            return sys.stdout.buffer.write(bytes(memoryview(buf)[:n]))
        return os.write(1, bytes(memoryview(buf)[:n]))

    def drive(self, drive, gate):
        """Nothing may come here once the board is held, not even zero."""
        super().drive(drive, gate)
        self.touched += self.held

    def rail(self, mode):
        """Likewise."""
        super().rail(mode)
        self.touched += self.held

    def pulse(self, leg, side, us):
        """Likewise."""
        super().pulse(leg, side, us)
        self.touched += self.held

    def hold(self):
        """Off for good."""
        self.drive(0, 0)
        self.rail(0)
        self.held = True

    def uid(self):
        """What the simulated board of seed 1 is called, so that bytes can be compared."""
        return b"SIM\0\0\0\0\1"

    def kind(self):
        """A bare board."""
        return 3

    def repl_wanted(self, allowed):
        """Whether the end was asked for."""
        return self.wanted


def main():
    """As pico/main.py's run, with the tick in the loop."""
    board = BarePico()
    app = App(board)
    began = board.ticks_us()
    while not board.repl_wanted(not app.armed()):
        if (board.ticks_us() - began) & 0x3FFFFFFF >= 1000:
            began = board.ticks_us()
            app.tick()
        app.service()
        if app.link.plant_due():
            kind = app.link.plant_kind
            board.hold()
            app = None
            from strokefw.plant_board import run

            run(board, kind)
            break
    sys.stderr.write(f"held {int(board.held)} touched {board.touched}\n")


main()
