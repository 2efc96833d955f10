"""What of the link is worth telling although it changes nothing: bad frames, dropped samples, a restart."""

from array import array

from strokefw import faults, state
from strokefw.compat import const

LOOK_TICKS = const(500)
BAD_FRAMES_MANY = const(5)  # damaged frames in half a second; one or two come with plugging in
HELD_LOOKS = const(4)  # shown for at least two seconds


class LinkWatch:
    """``code`` is the condition to show, 0 none, kept in ``words`` at ``place`` for the tick to read.

    ``look`` may be called at any rate, outside the tick.
    """

    def __init__(self, reset_cause, words=None, place=0):
        self._words = array("i", [0]) if words is None else words
        self._place = place
        self.code = faults.WATCHDOG_RESET if reset_cause == state.RESET_WATCHDOG else 0
        self._bad = self._lost = 0
        self._at = 0
        self._held = -1  # for ever, until ``greeted``

    @property
    def code(self):
        """Condition to show."""
        return self._words[self._place]

    @code.setter
    def code(self, value):
        self._words[self._place] = value

    def greeted(self):
        """The host knows of the restart, and the bench no longer waits for its word."""
        if self.code == faults.WATCHDOG_RESET:
            self.code = 0
        self._held = 0

    def look(self, tick, bad_frames, lost_rows):
        """Compare the running counts with those of half a second ago."""
        if (tick - self._at) & state.TICK_MASK < LOOK_TICKS:
            return
        self._at = tick
        code = 0
        if bad_frames - self._bad >= BAD_FRAMES_MANY:
            code = faults.BAD_FRAMES
        elif lost_rows != self._lost:
            code = faults.SAMPLES_DROPPED
        self._bad = bad_frames
        self._lost = lost_rows
        if code:
            self.code = code
            self._held = HELD_LOOKS
        elif self._held > 0:
            self._held -= 1
        elif self._held == 0:
            self.code = 0
