"""One long session, a checksum of every message: `micropython session.py FIRMWARE_DIR TESTS_DIR`.

test_same_bytes.py runs it under both interpreters and compares the output.
"""

import binascii
import sys

sys.path[:0] = sys.argv[1:3]

from fake_board import LIMITS, Host, segment  # noqa: E402
from strokefw.drive import ramp  # noqa: E402
from strokefw.link import wire  # noqa: E402
from wild_board import WildBoard  # noqa: E402

PROCEDURE = (
    segment(ramp.RAMP, 7000, 333),
    segment(ramp.STEP, -5000, 150, watch=(1, 0, 4000, 10, 3)),
    segment(ramp.PULSE, 2500, 0, (11, 7, 12, -300)),
    segment(ramp.PAUSE, 0, 50),
    segment(ramp.BURST, 0, 0, (1, 100000, 700, 0)),
    segment(ramp.HOLD, 3000, 400, watch=(4, 1, 2000, 0, 5)),
)


class Printer(Host):
    """A Host that prints a checksum of the raw bytes of every tick in which the bench spoke."""

    def take(self):
        """Print, then decode."""
        out = bytes(self.board.outbox)
        if out:
            print(self.app.ticks, len(out), binascii.crc32(out))
        Host.take(self)


def main():
    """Play the session."""
    print("table", wire.TABLE_HASH)
    board = WildBoard()
    host = Printer(board)
    for turn in range(5):
        host.tick(20)
        host.arm(LIMITS)
        host.load(PROCEDURE)
        host.do("stream", turn & 1)
        host.do("run")
        board.wild = (0, 0, 2, 5, 30)[turn]
        for i in range(1500):
            if i % 90 == 0:
                host.send("heartbeat")
            if i == 900:
                board.sensor_a_mv = 1500  # the last segment's watch
            host.tick()
        board.wild = 0
        board.sensor_a_mv = 2500
        host.tick(2500)
        print(host.ask("status"))
        print(host.ask("events"))
        host.do("clear")
        host.tick(300)
    print("rows", len(host.rows), "events", host.events)


if __name__ == "__main__":
    main()
