"""What a bench's hardware is to the firmware: the methods that its app calls on a board.

The boards that have them: the Pico (``strokefw.pico.board``), the classroom's bare Pico and the MicroPython
engine's pipe, which get their readings from a plant elsewhere, the simulated board
(:class:`strokebench.sim.board.board.SimBoard`) and the one of the firmware's tests. A test compares them with
this list.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from typing import Protocol


class Board(Protocol):
    """A bench's hardware. After construction bridge and rails are off and readings can be taken.

    Called **in the tick**, every millisecond or when the state asks for it, on the chip in a timer's
    interrupt: must not allocate, raise or wait. Called **in the main loop**: between ticks, may take some
    milliseconds. Called **once**: while the app is made. Numbers are whole: drive in 1/10000, mA, Hz, us.
    """

    # -- in each tick ----------------------------------------------------------------------------------------

    def ticks_us(self) -> int:
        """Return the board's clock in us, 0 to 2^30 - 1 and round again; at start and end of each tick."""

    def scan(self, counts: array[int]) -> None:
        """Put the newest readings into ``counts``: 16 bits each, left-aligned, in the order of
        ``strokefw.channels``; largest and smallest current are those since the last scan.
        """

    def trips(self) -> int:
        """Return how many PWM cycles the fast current limit has cut since the last call."""

    def estop(self) -> int:
        """Return 1 while the emergency line is open, else 0. Also in the main loop, for a status report."""

    def drive(self, drive: int, gate: int) -> None:
        """Set the bridge: ``drive`` -10000 to 10000 is signed duty; ``gate`` 0 switches all MOSFETs off."""

    # -- in some ticks ---------------------------------------------------------------------------------------

    def watchdog(self) -> None:
        """Give a sign of life: every few ticks, and only while the main loop goes round too.

        Without it for 10 ms the board's own circuit switches the gates off.
        """

    def rail(self, mode: int) -> None:
        """Connect the bridge to the supply: 0 not, 1 through the precharge resistor, 2 by the main switch."""

    def pulse(self, leg: int, side: int, us: int) -> None:
        """Switch one MOSFET alone on for ``us`` from now (leg 0 or 1; side 0 low, 1 high), in the self-test
        only.
        """

    def trip_level(self, ma: int) -> None:
        """Set the level of the fast current limit in mA: with each part's limits in the main loop, and in the
        self-test, where it is also below zero. It takes the board some ms to settle.
        """

    def tripped(self) -> int:
        """Return 1 while a comparator of the fast current limit trips, else 0; with the bridge off only."""

    def led(self, on: int) -> None:
        """Switch the lamp; 1 is on."""

    def keep(self, record: array[int]) -> None:
        """Keep seven halfwords over any reset that the chip's power outlives. Every 8 ticks."""

    def burst_trigger(self) -> None:
        """Take the part of a capture that comes after its trigger. Also in the main loop, when a run ends."""

    # -- in the main loop ------------------------------------------------------------------------------------

    def read(self, buf: bytearray) -> int:
        """Take what the host sent into ``buf``; return how many bytes, 0 when there are none. Never waits."""

    def write(self, buf: bytearray, n: int) -> int:
        """Send the first ``n`` bytes of ``buf``; return how many were taken, 0 while there is no room."""

    def burst_start(self, channel: int, rate_hz: int, count: int, pre: int) -> int:
        """Begin a capture of ``count`` readings of a channel, ``pre`` of them before the trigger (0: all
        follow at once).

        Return the rate that it really has in Hz, 0 when it cannot be taken.
        """

    def burst_ready(self) -> int:
        """Return 1 when the capture is whole, else 0."""

    def burst_copy(self, offset: int, buf: memoryview) -> int:
        """Fill ``buf`` with readings (two bytes each, low byte first) from number ``offset`` on; return how
        many bytes.
        """

    def raw_start(self, channel: int, rate_hz: int) -> int:
        """Begin an endless stream of a channel of the chip's own converter; return its rate in Hz.

        0 when that cannot be done now; the other ``raw_`` methods are called only while a stream runs.
        """

    def raw_stop(self) -> None:
        """End the stream and free its memory."""

    def raw_head(self) -> int:
        """Return the number of the reading that comes next, counted from 0, 30 bits."""

    def raw_oldest(self) -> int:
        """Return the number of the oldest reading that is still kept."""

    def raw_copy(self, first: int, buf: memoryview, count: int) -> int:
        """Pack ``count`` readings of 12 bits, two in three bytes, from number ``first`` on; return how many
        bytes.
        """

    def store(self, slot: int, data: bytes) -> Iterator[bool] | None:
        """Keep a record over power-off. Return None when it is kept, else an iterator: a step writes a piece.

        A step stops the chip and its ticks for as long as the flash erases: never while anything may be
        driven. It yields True when the record will be read after a loss of power.
        """

    def stack_max(self) -> int:
        """Return the most bytes of stack ever in use, 0 where nobody needs to know; for a status report."""

    def uid(self) -> bytes:
        """Return the eight bytes that are this board's own, for each handshake."""

    # -- once ------------------------------------------------------------------------------------------------

    def load(self, slot: int) -> bytes | None:
        """Return a kept record, None when there is none."""

    def kept(self, record: array[int]) -> None:
        """Fill ``record`` with what was kept last; with anything when there is nothing: it has a check."""

    def kind(self) -> int:
        """Return 0 for a reference bench, 1 small bench, 2 simulated bench, 3 bare board, 4
        beginner's bench."""

    def reset_cause(self) -> int:
        """Return why the board started: 0 power-on, 1 watchdog, 2 soft reset, 3 other."""
