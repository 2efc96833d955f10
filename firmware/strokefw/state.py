"""The bench's states, every allowed transition, and the words used between tick, service and host."""

from strokefw.compat import const

OFF = const(0)  # powered, not yet checked; after a watchdog's reset until somebody asks for it
CHECK = const(1)  # self-test, after power-up or on the way to ARMED
READY = const(2)  # checked; supply of the bridge open
ARMED = const(3)  # supply closed, bridge off; may be driven
DRIVING = const(4)  # a procedure or jog runs
STOPPING = const(5)  # drive on its way to zero at the slew limit
LATCHED = const(6)  # a fault is latched; bridge off, supply open
NAMES = ("off", "check", "ready", "armed", "driving", "stopping", "latched")

# (from, to): all there are; anything else is an internal fault
TRANSITIONS = (
    (OFF, CHECK),  # first tick after power-up; arm, selftest
    (CHECK, READY),  # power-up check over, or arming refused or stopped
    (CHECK, ARMED),  # arming check passed
    (CHECK, LATCHED),
    (READY, CHECK),  # arm, selftest
    (READY, LATCHED),
    (ARMED, READY),  # disarm, hello, no word for ARMED_IDLE_MS, fault that does not latch
    (ARMED, DRIVING),  # run, jog
    (ARMED, LATCHED),
    (DRIVING, STOPPING),  # end of procedure, stop, fault of severity stop
    (DRIVING, READY),  # fault that switches off without latching
    (DRIVING, LATCHED),
    (STOPPING, ARMED),  # zero reached
    (STOPPING, READY),  # zero reached, and disarm or hello came, or a fault that does not latch
    (STOPPING, LATCHED),
    (LATCHED, READY),  # clear
)


def _masks():
    masks = bytearray(len(NAMES))
    for old, new in TRANSITIONS:
        masks[old] |= 1 << new
    return masks


ALLOWED = _masks()  # per state a bit mask of the states that may follow

# what the host asked of the tick (only the tick changes state)
ASK_NONE = const(0)
ASK_ARM = const(1)
ASK_DISARM = const(2)
ASK_RUN = const(3)
ASK_JOG = const(4)
ASK_CLEAR = const(5)
ASK_CHECK = const(6)
ASK_SESSION = const(7)
ANSWER_PENDING = const(-1)

AT_REST = (OFF, READY, LATCHED)  # bridge off, its supply open, and no check under way

# why the board started
RESET_POWER_ON = const(0)
RESET_WATCHDOG = const(1)
RESET_SOFT = const(2)
RESET_OTHER = const(3)

STOP_RAMP = const(1)
STOP_NOW = const(2)

# kinds of the event message; `code` and `index` by kind
EVENT_BOOT = const(1)  # code: reset cause
EVENT_STATE = const(2)  # code: new state, index: old state
EVENT_SEGMENT = const(3)  # index: segment that starts, code: its kind
EVENT_WATCH = const(4)  # index: segment whose watch fired, code: its action
EVENT_RUN_END = const(5)  # code: reason, detail: fault code or 0; the last message of a run
EVENT_FAULT = const(6)  # code: fault that stopped or cut the drive
EVENT_WARNING = const(7)  # code: condition now shown, 0 when it is gone
EVENT_BURST_FAILED = const(8)  # index: segment whose capture was refused or never came
EVENT_NAMES = ("", "boot", "state", "segment", "watch", "run_end", "fault", "warning", "burst_failed")

END_DONE = const(0)
END_STOPPED = const(1)
END_WATCH = const(2)
END_FAULT = const(3)
END_NAMES = ("done", "stopped", "watch", "fault")

ARMED_IDLE_MS = const(5000)
JOG_SILENT_MS = const(500)  # a jog needs the host's word at least this often, whatever the profile allows
STOPPING_MAX_MS = const(2000)  # a ramp-down not over by then ends in off at once
WARN_EVERY = const(12)  # eighths of ticks between two warning events (96 ms)
TAIL_MS = const(20)  # rows still streamed after the bridge is off

TICK_US = const(1000)
RING_ROWS = const(256)  # sample rows kept for the link
TELL_SLOTS = const(64)  # events kept for it
TICK_MASK = const(0x3FFFFFFF)  # the tick counter and the microsecond counter wrap at 2^30
