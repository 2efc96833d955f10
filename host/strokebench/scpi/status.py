"""Status reporting of IEEE 488.2 (chapter 11) and SCPI-1999 (volume 1, chapter 9): registers, error queue."""

from __future__ import annotations

from collections import deque

from strokebench.scpi.errors import ScpiError, command_error, described, entry

QUEUE_MAX = 30
ALL_BITS = 0x7FFF
"""Bit 15 of a SCPI register is always 0."""

OPC, QUERY, DEVICE, EXECUTION, COMMAND, POWER_ON = 1, 4, 8, 16, 32, 128
"""Bits of the standard event status register."""
ERRORS, QUESTIONABLE, MESSAGE, EVENTS, SUMMARY, OPERATION = 4, 8, 16, 32, 64, 128
"""Bits of the status byte."""

SWEEPING, MEASURING, WAITS_FOR_TRIGGER, ENERGISED, BY_HAND = 1 << 3, 1 << 4, 1 << 5, 1 << 8, 1 << 9
"""Operation: a procedure runs; it is judged; INITiate waits for *TRG; supply on the part; driven by hand."""
OF_FAULTS = {
    1: 1 << 0,
    2: 1 << 3,
    3: 1 << 1,
    4: 1 << 4,
    5: 1 << 9,
    6: 1 << 10,
    7: 1 << 11,
    8: 1 << 8,
    9: 1 << 12,
}
"""Questionable, by the tens of the latched fault: the standard's bits for voltage, power, current,
temperature and calibration; ours for sensing (9), link (10), request (11) and the firmware itself (12).
"""


class Register:
    """Condition, transition filters, events and their enable mask, 15 bits each."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """Set filters and mask as STATus:PRESet does: a rising bit is an event, none is passed on."""
        self.enable = 0
        self.rising = ALL_BITS
        self.falling = 0

    def update(self, condition: int) -> None:
        """Take the newest condition; note the events that it makes."""
        changed = condition ^ self.condition
        self.event |= changed & condition & self.rising
        self.event |= changed & ~condition & self.falling
        self.condition = condition

    def take(self) -> int:
        """Return the events and forget them."""
        events, self.event = self.event, 0
        return events

    @property
    def summary(self) -> bool:
        """An enabled event is there."""
        return bool(self.event & self.enable)


class Status:
    """What one client may ask about the state of things. Each has its own: none takes another's events."""

    def __init__(self) -> None:
        self.events = POWER_ON
        self.events_enable = 0
        self.service_enable = 0
        self.operation = Register()
        self.questionable = Register()
        self._errors: deque[str] = deque()

    def error(self, code: int, text: str) -> None:
        """Put an error into the queue and set its class's bit."""
        self.events |= _class_of(code)
        if len(self._errors) < QUEUE_MAX:
            self._errors.append(entry(code, text))
        else:
            self._errors[-1] = entry(-350, described(-350))

    def failed(self, error: ScpiError) -> None:
        """Put a message's error into the queue."""
        self.error(error.code, described(error.code, error.detail))

    def next_error(self) -> str:
        """Return the oldest error and forget it."""
        return self._errors.popleft() if self._errors else entry(0, described(0))

    @property
    def errors(self) -> int:
        """Number of errors in the queue."""
        return len(self._errors)

    def take_events(self) -> int:
        """Return the standard event status register and clear it."""
        events, self.events = self.events, 0
        return events

    def clear(self) -> None:
        """Do what ``*CLS`` does: events and errors go, masks stay."""
        self.events = self.operation.event = self.questionable.event = 0
        self._errors.clear()

    def byte(self, *, message: bool = False) -> int:
        """Return the status byte. ``message``: an answer waits to be read."""
        bits = ERRORS * bool(self._errors) | QUESTIONABLE * self.questionable.summary
        bits |= MESSAGE * message | EVENTS * bool(self.events & self.events_enable)
        bits |= OPERATION * self.operation.summary
        return bits | SUMMARY * bool(bits & self.service_enable & ~SUMMARY)


def _class_of(code: int) -> int:
    if code > 0 or -400 < code <= -300:
        return DEVICE
    if -300 < code <= -200:
        return EXECUTION
    return COMMAND if command_error(code) else QUERY
