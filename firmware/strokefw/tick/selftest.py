"""Self-test before the supply reaches the bridge: small steps, one call per tick, moving nothing.

With the bridge's supply open: readings that must be near zero, the 5 V reference, the supply at the
terminals, the thermistor, and the level at which the fast current limit trips at no current. Then through
the precharge resistor: does the bridge charge, do the floating outputs stand where their pull resistors put
them (a shorted or leaking MOSFET pulls them away), does each MOSFET alone pull its output, does the other
output follow through the part, does a little voltage make a huge current, does the fast limit cut a little
current either way. Only then the main switch. A board with few signals sees less: the bridge's supply, which
a shorted MOSFET empties as soon as the bridge switches a little either way, and the current.
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import keep_bound, micropython, word
from strokefw.guard import limits
from strokefw.sensing import sense as at
from strokefw.tick import check, steps

NAMES = (
    "", "calibration", "estop", "current_zero_fine_ma", "current_zero_coarse_ma", "reference_mv",
    "supply_mv", "heatsink_dc", "precharge_permille", "leg_a_permille", "leg_b_permille",
    "legs_apart_permille", "pulse_a_low_permille", "pulse_a_high_permille", "pulse_b_low_permille",
    "pulse_b_high_permille", "joined_permille", "loop_ma", "main_switch_mv", "fast_limit_edge_ma",
    "fast_limit_plus_ma", "fast_limit_minus_ma", "supply_held_permille",
)  # fmt: skip
NEW = check.NEW
CODE = check.CODE
CUT = check.CUT
DID = check.DID
TO_ARM = check.TO_ARM
STEP = check.STEP
CHARGE_TICKS = check.CHARGE_TICKS

_go_on = steps.go_on
_prepare = check.prepare


class SelfTest:
    """``start``, then ``next_tick`` in each until it returns 1; ``code`` is then 0 or the first fault."""

    code = word(check.CODE)

    def __init__(self, board, sense, kind=0):
        self._board = board
        self._values = sense.values
        self.words = array("i", [0] * check.WORDS)
        self._results = array("i", [0] * (check.RESULT_WORDS * check.IDS))
        self.words[check.STEP] = check.DONE
        self.words[check.FINER] = channels.FINER[kind]
        self.words[check.FEW] = kind == channels.FEW
        self.words[check.EDGE_AT] = at.BIAS
        self.words[check.LIMIT] = limits.ABSOLUTE[kind].current_max_ma
        keep_bound(self, "start", "next_tick", "_act")

    @property
    def results(self):
        """List of (id, value, low, high, ok) of what was looked at; ``NAMES[id]`` says what it is."""
        found = []
        r = self._results
        for i in range(check.IDS):
            at = check.RESULT_WORDS * i
            state = r[at + check.STATE]
            if state:
                found.append((i, r[at], r[at + check.LOW], r[at + check.HIGH], state == check.PASSED))
        return found

    def limit(self, ma, checking):
        """Let the fast limit be ``ma``, corrected as last found; while ``checking``, the test's steps set it
        (service side).
        """
        w = self.words
        w[check.LIMIT] = ma
        if not checking or w[check.STEP] == check.CLOSE or w[check.STEP] == check.DONE:
            self._board.trip_level(ma + w[check.EDGE_AT] - at.BIAS)

    def start(self, calibration_ok, flags, supply_min_mv=0, supply_max_mv=0):
        """Begin anew with the next step, bridge off; bounds of 0 mean the bench's own supply window.

        ``flags`` are the limits', and TO_ARM.
        """
        _prepare(self.words, calibration_ok | flags << 1, supply_min_mv or 8000, supply_max_mv or 17000)

    @micropython.native
    def next_tick(self):
        """Do one tick's work, one judgement at most; return 1 when nothing is left. Allocates nothing."""
        w = self.words
        if w[check.STEP] == check.DONE:
            return 1
        board = self._board
        tripped = board.tripped() if w[check.STEP] == check.REST else 0
        do = _go_on(w, self._values, self._results, board.estop(), tripped)
        w[check.DID] = do
        if do:
            self._act(board, do)
        return 0

    def _act(self, board, do):
        w = self.words
        if do == check.PULSE_ONE:
            board.pulse(w[check.LEG] >> 1, w[check.LEG] & 1, 1000)
        elif do == check.SET_LEVEL:
            board.trip_level(w[check.LEVEL] - at.BIAS)
        elif do == check.PUSH_PART:
            board.drive(0 - w[check.PUSH] if w[check.LEG] else w[check.PUSH], 1)
        elif do >= check.OPEN:
            board.rail(do - check.OPEN)
        elif do == check.DRIVE_LOOP:
            board.drive(0 - check.LOOP_DRIVE if w[check.LEG] == check.BACKWARD else check.LOOP_DRIVE, 1)
        else:
            board.drive(0, 0)
            if do == check.END and w[check.CODE] != 0 and w[check.CODE] != faults.CALIBRATION:
                board.rail(0)
