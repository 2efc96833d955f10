"""What is slow by nature has ticks of its own, also after the ticks stood still for a write to the flash."""
# Runs under CPython and MicroPython.

from fake_board import FakeBoard, Host
from strokefw import state
from strokefw.guard import guards

LAMP, FEED = 5, (3, 7)
"""Turns of the lamp, and of the edges for the board's watchdog; 2, 4 and 6 are the guards' long ones."""
STOOD_US = 1000 * state.TICK_US


class WatchedBoard(FakeBoard):
    """Notes in which of the guards' turns lamp and watchdog are served."""

    app = None

    def __init__(self):
        super().__init__()
        self.lamps = []
        self.feeds = []

    def led(self, on):
        """Note the turn."""
        if self.app:
            self.lamps.append(self.app.guard.own_words[guards.TURN])

    def watchdog(self):
        """Note the turn."""
        if self.app:
            self.feeds.append(self.app.guard.own_words[guards.TURN])
        super().watchdog()


def test_lamp_and_watchdog_keep_to_their_turns_however_long_the_ticks_stood_still():
    board = WatchedBoard()
    host = Host(board)
    host.tick(3000)
    assert host.app.state == state.READY  # in its ticks the self-test lets both wait
    for lost in range(9):
        board.us = (board.us + STOOD_US + lost * state.TICK_US) & state.TICK_MASK
        host.app.stood_still()
        board.app = host.app
        host.tick(80)
        board.app = None
        assert len(board.lamps) >= 9 and len(board.feeds) >= 18
        assert set(board.lamps) == {LAMP} and set(board.feeds) == set(FEED), lost
        board.lamps.clear()
        board.feeds.clear()
    assert host.app.overruns == 0
