"""Byte layout of the exchange per simulated millisecond, both ways; imported by both sides.

Host to MicroPython: ``IN_HEAD``, then the counts of one scan, link bytes, burst data, readings of an endless
stream. MicroPython to host: ``OUT_HEAD``, then operations in the order in which the firmware asked for
them. Before the first tick the host sends ``START_HEAD`` and the stored records, each ``RECORD_HEAD`` and its
bytes.
"""

# emergency line open, burst ready, comparators trip, cycles cut, link bytes, burst bytes, raw bytes
IN_HEAD = "<BBBHHHH"
IN_BYTES = 11
# drive, gate, rail, led, watchdog fed, level of the fast limit in mA (plant_board.NO_LEVEL), operation bytes
OUT_HEAD = "<hBBBBiH"
OUT_BYTES = 12
START_HEAD = "<8sBB14sB"  # unique id, kind, reset cause, what was kept over the reset, number of records
START_BYTES = 25
RECORD_HEAD = "<BH"  # slot, bytes
RECORD_BYTES = 3

PULSE = 1  # PULSE_BODY
PULSE_BODY = "<BBH"  # leg, side, us
BURST = 2
BURST_BODY = "<BIHH"  # channel, rate, count, pre
TRIGGER = 3
STORE = 4  # RECORD_HEAD, bytes
LINK = 5  # u16 length, bytes
RAW = 6  # RAW_BODY
RAW_BODY = "<BI"  # channel, rate; 0 ends it
KEEP = 7  # KEEP_BYTES for the next START_HEAD
KEEP_BYTES = 14
